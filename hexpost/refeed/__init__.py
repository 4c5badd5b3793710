"""The same program with feeds that the struts can hold."""
