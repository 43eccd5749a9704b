"""Phones on the network of this machine: at which address, by what code they come in, and what that means."""

from __future__ import annotations

import socket

from loomproof.errors import UsageError
from loomproof.web.answers import Answer, Asked, Go, House, Page
from loomproof.web.doors import Seat
from loomproof.web.guard import ENTRANCE

CODE_LASTS_S = 600.0
"""So long the code for a phone opens, s: nobody scans it off a photograph the next day."""

MEANING = (
    "Every device on this network can reach this server. Nothing that goes over the network is encrypted: "
    "whoever can listen there can read what a phone is shown, and can tick the fitting sheet in its name. "
    "Use a network of your own with a password; no public one.",
    "A phone watches, and ticks the fitting sheet. It starts nothing, stops nothing and answers nothing that "
    "is asked before a bench is driven: only the browser on this machine does.",
    "Ticks say what somebody held a phone and pressed. They are no proof of anything.",
    f"A code lets one phone in, once, within {CODE_LASTS_S / 60:.0f} minutes. Whoever reads it first is in.",
)
"""What it means that phones may come in, for the page at the bench and for the terminal."""


def address_here() -> str:
    """Return the address of this machine on its network. Raises `UsageError` where it has none.

    A datagram socket is pointed at an address for documentation (RFC 5737); nothing is sent.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        try:
            line.connect(("192.0.2.1", 9))
            found = str(line.getsockname()[0])
        except OSError:
            found = ""
    if found in ("", "0.0.0.0") or found.startswith("127."):
        raise UsageError(
            "this machine is on no network that a phone could reach it by",
            cure="Join the network that the phone is on, and start again; or leave the phone out.",
        )
    return found


def invite(house: House, _: Asked) -> Answer:
    """Make the ways in of others: an address for a browser here that watches, a code for a phone."""
    values: dict[str, object] = {
        "address": f"{house.address}{ENTRANCE}?token={house.doors.invite(Seat.WATCHES)}",
        "phone": "",
    }
    if house.lan:
        from loomproof.reports.certificate import qr_svg

        phone = f"{house.lan}{ENTRANCE}?token={house.doors.invite(Seat.FITS, CODE_LASTS_S)}"
        values |= {"phone": phone, "code": qr_svg(phone), "meaning": MEANING, "lan": house.lan}
    return Page("watchers.html", values)


def send_away(house: House, _: Asked) -> Answer:
    """Let nobody watch or tick any more who came in before."""
    house.doors.send_away()
    return Go("/prove")
