"""Pictures of a tolerance study: what the doubt comes from, and the chance of keeping each limit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from .doubt import Doubt, Share
from .passing import Chance
from .plots import COLOURS, GREY, MARKERS, new_figure, save
from .varied import Group, Varied

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SHOWN, LEAST_SHOWN = 10, 0.005  # inputs listed, and the least share [-] worth a line
GROUP_WORDS: dict[Group, str] = {"use": "condition of use", "data": "number of the model"}


def shown_shares(found: Doubt) -> list[tuple[Varied, Share]]:
    """The inputs with the largest shares in the scatter of the tightest limit, the largest first."""
    return [pair for pair in found.ranked()[:SHOWN] if pair[1].total > LEAST_SHOWN]


def doubt_picture(found: Doubt, path: Path) -> Path:
    """Bars of the largest shares, and the chance of keeping each limit."""
    figure, axes = new_figure(9.5, 4.4, columns=2)
    draw_shares(axes[0], found)
    draw_chances(axes[1], found)
    return save(figure, path)


def draw_shares(axes: Axes, found: Doubt) -> Axes:
    """Total shares of the largest inputs with their intervals; first-order shares darker inside."""
    rows = shown_shares(found)[::-1]
    colours: dict[Group, str] = {"use": COLOURS[0], "data": COLOURS[1]}
    hatches: dict[Group, str] = {"use": "///", "data": ""}
    for height, (each, share) in enumerate(rows):
        axes.barh(height, 100 * share.total, color=colours[each.group], alpha=0.35, height=0.6)
        axes.barh(
            height,
            100 * min(max(share.first, 0.0), share.total),
            color=colours[each.group],
            hatch=hatches[each.group],
            edgecolor="white",
            lw=0,
            height=0.6,
        )
        axes.plot([100 * share.total_low, 100 * share.total_high], [height, height], color=GREY, lw=1.2)
    for group, colour in colours.items():
        words = GROUP_WORDS[group]
        axes.barh(0, 0, color=colour, hatch=hatches[group], edgecolor="white", lw=0, label=words)
    axes.set_yticks(range(len(rows)), [each.words for each, _ in rows])
    axes.set_xlim(0.0, None)
    axes.set_xlabel("share of the scatter / %: alone (full), with others (pale)")
    axes.set_title("Where the doubt comes from", loc="left", fontsize=10, fontweight="bold")
    axes.legend(frameon=False, fontsize=8, loc="lower right")
    return axes


def draw_chances(axes: Axes, found: Doubt) -> Axes:
    """Chance of keeping each limit and all together, with binomial intervals."""
    names = [*found.use.kept_by_limit, "all together"][::-1]
    for shift, words, passing, colour, marker in (
        (0.15, "in use", found.use, COLOURS[0], MARKERS[0]),
        (-0.15, "with the doubt about the model's numbers", found.with_data, COLOURS[1], MARKERS[3]),
    ):
        whole = Chance(
            fraction=passing.probability_fraction,
            low_fraction=passing.low_fraction,
            high_fraction=passing.high_fraction,
        )
        for height, name in enumerate(names):
            chance = passing.kept_by_limit.get(name, whole)
            ends = [100 * chance.low_fraction, 100 * chance.high_fraction]
            axes.plot(ends, [height + shift] * 2, color=colour, lw=2.0, alpha=0.6)
            axes.plot(
                100 * chance.fraction,
                height + shift,
                ls="",
                marker=marker,
                color=colour,
                ms=5,
                label=words if not height else None,
            )
    axes.set_yticks(range(len(names)), names)
    axes.set_xlim(None, 101.0)
    axes.set_xlabel("chance of keeping the limit / %")
    axes.set_title("Chance of passing", loc="left", fontsize=10, fontweight="bold")
    axes.legend(frameon=False, fontsize=8, loc="upper center", bbox_to_anchor=(0.5, 0.0), borderaxespad=4.2)
    return axes
