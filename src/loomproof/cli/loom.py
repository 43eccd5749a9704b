"""Commands about the description of a loom: check, nets, new, export, import."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click


@click.command()
@click.argument("loom", type=click.Path(path_type=Path))
@click.option(
    "--answer", "answers", multiple=True, metavar="CHOICE=ANSWER", help="Answer a choice; repeatable."
)
def check(loom: Path, answers: Sequence[str]) -> None:
    """Check the description LOOM (a folder or a workbook) and sum it up."""
    from loomproof.electrics.nets import nets_of
    from loomproof.loom.choices import answers_of
    from loomproof.loom.model import Need
    from loomproof.loom.reading import load
    from loomproof.loom.summary import summary_of

    loaded = load(loom)
    given = answers_of(loaded.loom, answers)
    found = summary_of(loaded.loom, given)
    title = loaded.loom.name + (f", serial {loaded.loom.serial}" if loaded.loom.serial else "")
    click.echo(title)
    lines = (
        ("connectors", f"{found.connectors}, with {found.cavities} cavities ({found.spare} spare)"),
        ("splices", f"{found.splices}"),
        ("wires", f"{found.wires}, {found.length_m:.1f} m"),
        ("nets", f"{len(nets_of(loaded.loom))}"),
        ("components", f"{found.components}, {found.fitted} in place while the loom is proved"),
        ("circuits", ", ".join(f"{found.circuits[need]} {need}" for need in Need)),
    )
    for name, text in lines:
        click.echo(f"  {name:<11} {text}")
    for choice in loaded.loom.choices:
        answer = given.get(choice.name, "")
        others = ", ".join(known.name for known in choice.answers if known.name != answer)
        click.echo(
            f"  {choice.question} {answer or 'not answered'} (--answer {choice.name}=…; else {others})"
        )
    for text in found.missing:
        click.echo(f"  missing: {text}")
    if loaded.warnings:
        click.echo("Worth a look:")
        for warning in loaded.warnings:
            click.echo(f"  {warning}")
    click.echo("The description holds together.")
