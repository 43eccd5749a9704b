"""Correcting what was typed in wrongly for a run: a new record that names the old one, which stays."""

from __future__ import annotations

from loomproof.errors import UsageError
from loomproof.jobs.files import now
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.noting import note
from loomproof.records.seal import verify
from loomproof.records.store import open_store


def correct(
    run: str,
    why: str,
    *,
    person: str | None = None,
    place: str | None = None,
    serial: str | None = None,
    store: str | None = None,
) -> str:
    """Seal a correction of a run, named by its hash or name; return the correction's own name.

    What was measured is never corrected. Raises `UsageError` where nothing is to be corrected or there is no
    such run, `RecordError` where its record does not hold.
    """
    if person is None and place is None and serial is None:
        raise UsageError("nothing to correct was given", cure="Give who, where, or the loom's serial number.")
    with open_store(store) as opened:
        found = opened.run(run)
        document = verify(opened.record(found.hash), name=f"run {found.run}").document()
        loom = document.loom
        right = document.model_copy(
            update={
                "run": f"{document.run}-corrected-{now():%Y%m%d%H%M%S}",
                "person": document.person if person is None else person,
                "place": document.place if place is None else place,
                "loom": loom if serial is None else loom.model_copy(update={"serial": serial}),
            }
        )
        signer = KeyFolder(home()).signer(now())
        sealed = opened.correct(found.hash, right, why, signer)
        note(home(), signer, opened, store)
    return sealed.run.run
