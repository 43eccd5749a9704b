"""A run's certificate: the one issued before, else a new one from the sealed record."""

from __future__ import annotations

from loomproof.errors import RecordError, Todo
from loomproof.jobs.files import now
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.lines import Run
from loomproof.records.pdf_verify import verify_pdf
from loomproof.records.seal import Verified
from loomproof.records.seal import verify as verify_record
from loomproof.records.store import Store
from loomproof.reports import certificate as page


def issue(store: Store, run: str) -> bytes:
    """Return a run's certificate: the one issued before, else a new one, signed, checked and kept.

    Raises `RecordError` where the store does not hold what it says, or the keys of the seal are not here.
    """
    from loomproof.records import pdf_signature

    found = store.run(run)
    name, record = found.run, store.record(found.hash)
    verified = verify_record(record, name=f"run {name}")
    of_this_run(verified, found, "the sealed record")
    kept = store.certificate(found.hash)
    if kept is not None:
        of_this_run(verify_pdf(kept, name=f"certificate of run {name}"), found, "the certificate")
        return kept
    signer = KeyFolder(home()).paper_signer(verified.paper)
    if signer is None:
        raise RecordError(
            f"run {name} was sealed with keys that are not here ({verified.fingerprint})",
            cure="Ask the bench that proved it for its certificate, or take the sealed record.",
            do=Todo.SEALED_RECORD,
        )
    read = {"body": verified.body, "hash": verified.hash, "seal": {"key": verified.key}}
    drawn = page.certificate_pdf(record, fingerprint=verified.fingerprint, link=verified.link, read=read)
    made = now()
    pdf = pdf_signature.sign_pdf(drawn, signer, made)
    verify_pdf(pdf, name=f"certificate of run {name}", drawn=(record, verified))
    store.add_certificate(found.hash, pdf, made.isoformat(timespec="seconds"))
    return pdf


def of_this_run(verified: Verified, found: Run, what: str) -> None:
    """Refuse what the store keeps under a run and does not carry the run's own hash: `RecordError`."""
    if verified.hash != found.hash:
        raise RecordError(
            f"run {found.run}: {what} that the store has in its place is of another record, "
            f"{verified.hash[:16]}… instead of {found.hash[:16]}…; nothing was written",
            cure="The store was changed: check all of it to see where. Take it from a backup.",
            do=Todo.CHECK_RECORDS,
        )
