"""Pictures over time and over many looms, as SVG or PNG by the file's ending."""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from loomproof.errors import UsageError
from loomproof.loom.writing import write_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure


class Series(NamedTuple):
    """One line: its name, and for each time the value, its uncertainty and its limit (Ω; nan is open)."""

    name: str
    times: Sequence[str]
    measured_ohm: Sequence[float]
    uncertainty_ohm: Sequence[float]
    limit_ohm: Sequence[float]


def trend_plot(path: Path, title: str, series: Iterable[Series]) -> None:
    """Draw resistance over time with k = 2 bars and limits; an open reading is a cross at the top."""
    figure = _figure(path)
    axes = figure.subplots()
    axes.xaxis_date()
    for one in series:
        moments = [_day(text) for text in one.times]
        (line,) = axes.plot(moments, one.measured_ohm, marker="o", markersize=4, label=one.name)
        axes.errorbar(
            moments,
            one.measured_ohm,
            yerr=one.uncertainty_ohm,
            fmt="none",
            capsize=2,
            alpha=0.5,
            color=line.get_color(),
        )
        axes.plot(moments, one.limit_ohm, linestyle=":", alpha=0.7, color=line.get_color())
        opened = [moment for moment, ohm in zip(moments, one.measured_ohm, strict=True) if math.isnan(ohm)]
        # Drawn at the top edge whatever the scale.
        axes.plot(
            opened,
            [0.98] * len(opened),
            linestyle="none",
            marker="x",
            color=line.get_color(),
            transform=axes.get_xaxis_transform(),
        )
    axes.set_title(title)
    axes.set_ylabel("resistance in Ω (bars k = 2, dotted: limit, ×: open)")
    axes.set_ylim(bottom=0)
    axes.grid(visible=True, alpha=0.3)
    axes.legend(fontsize="small")
    figure.autofmt_xdate()
    _save(figure, path)


def bars_plot(path: Path, title: str, groups: Mapping[str, Sequence[tuple[str, int]]]) -> None:
    """Draw counts as horizontal bars, one panel for each group, most first."""
    figure = _figure(path, height=max(2.0, 0.9 * len(groups) + 0.25 * sum(map(len, groups.values()))))
    heights = [max(len(counts), 1) for counts in groups.values()]
    panels = figure.subplots(len(groups), 1, squeeze=False, gridspec_kw={"height_ratios": heights})
    for axes, (name, counts) in zip(panels[:, 0], groups.items(), strict=True):
        places = range(len(counts))
        axes.barh(places, [count for _, count in counts], color="#3b6ea5")
        axes.set_yticks(places, [label for label, _ in counts], fontsize="small")
        axes.invert_yaxis()
        axes.set_title(name, fontsize="medium", loc="left")
        axes.xaxis.get_major_locator().set_params(integer=True)
    figure.suptitle(title)
    _save(figure, path)


def _figure(path: Path, height: float = 4.5) -> Figure:
    if path.suffix.lower() not in (".svg", ".png"):
        raise UsageError(f"{path}: a picture is .svg or .png")
    from matplotlib.figure import Figure

    # A figure of its own, never the library's global state.
    return Figure(figsize=(8.0, height), layout="constrained")


def _save(figure: Figure, path: Path) -> None:
    import matplotlib

    # The same input gives the same SVG: fixed ids, no date.
    with matplotlib.rc_context({"svg.hashsalt": "loomproof", "text.parse_math": False}):
        ending = path.suffix.lower()
        drawn = io.BytesIO()
        date = {"Date": None} if ending == ".svg" else None
        figure.savefig(drawn, format=ending.removeprefix("."), dpi=150, metadata=date)
    write_file(path, drawn.getvalue(), over=True)


def _day(text: str) -> float:
    """Return a time as days since 1970-01-01 UTC, the library's own scale for dates."""
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError as error:
        raise UsageError(f"a record gives {text!r} for its time; that cannot be drawn") from error
    moment = moment if moment.tzinfo else moment.replace(tzinfo=datetime.UTC)
    return moment.timestamp() / 86_400
