"""What a person sees who types nothing: the jobs, and for what lies here the next step."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import click

from loomproof.jobs.lying_here import lying_here
from loomproof.jobs.next_steps import next_steps
from loomproof.screens.notes import How


def show_first_page(intro: str, jobs: Mapping[str, str], store: str | None, how: How, last: str) -> None:
    """Show what the program is, its jobs, then how each thing here stands and what is next."""
    page = click.HelpFormatter()
    page.width = min(page.width, 80)
    for paragraph in intro.split("\n\n"):
        page.write_text(" ".join(paragraph.split()))
        page.write_paragraph()
    with page.section("Three jobs"):
        page.write_dl(list(jobs.items()))
    with page.section("Here, and what comes next"):
        for step in next_steps(lying_here(Path.cwd(), store)):
            page.write_text(f"{step.about}: {step.stands}" if step.about else step.stands)
            with page.indentation():
                for do in step.does:
                    page.write_text(how(do))
    page.write_paragraph()
    page.write_text(last)
    click.echo(page.getvalue(), nl=False)
