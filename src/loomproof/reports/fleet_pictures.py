"""Pictures of what very many proofs come to: faults most first, first passes by month, joints over time.

Each is told in words as well, for who can't see it. Colours are those of Okabe and Ito (Color universal
design, 2008), which people tell apart however they see colour, and nothing is said by colour alone.
"""

from __future__ import annotations

import importlib
import re
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any, NamedTuple

from loomproof.reports.fleet_words import meets_texts, percent_of
from loomproof.reports.plots import drawn
from loomproof.reports.words import clean, plural
from loomproof.results.drift import Drift

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.ticker import Locator

BLUE, ORANGE = "#0072B2", "#D55E00"
MOST_LETTERS = 34
"""Of a name in a picture; the table beside it has all of it."""
MOST_JOINTS = 20


class Month(NamedTuple):
    """Looms whose first proof was in a month, how many passed it, and the 95 % interval of their share."""

    month: str
    looms: int
    passed: int
    low: float
    high: float


class Lasting(NamedTuple):
    """The share of joints that is good for longer than so many days, and its 95 % interval.

    Those that were lost since the step before were so after ``after_days``.
    """

    after_days: int
    days: int
    share: float
    low: float
    high: float


@dataclass(frozen=True)
class Picture:
    """One picture: the name of its file without ending, what it shows, and the same in words."""

    name: str
    title: str
    words: str
    draw: Callable[[Figure], None]
    height: float

    @property
    def png(self) -> bytes:
        """The picture as PNG."""
        return self._drawn(".png")

    @property
    def svg(self) -> bytes:
        """The picture as SVG, with title and words for who has it read out."""
        told = f"<title>{escape(self.title)}</title><desc>{escape(self.words)}</desc>"
        text = re.sub(
            r"\s*<metadata>.*?</metadata>", "", self._drawn(".svg").decode("utf-8"), flags=re.DOTALL
        )
        return re.sub(r"(<svg\b[^>]*)>", lambda head: f'{head[1]} role="img">{told}', text, count=1).encode()

    def _drawn(self, ending: str) -> bytes:
        import matplotlib
        from matplotlib.figure import Figure

        # A dollar in a name is a dollar; letters that the font has not stand as boxes, and in the table.
        with matplotlib.rc_context({"text.parse_math": False, "font.size": 10}), warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            figure = Figure(figsize=(7.0, self.height), layout="constrained")
            self.draw(figure)
            return drawn(figure, ending)


def inline(svg: bytes, prefix: str) -> str:
    """Return an SVG picture to stand in a page: its own names begin with ``prefix``, so that two don't
    clash."""
    text = svg[svg.index(b"<svg") :].decode("utf-8")
    text = re.sub(r'\b(id=")', rf"\1{prefix}-", text)
    return re.sub(r'((?:xlink:)?href="#|url\(#)', rf"\1{prefix}-", text)


def faults_picture(dimension: str, rows: Sequence[tuple[str, int]], *, whole: bool) -> Picture:
    """Draw how many faults there are of each name, most first; where that is all, what they come to
    together."""
    total = sum(count for _, count in rows)
    so_far, together = 0, []
    for _, count in rows:
        so_far += count
        together.append(100 * so_far / total)
    names = [_short(name) for name, _ in rows]

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        places = range(len(rows))
        axes.barh(places, [count for _, count in rows], color=BLUE, height=0.7)
        for place, (_, count) in zip(places, rows, strict=True):
            axes.annotate(
                f"{count}", (count, place), xytext=(4, 0), textcoords="offset points", va="center", fontsize=9
            )
        axes.set_yticks(places, names)
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.set_xlim(0, max(count for _, count in rows) * 1.14)
        axes.set_xlabel("faults")
        axes.xaxis.set_major_locator(_whole_numbers())
        _plain(axes)
        if whole and len(rows) > 1:
            above = axes.twiny()
            above.plot(together, places, color=ORANGE, marker="o", markersize=4, linewidth=1.4)
            above.set_xlim(0, 114)
            above.set_xticks(range(0, 101, 20))
            above.set_xlabel("these and all above together, % of faults (line)")
            above.spines[["right", "bottom"]].set_visible(False)

    said = f"{'Faults' if whole else f'The {len(rows)} most frequent'} by {dimension}, most first: "
    listed = [f"{clean(name)} {count}" for name, count in rows]
    return Picture(
        f"faults-by-{dimension}",
        f"Faults by {dimension}, most first",
        said + ", ".join(listed) + ".",
        draw,
        (1.5 if whole and len(rows) > 1 else 0.95) + 0.27 * len(rows),
    )


