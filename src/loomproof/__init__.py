"""Proves a vehicle wiring loom on the bench before a plug goes on."""

__version__ = "0.1.0"
