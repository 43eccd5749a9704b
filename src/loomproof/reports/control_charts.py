"""Control charts as a picture, SVG or PNG by the file's ending: a panel for each quantity."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from loomproof.reports.plots import day_of, new_figure, save_figure


class Panel(NamedTuple):
    """One chart: readings with their times, middle line and limits, Ω; the weighted mean of the last of them.

    ``limits`` are those of single readings, lower and upper; ``weighted_limits`` those at each weighted mean.
    ``alarms`` are the places of readings that gave one, ``onset`` the last place before it began.
    """

    title: str
    unit: str
    times: Sequence[str]
    read_ohm: Sequence[float]
    middle_ohm: float
    limits: tuple[float, float]
    weighted_ohm: Sequence[float]
    weighted_limits: Sequence[tuple[float, float]]
    alarms: Sequence[int]
    onset: int | None


def charts_plot(path: Path, title: str, panels: Sequence[Panel]) -> None:
    """Draw the charts. Lines differ by dash and brightness, not by colour alone."""
    figure = new_figure(path, height=0.9 + 2.3 * len(panels))
    for axes, panel in zip(figure.subplots(len(panels), 1, squeeze=False)[:, 0], panels, strict=True):
        axes.xaxis_date()
        days = [day_of(text) for text in panel.times]
        later = days[len(days) - len(panel.weighted_ohm) :]
        axes.axvspan(days[0], later[0], color="0.93", label="makes middle line and spread")
        axes.plot(days, panel.read_ohm, "o", markersize=3, color="0.45", label="single readings")
        axes.axhline(panel.middle_ohm, color="black", linewidth=0.8)
        for limit in panel.limits:
            axes.axhline(limit, color="black", linewidth=0.9, linestyle="--")
        axes.plot([], [], color="black", linewidth=0.9, linestyle="--", label="limits of single readings")
        axes.plot(later, panel.weighted_ohm, color="#1f5a96", linewidth=1.6, label="weighted mean")
        for side in (0, 1):
            axes.plot(
                later,
                [both[side] for both in panel.weighted_limits],
                color="#1f5a96",
                linewidth=0.9,
                linestyle=":",
                label="limits of the weighted mean" if side else None,
            )
        for place in panel.alarms[:1]:  # the second rule follows soon after, and would stand in its words
            axes.axvline(days[place], color="#b3261e", linewidth=1.2)
            axes.annotate(
                f"alarm {panel.times[place][:10]}",
                (days[place], 1.0),
                xycoords=axes.get_xaxis_transform(),
                xytext=(3, -3),
                textcoords="offset points",
                va="top",
                fontsize="small",
                color="#b3261e",
            )
        if panel.onset is not None:
            axes.axvline(
                days[panel.onset], color="#b3261e", linewidth=1.0, linestyle="-.", label="began after"
            )
        axes.set_title(panel.title, fontsize="medium", loc="left")
        axes.set_ylabel(panel.unit)
        axes.grid(visible=True, alpha=0.3)
        axes.tick_params(axis="x", labelsize="small")
    handles, labels = figure.axes[0].get_legend_handles_labels()
    for axes in figure.axes[1:]:
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            if label not in labels:
                handles.append(handle)
                labels.append(label)
    figure.legend(handles, labels, loc="outside lower center", ncols=3, fontsize="small")
    figure.suptitle(title)
    save_figure(figure, path)
