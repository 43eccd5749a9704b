"""Correcting what was typed in wrongly for a run: a new record that names the old one, which stays."""

from __future__ import annotations

from loomproof.errors import Problem, UsageError
from loomproof.jobs.at_hand import at_hand, said_of
from loomproof.jobs.files import now, rfc3339
from loomproof.records.corrections import changes, standing_corrections
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.seal import verify


def correct(
    run: str,
    why: str,
    *,
    person: str | None = None,
    place: str | None = None,
    serial: str | None = None,
    authoriser: str = "",
    by: str = "",
    store: str | None = None,
    told: list[Problem] | None = None,
) -> str:
    """Seal a correction of a run, named by its hash or name; return the correction's own name.

    What was measured is never corrected. ``authoriser`` is who authorises the correction: whoever authorised
    what is corrected did not see it, and does not stand on it. ``by`` is who corrects it. Of a run that was
    corrected before the newest correction is corrected, so that one record stands. What is to be known of the
    store is added to ``told``. Raises `UsageError` where nothing is to be corrected or there is no such run,
    `RecordError` where its record does not hold.
    """
    if person is None and place is None and serial is None:
        raise UsageError("nothing to correct was given", cure="Give who, where, or the loom's serial number.")
    with at_hand(store, seals=True) as hand:
        opened = hand.store
        found = opened.run(run)
        newest = standing_corrections(opened).get(found.hash)
        digest = newest.verified.hash if newest else found.hash
        document = verify(opened.record(digest), name=f"run {found.run}").document()
        loom = document.loom
        right = document.model_copy(
            update={
                "run": f"{document.run}-corrected-{now():%Y%m%d%H%M%S}",
                "person": document.person if person is None else person,
                "place": document.place if place is None else place,
                "loom": loom if serial is None else loom.model_copy(update={"serial": serial}),
            }
        )
        if not changes(document, right):
            raise UsageError(
                f"run {document.run} says so already: there is nothing to correct",
                cure="Give what is wrong in it as it should be.",
            )
        entered = document.entered.model_copy(update={"authoriser": authoriser})
        right = right.model_copy(update={"entered": entered})
        changed = changes(document, right)
        moment = now()
        more = {
            "run": document.run,
            "made": rfc3339(moment),
            "by": by,
            "changes": [{"what": each.what, "was": each.was, "now": each.now} for each in changed],
        }
        signer = KeyFolder(home()).signer(moment)
        sealed = hand.correct(digest, right, why, signer, more)
        hand.hand_over()
        hand.note(signer)
        if told is not None:
            told += said_of(hand)
    return sealed.run.run
