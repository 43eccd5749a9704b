"""What a serial port is called on each system, for whoever types one for the first time."""

from __future__ import annotations

import sys

# By the documentation of pySerial and of the systems: a USB port of the kind "communications device".
_USUAL = {"win32": ("COM3", "ASRL3"), "darwin": ("/dev/cu.usbmodem1101", "ASRL/dev/cu.usbmodem1101")}
_ELSE = ("/dev/ttyACM0", "ASRL/dev/ttyACM0")


def usual_address(platform: str = sys.platform) -> str:
    """Return how a bench at a serial port is written on a system, called as `sys.platform` calls it."""
    return f"serial:{_USUAL.get(platform, _ELSE)[0]}"


def usual_resource(platform: str = sys.platform) -> str:
    """Return how a VISA resource at a serial port is written on a system."""
    return f"{_USUAL.get(platform, _ELSE)[1]}::INSTR"