def first_pass_picture(months: Sequence[Month]) -> Picture:
    """Draw the share of looms that passed their first proof, by month, over how many there were."""
    shares = [100 * each.passed / each.looms for each in months]

    def draw(figure: Figure) -> None:
        upper, lower = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": [3, 1]})
        places = range(len(months))
        below = [share - 100 * each.low for share, each in zip(shares, months, strict=True)]
        above = [100 * each.high - share for share, each in zip(shares, months, strict=True)]
        upper.errorbar(
            places,
            shares,
            yerr=(below, above),
            color=BLUE,
            marker="o",
            markersize=4,
            capsize=2,
            elinewidth=0.9,
        )
        upper.set_ylim(0, 104)
        upper.set_ylabel("passed, %")
        upper.annotate("bars: 95 % interval", (1, 0.04), xycoords="axes fraction", ha="right", fontsize=9)
        lower.bar(places, [each.looms for each in months], color="0.55", width=0.7)
        lower.set_ylabel("looms")
        lower.yaxis.set_major_locator(_whole_numbers(3))
        step = -(-len(months) // 12)
        ticks = range(0, len(months), step)
        lower.set_xticks(ticks, [months[place].month for place in ticks], rotation=45, ha="right")
        for axes in (upper, lower):
            _plain(axes)

    told = f"{months[0].month} {percent_of(shares[0])}, {months[-1].month} {percent_of(shares[-1])}"
    least = min(range(len(months)), key=shares.__getitem__)
    words = (
        f"Share of looms that passed their first proof, over {plural(len(months), 'month')}: {told}; "
        f"least in {months[least].month}, {percent_of(shares[least])}."
    )
    return Picture("first-pass", "Looms that passed their first proof, by month", words, draw, 4.2)


def drift_picture(joints: Sequence[Drift]) -> Picture | None:
    """Draw on which day each joint meets its limit, with the interval; `None` where no day is told."""
    told = [each for each in joints if each.meets is not None][:MOST_JOINTS]
    if not told:
        return None

    def draw(figure: Figure) -> None:
        # Its stubs leave these untyped.
        dates: Any = importlib.import_module("matplotlib.dates")
        axes = figure.subplots()
        axes.xaxis_date()
        days = [float(dates.date2num(each.meets)) for each in told]
        ends = [
            (
                float(dates.date2num(each.meets_from or each.meets)),
                float(dates.date2num(each.meets_to or each.meets)),
            )
            for each in told
        ]
        places = range(len(told))
        axes.hlines(places, [low for low, _ in ends], [high for _, high in ends], color=BLUE, linewidth=1.6)
        for place, (low, high), each in zip(places, ends, told, strict=True):
            caps = [low, *([high] if each.meets_to else [])]
            axes.plot(caps, [place] * len(caps), "|", color=BLUE, markersize=9, markeredgewidth=1.6)
        axes.plot(days, places, "o", color=ORANGE, markersize=6)
        axes.set_yticks(places, [_short(each.name) for each in told])
        axes.set_ylim(len(told) - 0.4, -0.6)
        locator = dates.AutoDateLocator()
        axes.xaxis.set_major_locator(locator)
        axes.xaxis.set_major_formatter(dates.ConciseDateFormatter(locator))
        axes.set_xlabel("day on which the line meets the limit (bars: 95 % interval)")
        axes.grid(visible=True, axis="x", alpha=0.3)
        _plain(axes)

    listed = (f"{clean(each.name)} on {', '.join(meets_texts(each))}" for each in told)
    words = f"When joints that drift meet their limit, the soonest first: {'; '.join(listed)}."
    return Picture("drift", "When joints that drift meet their limit", words, draw, 0.95 + 0.3 * len(told))


def survival_picture(
    joints: int, lost: int, longest_days: int, steps: Sequence[Lasting], *, interval: bool = True
) -> Picture:
    """Draw the share of joints that is still good, over the days since their first proof.

    Where it fell is drawn as steep as what was seen leaves open; ``interval`` draws the 95 % interval as
    well.
    """

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        days, shares, low, high = [0], [100.0], [100.0], [100.0]
        for each in steps:
            days += [each.after_days, each.days]
            shares += [shares[-1], 100 * each.share]
            low += [100 * each.low] * 2
            high += [high[-1], 100 * each.high]
        days.append(longest_days)
        for column in (shares, low, high):
            column.append(column[-1])
        axes.plot(days, shares, color=BLUE, linewidth=1.6, label="still good")
        if steps and interval:
            axes.fill_between(days, low, high, color=BLUE, alpha=0.2, linewidth=0, label="95 % interval")
        least = min([100 * (each.low if interval else each.share) for each in steps], default=100.0)
        axes.set_ylim(max(0.0, least - 0.2 * (100 - least) - 0.5), 100 + 0.04 * max(100 - least, 1.0))
        axes.set_xlim(0, max(longest_days, 1))
        axes.set_xlabel("days since a joint's first proof")
        axes.set_ylabel("joints still good, %")
        axes.grid(visible=True, alpha=0.3)
        axes.legend(loc="lower left", fontsize=9, frameon=False)
        _plain(axes)

    end = steps[-1].share if steps else 1.0
    words = (
        f"Of {plural(joints, 'joint')} that were good at their first proof {lost} were lost in up to "
        f"{plural(longest_days, 'day')}; at the end {percent_of(100 * end)} are estimated to be still good."
    )
    return Picture("survival", "Joints that stay good", words, draw, 3.6)


def _short(name: str) -> str:
    name = clean(name) or "no name"
    return name if len(name) <= MOST_LETTERS else name[: MOST_LETTERS - 1] + "…"


def _whole_numbers(most: int = 8) -> Locator:
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(most, integer=True)


def _plain(axes: Axes) -> None:
    axes.spines[["top", "right"]].set_visible(False)
