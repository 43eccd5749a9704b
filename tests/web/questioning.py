"""A server on which a job asks one question of each kind, and prints what it was answered, a line of JSON."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any

from loomproof.jobs.events import Event, Prompt
from loomproof.jobs.keep import Orders
from loomproof.jobs.running import Running
from loomproof.judgement.inspection import ITEMS
from loomproof.web.asking import PageOperator
from loomproof.web.server import serve
from loomproof.web.session import Ending, Session, Work
from loomproof.web.workplace import Workplace


def asking(operator: PageOperator, _: Callable[[], Orders]) -> Work:
    def job() -> Generator[Event, None, list[object]]:
        yield Prompt("Before a proof:", ("Disconnect the battery.",))
        return [
            operator.confirm("Is all of that done?"),
            operator.type_voltage(500.0),
            operator.read_meter(),
            list(operator.inspect(ITEMS).lines),
            operator.hold_probe(None),
        ]

    def ended(said: list[object]) -> Ending:
        sys.stdout.write(json.dumps(said) + "\n")
        sys.stdout.flush()
        return Ending("pass", "PASS", (), {})

    running: Running[Any] = Running(job())
    return Work("Questions", "", (), running, ended)


def main(looms: str, out: str) -> None:
    session = Session()

    def ready(address: str) -> None:
        session.begin(asking)
        sys.stdout.write(address + "\n")
        sys.stdout.flush()

    serve(Workplace(Path(looms), Path(out), str(Path(out) / "records.db")), ready, session=session)


if __name__ == "__main__":
    main(*sys.argv[1:])
