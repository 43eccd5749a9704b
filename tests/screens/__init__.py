"""Tests of the command line, as a user meets it."""
