"""Commands that look after keys, known signers and the store itself."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.cli.cures import how
from loomproof.cli.kinds import FILE, FOLDER, RUN
from loomproof.cli.options import archive_option, store_option
from loomproof.cli.output import found
from loomproof.errors import UsageError
from loomproof.screens.kept import chosen, show_integrity, show_noted, show_repairs, show_taken, show_waiting
from loomproof.screens.printing import line
from loomproof.screens.printing import table as listed

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive


@click.group()
def key() -> None:
    """Show, export or replace the station's key, and keep the list of signers that you know."""


@key.command(short_help="Show the key's fingerprint and public half.")
def show() -> None:
    """Show the key's fingerprint and public half; make the key where there is none yet."""
    from loomproof.jobs.signing import Station

    for each in Station().lines:
        click.echo(each)


@key.command(short_help="Write the secret key to FILE.")
@click.argument("file", type=FILE)
def export(file: Path) -> None:
    """Write the secret key to FILE, readable by you only: keep it as you keep money."""
    from loomproof.jobs.signing import Station

    Station().export(file)
    click.echo(f"{file}: whoever has this file can sign as you.", err=True)


@key.command(short_help="Put a new key, or an exported one, in place.")
@click.option("--with", "given", type=click.Path(path_type=Path, dir_okay=False, exists=True), help="A key.")
def replace(given: Path | None) -> None:
    """Put a new key (or an exported one) in place; the old one is kept, and its seals still hold."""
    from loomproof.jobs.signing import Station

    click.echo(f"fingerprint  {Station().replace(given).fingerprint}")


@key.command(short_help="List the signers that you know.")
def signers() -> None:
    """List the signers that you know: only their seals are called genuine."""
    from loomproof.jobs.signing import Station, fingerprint

    known = Station().known()
    if not known:
        click.echo("None yet.", err=True)
    for public, name in known.items():
        click.echo(f"{fingerprint(public)}  {public}  {name}")


@key.command(short_help="Add a signer by name, with a key or a file of theirs.")
@click.argument("name")
@click.argument("what", metavar="KEY|FILE")
def know(name: str, what: str) -> None:
    """Add a signer: NAME, and the public KEY or a record or certificate FILE of theirs.

    Compare the fingerprint with the signer first, by a way that you trust.
    """
    from loomproof.jobs.signing import Station

    click.echo(f"{Station().know(name, what)}  {name}")


@key.command()
@click.argument("name", metavar="NAME|KEY")
def forget(name: str) -> None:
    """Take a signer out of the list."""
    from loomproof.jobs.signing import Station

    Station().forget(name)


@click.group()
def records() -> None:
    """Back up, restore and check the kept records, and take in those of another bench."""


@records.command("backup")
@click.argument("file", type=FILE)
@archive_option
def backup_(file: Path, archive: Archive) -> None:
    """Write all records to one FILE. Keys are not in it: loomproof key export."""
    click.echo(f"{file}: {archive.backup(file)} runs")


@records.command("restore")
@click.argument("file", type=FILE)
@archive_option
def restore_(file: Path, archive: Archive) -> int:
    """Fill an empty store from a backup FILE, and check it.

    Exits with 5 where what it holds is wrong.
    """
    where, count, troubles = archive.restore(file)
    click.echo("\n".join((f"{where}: {count} runs", *troubles)))
    return found(5 if troubles else 0)


@records.command("check", short_help="Verify every seal, chain, journal and row.")
@archive_option
def check_(archive: Archive) -> int:
    """Verify every seal, chain, journal, certificate and row, and that nothing newer is missing.

    Repairs, causes, answers and self-tests have no seal: a row that another tool added is told for ever, and
    where other accounts use the store, what they are taken to have added is counted.

    Exits with 5 where anything is wrong, with 4 where nothing is but nobody here knows a signer, or the file
    is not there that tells of missing runs.
    """
    checked = archive.check()
    code = found(5 if checked.troubles else 4 if checked.untold else 0)
    show_integrity(checked, how)
    return code


@records.command("delete-bodies", short_help="Delete what old records say; their hashes stay.")
@click.option("--older-than", "days", type=click.IntRange(1), required=True, metavar="DAYS", help="Age.")
@click.option("--loom", "looms", multiple=True, help="Only of this loom (name, serial or digest).")
@click.option("--by", default="", help="Who has it done; else the person of workshop.toml.")
@click.option("--yes", is_flag=True, help="Do not ask: delete.")
@store_option
def delete_bodies_(days: int, looms: tuple[str, ...], by: str, yes: bool, store: str | None) -> None:
    """Delete what records say, by a rule; their lines and hashes stay. Says what would go before it asks."""
    from loomproof.screens.deleting import delete_asked

    delete_asked(store, days, looms, by, yes=yes)


