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


DECADES = 30.0
"""Values that differ by a greater factor are drawn on a logarithmic axis, or the small show nothing. Ours."""

_MARKERS = "osD^vP*X"
"""One for each line, so that they can be told apart where a printer has no colours."""


def trend_plot(path: Path, title: str, series: Iterable[Series]) -> None:
    """Draw resistance over time with k = 2 bars and limits; an open reading is a cross at the top.

    Lines differ by mark and brightness as well as by colour. Where values span decades the axis is
    logarithmic; a reading of nothing or less then stands at its foot.
    """
    lines = list(series)
    figure = new_figure(path)
    from matplotlib import colormaps
    from matplotlib.ticker import FuncFormatter, NullFormatter

    axes = figure.subplots()
    axes.xaxis_date()
    known = [ohm for one in lines for ohm in (*one.measured_ohm, *one.limit_ohm) if ohm > 0.0]
    decades = bool(known) and max(known) > DECADES * min(known)
    if decades:
        axes.set_yscale("log", nonpositive="clip")
        axes.yaxis.set_major_formatter(FuncFormatter(lambda ohm, _: f"{ohm:g}"))
        axes.yaxis.set_minor_formatter(NullFormatter())
    # From dark to bright by steps that stay steps in grey.
    shades = colormaps["viridis"]
    for place, one in enumerate(lines):
        moments = [day_of(text) for text in one.times]
        colour = shades(0.85 * place / max(len(lines) - 1, 1))
        mark = _MARKERS[place % len(_MARKERS)]
        axes.errorbar(
            moments,
            one.measured_ohm,
            yerr=one.uncertainty_ohm,
            marker=mark,
            markersize=5,
            capsize=3,
            linewidth=1.2,
            elinewidth=0.9,
            color=colour,
            label=one.name,
        )
        axes.plot(
            moments, one.limit_ohm, linestyle=":", marker="_", markersize=9, linewidth=1.2, color=colour
        )
        opened = [moment for moment, ohm in zip(moments, one.measured_ohm, strict=True) if math.isnan(ohm)]
        # Drawn at the top edge whatever the scale.
        axes.plot(
            opened,
            [0.98] * len(opened),
            linestyle="none",
            marker="x",
            color=colour,
            transform=axes.get_xaxis_transform(),
        )
    axes.set_title(title)
    axes.set_ylabel("resistance in Ω")
    if not decades:
        axes.set_ylim(bottom=0)
    axes.grid(visible=True, alpha=0.3, which="both" if decades else "major")
    said = "bars: k = 2; dotted: limit; ×: open"
    axes.legend(fontsize="small", title=said, title_fontsize="small")
    figure.autofmt_xdate()
    save_figure(figure, path)


def bars_plot(path: Path, title: str, groups: Mapping[str, Sequence[tuple[str, int]]]) -> None:
    """Draw counts as horizontal bars, one panel for each group, most first."""
    figure = new_figure(path, height=max(2.0, 0.9 * len(groups) + 0.25 * sum(map(len, groups.values()))))
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
    save_figure(figure, path)


def new_figure(path: Path, height: float = 4.5) -> Figure:
    """Return an empty figure, 8 inches wide. Raises `UsageError` where the file has another ending."""
    if path.suffix.lower() not in (".svg", ".png"):
        raise UsageError(f"{path}: a picture is .svg or .png")
    from matplotlib.figure import Figure

    # A figure of its own, never the library's global state.
    return Figure(figsize=(8.0, height), layout="constrained")


def save_figure(figure: Figure, path: Path) -> None:
    """Write a figure by the file's ending. Raises as `loomproof.loom.writing.write_file`."""
    write_file(path, drawn(figure, path.suffix.lower()), over=True)


def drawn(figure: Figure, ending: str) -> bytes:
    """Return a figure as a file of this ending, ``.svg`` or ``.png``."""
    import matplotlib

    # The same input gives the same SVG: fixed ids, no date.
    with matplotlib.rc_context({"svg.hashsalt": "loomproof", "text.parse_math": False}):
        into = io.BytesIO()
        date = {"Date": None} if ending == ".svg" else None
        figure.savefig(into, format=ending.removeprefix("."), dpi=150, metadata=date)
    return into.getvalue()


def day_of(text: str) -> float:
    """Return a time as days since 1970-01-01 UTC, the library's own scale for dates."""
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError as error:
        raise UsageError(f"a record gives {text!r} for its time; that cannot be drawn") from error
    moment = moment if moment.tzinfo else moment.replace(tzinfo=datetime.UTC)
    return moment.timestamp() / 86_400
