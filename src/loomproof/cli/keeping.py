"""Commands that look after keys, known signers and the store itself."""

from __future__ import annotations

from pathlib import Path

import click

from loomproof.cli.records import chosen, store_option
from loomproof.errors import UsageError
from loomproof.jobs.files import now, write_file


@click.group()
def key() -> None:
    """Show, export or replace the station's key, and keep the list of signers that you know."""


@key.command(short_help="Show the key's fingerprint and public half.")
def show() -> None:
    """Show the key's fingerprint and public half; make the key where there is none yet."""
    from loomproof.records.data_folder import home
    from loomproof.records.keys import KeyFolder

    folder = KeyFolder(home())
    signer = folder.signer(now())
    click.echo(f"fingerprint  {signer.fingerprint}")
    click.echo(f"public key   {signer.public_hex}")
    click.echo(f"station      {signer.station}")
    click.echo(f"kept in      {folder.path}")


@key.command(short_help="Write the secret key to FILE.")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
def export(file: Path) -> None:
    """Write the secret key to FILE, readable by you only: keep it as you keep money."""
    from loomproof.records.data_folder import home
    from loomproof.records.keys import KeyFolder

    if file.exists():
        raise UsageError(f"{file}: there is a file already", cure="Name another one.")
    pem = KeyFolder(home()).signer(now()).pem()
    write_file(file, pem, private=True)
    click.echo(f"{file}: whoever has this file can sign as you.", err=True)


@key.command(short_help="Put a new key, or an exported one, in place.")
@click.option("--with", "given", type=click.Path(path_type=Path, dir_okay=False, exists=True), help="A key.")
def replace(given: Path | None) -> None:
    """Put a new key (or an exported one) in place; the old one is kept, and its seals still hold."""
    from loomproof.records.data_folder import home
    from loomproof.records.keys import KeyFolder, read_signer

    signer = read_signer(given.read_bytes(), str(given)) if given else None
    fresh = KeyFolder(home()).replace(now(), signer)
    click.echo(f"fingerprint  {fresh.fingerprint}")


@key.command(short_help="List the signers that you know.")
def signers() -> None:
    """List the signers that you know: only their seals are called genuine."""
    from loomproof.records.data_folder import home
    from loomproof.records.keys import fingerprint
    from loomproof.records.signers import KnownSigners

    known = KnownSigners(home()).all()
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
    from loomproof.records.data_folder import home
    from loomproof.records.keys import fingerprint
    from loomproof.records.signers import KnownSigners
    from loomproof.records.verify_file import check_file

    public = check_file(Path(what)).key if Path(what).is_file() else what
    KnownSigners(home()).add(public, name)
    click.echo(f"{fingerprint(public.strip().lower())}  {name}")


@key.command()
@click.argument("name", metavar="NAME|KEY")
def forget(name: str) -> None:
    """Take a signer out of the list."""
    from loomproof.records.data_folder import home
    from loomproof.records.signers import KnownSigners

    KnownSigners(home()).remove(name)


@click.group()
def records() -> None:
    """Back up, restore and check the kept records, and take in those of another bench."""


@records.command("backup")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@store_option
def backup_(file: Path, store: str | None) -> None:
    """Write all records to one FILE. Keys are not in it: loomproof key export."""
    from loomproof.records.backup import backup
    from loomproof.records.store import open_store

    with open_store(store) as opened:
        count = backup(opened, file)
    click.echo(f"{file}: {count} runs")


@records.command("restore")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@store_option
def restore_(file: Path, store: str | None) -> None:
    """Fill an empty store from a backup FILE."""
    from loomproof.records.backup import restore
    from loomproof.records.data_folder import home
    from loomproof.records.noting import note_if_ours
    from loomproof.records.store import open_store

    with open_store(store) as opened:
        count = restore(file, opened)
        note_if_ours(home(), opened, store)
        click.echo(f"{opened.where}: {count} runs")