@records.command(short_help="Make a data set of Parquet files, or add what is new to it.")
@click.argument("folder", type=FOLDER)
@click.option(
    "--persons",
    type=click.Choice(["kept", "left out", "pseudonyms"]),
    default="left out",
    show_default=True,
    help="What becomes of people's names.",
)
@archive_option
def dataset(folder: Path, persons: str, archive: Archive) -> None:
    """Write what the store's tables hold as Parquet files by month, for `report --dataset` and others.
    A FOLDER that holds such a data set gets what is new since. A pseudonym is the same person each time; the
    key that makes it stays in your data folder. Records, journals and certificates are not in it.
    """
    from loomproof.jobs.fleet import dataset_made

    click.echo(dataset_made(archive.store, folder, persons))


@records.command("hand-over", short_help="Hand over what waits in this bench's outbox.")
@store_option
def hand_over_(store: str | None) -> int:
    """Hand over what waits in this bench's outbox to the store, and list what still waits.
    Proofs that were sealed while a store on a server was away wait there. Every command that opens the store
    hands them over; this one does nothing else. Exits with 3 while the store does not answer, with 5 where
    it does not take something, which then stays in the outbox.
    """
    from loomproof.jobs.handing_over import hand_over_now

    result = hand_over_now(store)
    code = found(5 if result.refused else 3 if result.trouble is not None else 0)
    if result.trouble is not None and not result.told:
        raise result.trouble
    show_waiting(result, how)
    return code


@records.command(short_help="Correct what was typed in wrongly for a run.")
@click.argument("run", type=RUN)
@click.option("--why", required=True, help="What was wrong; stands on the certificate.")
@click.option("--person", help="Who proved it.")
@click.option("--place", help="Where.")
@click.option("--serial", help="The loom's serial number.")
@click.option("--authoriser", default="", help="Who authorises the correction; else nobody is stated.")
@click.option("--by", default="", help="Who corrects it; else the person of workshop.toml.")
@archive_option
def correct(run: str, why: str, by: str, archive: Archive, **right: Any) -> None:
    """Correct what was typed in wrongly for RUN: a new record that names the old one, which stays.

    What was measured is never corrected: prove the loom again. A run that was corrected before is corrected
    further: of all its records only the newest stands.
    """
    from loomproof.jobs.workshop import find

    by = by or find().workshop.person
    click.echo(archive.correct(chosen(archive, run), why, by=by, **right))


@records.command("benches", short_help="List benches, their last checks, and adapters.")
@archive_option
def benches_(archive: Archive) -> None:
    """List benches with the checks of their last proof, adapters that were used, and all self-tests."""
    from loomproof.jobs.archive import SELFTEST_HEADS, selftest_texts
    from loomproof.reports.words import clean

    for each in archive.bench_lines():
        line(clean(each))
    if tests := archive.selftests():
        click.echo("")
        listed(SELFTEST_HEADS, selftest_texts(tests), whole=SELFTEST_HEADS[1:2])


@records.command("import", short_help="Take in the records of another bench.")
@click.argument("source", metavar="FILE|FOLDER|URL")
@archive_option
def import_(source: str, archive: Archive) -> int:
    """Take in the records of another bench: its store, a sealed record or a certificate, or a folder of them.

    From a store come repairs, answers, certificates and self-tests too. Exits with 5 where some could not be
    taken; each is named, the others are kept.
    """
    taken = archive.take_in(source)
    code = found(5 if taken.conflicts else 0)
    show_taken(taken)
    return code


@click.command()
@click.argument("run", type=RUN)
@click.argument("words", required=False)
@click.option("--finding", type=click.IntRange(0), default=0, help="Its number; 0 is the whole run.")
@click.option("--found", metavar="WHAT", help='Its cause and place: "bad contact ECU:12".')
@click.option("--withdraw", is_flag=True, help="What was noted of it does not hold; WORDS say why.")
@click.option("--person", default="", help="Who did it; else the person of workshop.toml.")
@archive_option
def repaired(
    run: str,
    words: str | None,
    finding: int,
    found: str | None,
    withdraw: bool,
    person: str,
    archive: Archive,
) -> None:
    """Note what was done about a finding of RUN, in your own WORDS; the next certificate shows it.

    --found keeps what its cause was: later proofs look first where causes were found before. --withdraw takes
    back what was noted of a finding: it stays, marked, and teaches no more; note what holds after it. Without
    WORDS: list what was noted for RUN.
    """
    if withdraw and (found is not None or words is None):
        raise UsageError("--withdraw wants a reason alone", cure="Say why in WORDS, without --found.")
    if words is None and found is None:
        show_repairs(archive, chosen(archive, run))
        return
    from loomproof.jobs.workshop import find

    if not (person := person.strip() or find().workshop.person):
        raise UsageError("a repair without person says nothing", cure="Say who did it with --person NAME.")
    if withdraw:
        show_noted(archive, archive.withdraw(chosen(archive, run), person, words or "", finding), None)
        return
    show_noted(archive, archive.repaired(chosen(archive, run), person, words or "", finding, found), found)
