"""The version of this program, as records and files name it."""

VERSION = "0.1.0"