@records.command("check", short_help="Verify every seal, chain, journal and row.")
@store_option
def check_(store: str | None) -> int:
    """Verify every seal, chain, journal, certificate and row, and that nothing newer is missing.

    Exits with 5 where anything is wrong, with 4 where nothing is but nobody here knows a signer, or the file
    is not there that tells of missing runs.
    """
    from loomproof.cli.cures import told
    from loomproof.records.data_folder import home
    from loomproof.records.integrity import check_store
    from loomproof.records.signers import KnownSigners
    from loomproof.records.store import open_store
    from loomproof.reports.words import plural

    with open_store(store) as opened:
        found = check_store(opened, KnownSigners(home()).all(), home(), store)
    click.echo(
        f"{plural(found.records, 'record')} in {plural(found.chains, 'chain')}, "
        f"{plural(found.journals, 'journal')}, {plural(found.certificates, 'certificate')}"
    )
    for trouble in found.troubles:
        click.echo(f"  {trouble}", err=True)
    for untold in found.untold:
        click.echo(f"  {told(untold)}", err=True)
    said = plural(len(found.troubles), "trouble") if found.troubles else "nothing was changed"
    click.echo(f"{said}, {len(found.untold)} that can't be told" if found.untold else said)
    return 5 if found.troubles else 4 if found.untold else 0


@records.command(short_help="Correct what was typed in wrongly for a run.")
@click.argument("run")
@click.option("--why", required=True, help="What was wrong; stands on the certificate.")
@click.option("--person", help="Who proved it.")
@click.option("--place", help="Where.")
@click.option("--serial", help="The loom's serial number.")
@store_option
def correct(
    run: str, why: str, person: str | None, place: str | None, serial: str | None, store: str | None
) -> None:
    """Correct what was typed in wrongly for RUN: a new record that names the old one, which stays.

    What was measured is never corrected: prove the loom again.
    """
    from loomproof.jobs import correct as correcting
    from loomproof.records.store import open_store

    if person is None and place is None and serial is None:
        raise UsageError("nothing to correct was given", cure="Give --person, --place or --serial.")
    with open_store(store) as opened:
        found = chosen(opened, run).hash
    click.echo(correcting.correct(found, why, person=person, place=place, serial=serial, store=store))


@records.command("benches", short_help="List benches, their last checks, and adapters.")
@store_option
def benches_(store: str | None) -> None:
    """List benches with their last checks, and the adapters that were used."""
    from loomproof.records.queries import adapters, benches
    from loomproof.records.store import open_store
    from loomproof.reports.words import clean, plural, when

    with open_store(store) as opened:
        found, tables = benches(opened), adapters(opened)
    for bench in found:
        click.echo(clean(f"{bench.bench}: {plural(bench.records, 'record')}, last {when(bench.last_ended)}"))
        for name, passed, words in bench.checks:
            click.echo(clean(f"  {'passed' if passed else 'FAILED'}  {name}{': ' + words if words else ''}"))
    for table in tables:
        click.echo(clean(f"adapter {table.name}, {table.digest[:16]}, first used {when(table.first_used)}"))


@records.command("import", short_help="Take in the records of another bench.")
@click.argument("source", metavar="FILE|FOLDER|URL")
@store_option
def import_(source: str, store: str | None) -> int:
    """Take in the records of another bench: its store, a sealed record, or a folder of them.

    Exits with 5 where some could not be taken; each is named, the others are kept.
    """
    from loomproof.records.backup import take_in
    from loomproof.records.data_folder import home
    from loomproof.records.noting import note_if_ours
    from loomproof.records.store import open_store

    with open_store(store) as opened:
        taken = take_in(source, opened)
        note_if_ours(home(), opened, store)
    click.echo(f"{taken.added} new, {taken.already} there already, {taken.repairs} repairs")
    for conflict in taken.conflicts:
        click.echo(f"  {conflict}", err=True)
    return 5 if taken.conflicts else 0


@click.command()
@click.argument("run")
@click.argument("words")
@click.option(
    "--finding", type=click.IntRange(0), default=0, help="Its number in the run; 0 is the whole run."
)
@click.option("--person", required=True, help="Who did it.")
@store_option
def repaired(run: str, words: str, finding: int, person: str, store: str | None) -> None:
    """Note what was done about a finding of RUN, in your own WORDS; the next certificate shows it."""
    from loomproof.records.data_folder import home
    from loomproof.records.noting import note_if_ours
    from loomproof.records.store import open_store

    with open_store(store) as opened:
        run = chosen(opened, run).hash
        noted = opened.add_repair(run, person, words, now().isoformat(timespec="seconds"), finding)
        note_if_ours(home(), opened, store)
    click.echo(f"run {noted.run}: kept")
