"""What a person states for the certificate: item, order, laboratory. The options of a proof for it."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, TypeVar, cast

import click

from loomproof.cli.options import FiniteNumber, Said

F = TypeVar("F", bound=Callable[..., object])

_TEXTS = {
    "serial": "The item's serial, where the description has none or is of many looms.",
    "condition": "How the loom was on receipt.",
    "customer": "Whom it is proved for.",
    "order": "The order that it is proved under.",
    "authoriser": "Who authorises the certificate.",
}


def certificate_options(command: F) -> F:
    """Add what may be stated for the certificate; the command gets it as ``stated``, by name."""
    names = (*_TEXTS, "humidity_pct")

    @functools.wraps(command)
    def gathered(*args: Any, **values: Any) -> object:
        stated = {name: said for name in names if (said := values.pop(name)) is not None}
        return command(*args, stated=stated, **values)

    made: Any = click.option(
        "--humidity",
        "humidity_pct",
        type=FiniteNumber(0, 100),
        metavar="PERCENT",
        help="Relative humidity at the loom, by your own instrument.",
    )(gathered)
    for name, help_text in reversed(_TEXTS.items()):
        made = click.option(f"--{name}", type=Said(), metavar="TEXT", help=help_text)(made)
    return cast(F, made)
