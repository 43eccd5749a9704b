"""What a loom's wires read when it last passed: from its own sealed record, found by its serial."""

from __future__ import annotations

from dataclasses import replace

from loomproof.jobs.at_hand import at_hand
from loomproof.measuring.clearance import Clearance
from loomproof.planning.request import Request
from loomproof.records.data_folder import home
from loomproof.records.queries import last_records
from loomproof.records.signers import KnownSigners
from loomproof.records.trusted import trusted_run
from loomproof.results.places import KnownFarads

MOST_RUNS = 50
"""So many of the last runs of one serial are looked at; a loom is proved a few times a year."""


def with_known_farads(request: Request, clearance: Clearance, store: str | None) -> Request:
    """Return a request with what this very loom's nets read when it last passed, where places are asked for.

    A loom without a serial is not known again: another of its design has other wires. Raises `StoreError`.
    """
    serial = request.serial or request.loom.serial
    if not serial or not request.locate or clearance.capabilities.farads is None:
        return request
    return replace(request, known_farads=_known(request.loom.name, serial, clearance.simulated, store))


def _known(loom: str, serial: str, simulated: bool, store: str | None) -> KnownFarads | None:
    signers = KnownSigners(home()).all()
    # While a server is away: what this bench proved itself.
    with at_hand(store, seals=True) as hand:
        found = last_records(hand.store, serial, MOST_RUNS)
    for run, record in reversed(found):
        if run.verdict != "pass" or (run.loom, run.serial) != (loom, serial):
            continue
        one = trusted_run(run, record, signers)
        if one.trouble or not one.signer or one.verified is None or one.simulated is not simulated:
            continue
        document = one.verified.document()
        if document.capacitance:
            return KnownFarads(run.run, document.ended, document.capacitance)
    return None
