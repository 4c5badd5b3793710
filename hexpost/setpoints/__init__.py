"""The path at the control period, solved into struts, block by block."""
