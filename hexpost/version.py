"""The version of the package, for whatever writes it into a file."""

VERSION = "0.1.0"
