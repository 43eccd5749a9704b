"""The command that draws a loom."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("loom", type=click.Path(path_type=Path))
@click.option(
    "--to",
    "target",
    type=click.Path(path_type=Path),
    default=Path("drawings"),
    show_default=True,
    help="Folder for the drawings; made where it is missing.",
)
@click.option("--over", is_flag=True, help="Write over what is there.")
def draw(loom: Path, target: Path, over: bool) -> None:
    """Draw LOOM as SVG: the whole loom, and the face of each connector.

    loom.svg shows connectors, splices, wires and circuits; face_NAME.svg a connector seen from its mating
    face, with cavity numbers and wire colours. SVG opens in any browser and prints at any size.
    """
    from loomproof.loom import writing
    from loomproof.loom.reading import load
    from loomproof.reports.drawing import drawings

    files = drawings(load(loom).loom)
    writing.write_files(files, target, over=over)
    click.echo(str(target / "loom.svg"))
    click.echo(f"{target} holds the picture of the loom and {len(files) - 1} connector faces.", err=True)
