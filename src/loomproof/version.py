"""The version of this program, as records and files name it."""

VERSION = "1.0.0"
