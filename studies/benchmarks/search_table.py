"""Table, picture and README section of the search benchmark."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
from readme_section import markdown, write_section

MARKS = ("<!-- search: written by search.py -->", "<!-- end of search -->")
OURS = "gelwright"
ALONE = "where only the product has run, its own best is the measure and says nothing about success"
NEAR = 1.01  # success: within 1 % of the best known


def best_known(part: pd.DataFrame) -> tuple[bool, float]:
    """Whether a brief can be met, and its least objective, else its least violation, over all runs."""
    met = pd.to_numeric(part["best_objective"], errors="coerce").dropna()
    if len(met):
        return True, float(met.min())
    return False, float(pd.to_numeric(part["best_violation"]).min())


def hits(runs: pd.DataFrame) -> pd.DataFrame:
    """For every run the films and seconds until it came within 1 % of the best known; nan if it never did."""
    rows = []
    done = runs[runs["note"].fillna("") == ""]
    for brief, part in done.groupby("brief"):
        met, best = best_known(part)
        for run in part.itertuples():
            course = json.loads(str(run.course))
            reached = [row for row in course if (row[1] == 0.0) == met and row[2] <= NEAR * best]
            first = reached[0] if reached else (np.nan, 0.0, 0.0, np.nan)
            rows.append(
                {
                    "brief": brief, "method": run.method, "seed": run.seed, "met": met, "best": best,
                    "hit": bool(reached), "films_to_hit": first[0], "s_to_hit": first[3], "films": run.films,
                }
            )  # fmt: skip
    return pd.DataFrame(rows)


def by_method(table: pd.DataFrame) -> pd.DataFrame:
    """Success and films over all briefs, one row per method, the best first.

    Films per success are those until success, or of the whole run where there was none, over the number of successes.
    """
    rows = []
    for method, part in table.groupby("method"):
        reached = part[part["hit"]]
        rows.append(
            {
                "method": method,
                "runs": len(part),
                "seeds": part["seed"].nunique(),
                "success": f"{100.0 * part['hit'].mean():.0f} %",
                "briefs always solved": sum(each["hit"].all() for _, each in part.groupby("brief")),
                "briefs": part["brief"].nunique(),
                "median films to within 1 %": reached["films_to_hit"].median(),
                "films per success": part["films_to_hit"].fillna(part["films"]).sum() / max(len(reached), 1),
                "median s to within 1 %": reached["s_to_hit"].median(),
                "median films of a whole run": part["films"].median(),
                "order": -part["hit"].mean(),
            }
        )
    return pd.DataFrame(rows).sort_values("order").drop(columns="order")


def ratios(table: pd.DataFrame) -> str:
    """One sentence: how many times the films of the product the best of the others needs, by either measure."""
    ours, others = table[table["method"] == OURS], table[~table["method"].str.startswith(OURS)]
    words = []
    for column in ("median films to within 1 %", "films per success"):
        reached = others.dropna(subset=["median films to within 1 %"])
        if reached.empty or ours.empty:
            return "Not enough has run yet for a comparison."
        best = reached.loc[reached[column].idxmin()]
        mine = float(ours[column].iloc[0])
        words.append(
            f"{column}: {mine:.0f}, the best of the others ({best['method']}, success {best['success']}) {best[column]:.0f}, "
            f"{best[column] / mine:.1f} times as many"
        )
    return ". ".join([words[0][0].upper() + words[0][1:], words[1][0].upper() + words[1][1:]]) + "."


def by_brief(table: pd.DataFrame) -> pd.DataFrame:
    """Median films to within 1 % by brief and method, budgets used up counted as never; with the share of hits."""
    cells: dict[str, dict[str, str]] = {}
    for (brief, method), part in table.groupby(["brief", "method"]):
        reached = part[part["hit"]]
        text = f"{len(reached)}/{len(part)}"
        cells.setdefault(str(brief), {})[str(method)] = (
            f"{text}, {reached['films_to_hit'].median():.0f}" if len(reached) else text
        )
    return pd.DataFrame(cells).T.fillna("-").rename_axis("brief").reset_index()


def draw(table: pd.DataFrame, path: Path) -> None:
    """Share of runs within 1 % of the best known against films simulated."""
    from gelwright.optimiser.plots import COLOURS, new_figure, save

    figure, (axes,) = new_figure(7.0, 4.2)
    for number, (method, part) in enumerate(table.groupby("method")):
        films = np.sort(part["films_to_hit"].dropna().to_numpy())
        share = np.arange(1, len(films) + 1) / len(part)
        axes.step(
            [1.0, *films, part["films"].max()], [0.0, *share, share[-1] if len(share) else 0.0], where="post",
            color=COLOURS[number % len(COLOURS)], ls="-" if number < len(COLOURS) else "--",
            lw=2.5 if method == OURS else 1.2, label=str(method),
        )  # fmt: skip
    axes.set_xscale("log")
    axes.set_xlabel("films simulated")
    axes.set_ylabel("share of runs within 1 % of the best known")
    axes.legend(frameon=False, fontsize=7)
    save(figure, path)


def write_results(runs: pd.DataFrame, folder: Path, readme: Path | None) -> None:
    """Tables and picture into `folder`, numbers into the README's section."""
    if runs.empty:
        return
    table = hits(runs)
    if table.empty or set(table["method"]) == {OURS}:
        return
    table.to_csv(folder / "search_hits.csv", index=False, float_format="%.5g")
    draw(table[table["brief"].isin(table[table["method"] != OURS]["brief"])], folder / "search.png")
    skipped = runs[runs["note"].fillna("") != ""].groupby("method")["note"].first()
    others = table[table["method"] != OURS].groupby("brief")["method"].nunique()
    compared = table[table["brief"].isin(others.index)]  # alone, the product would be its own measure
    text = "\n\n".join(
        [
            ratios(by_method(compared)),
            f"The {compared['brief'].nunique()} of {table['brief'].nunique()} briefs that others have searched so far, together:",
            markdown(by_method(compared)),
            "Brief by brief: runs within 1 % of the best known out of all runs, median films until then"
            + (":" if len(others) == table["brief"].nunique() else f" ({ALONE}):"),
            markdown(by_brief(table)),
            *(f"{method}: {note}." for method, note in skipped.items()),
            "![Share of runs within 1 % of the best known against films simulated](results/search.png)",
        ]
    )
    print(text)
    if readme is not None:
        write_section(readme, MARKS, text)
