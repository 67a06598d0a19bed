"""What a cure leaves behind, as lines of text and as plain data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from ..models.after_cure import AfterCure, Amount, content_text
from ..models.results import CureResult

_SENSITISERS = {"known": "skin sensitiser", "possible": "possible skin sensitiser", "": ""}


def _amount_row(name: str, amount: Amount, remark: str) -> tuple[str, ...]:
    figures = (amount.mean_wt_pct, amount.surface_wt_pct, amount.base_wt_pct)
    return name, *(content_text(each) for each in figures), remark


def amount_rows(result: CureResult) -> list[tuple[str, ...]]:
    """Head and rows of the table of residues: what, wt% in the mean, at the surface and at the base, remark."""
    return [("wt% left, predicted", "mean", "surface", "base", ""), *substance_rows(result.after_cure)]


def substance_rows(found: AfterCure) -> list[tuple[str, ...]]:
    """One row per substance left in a coat: what, wt% in the mean, at the surface and at the base, remark."""
    rows = [
        _amount_row(key, each.amount, _SENSITISERS[each.sensitiser])
        for key, each in found.free_monomers.items()
    ]
    rows += [_amount_row(key, each, "initiator") for key, each in found.initiators.items()]
    rows += [_amount_row(f"{key} products", each, "") for key, each in found.photoproducts.items()]
    rows += [_amount_row(key, each, "amine") for key, each in found.amines.items()]
    rows += [_amount_row(key, each, "stabiliser") for key, each in found.stabilisers.items()]
    return rows


def least_cured(results: Sequence[CureResult]) -> CureResult:
    """The position whose base is cured least."""
    return min(results, key=lambda each: each.bottom_conversion_fraction)


def after_cure_lines(results: Sequence[CureResult]) -> list[str]:
    """Residues, shrinkage, tint and setting at the position whose base is cured least.

    Parameters
    ----------
    results : sequence of CureResult
        The positions of one gel in one lamp.
    """
    result = least_cured(results)
    rows = amount_rows(result)
    widths = [max(len(row[column]) for row in rows) for column in range(4)]
    lines = [f"After the cure at {result.position} (surface = upper fifth, tacky layer included):"]
    for row in rows:
        numbers = "  ".join(row[column].rjust(widths[column]) for column in range(1, 4))
        lines.append(f"{row[0].ljust(widths[0])}  {numbers}  {row[4]}".rstrip())
    lines.append(film_sentence(result))
    return lines


def film_sentence(result: CureResult) -> str:
    """Shrinkage, tint and the order in which the faces set."""
    found = result.after_cure
    shrinkage, tint, setting = found.shrinkage, found.tint, found.setting
    lag = (
        "one face never sets" if setting.lag_s is None else f"base sets {setting.lag_s:+.1f} s after the skin"
    )
    return (
        f"Shrinkage {100 * shrinkage.mean_volume_fraction:.1f} % by volume, {100 * shrinkage.mean_linear_fraction:.1f} % "
        f"linear. Clear binder over white: b* {tint.cielab_b:.1f}, yellowness {tint.yellowness_index:.1f}. Gel-like: {lag}, "
        f"skin {round(100 * setting.conversion_gap_fraction) + 0} points ahead (indicative)."
    )


def _amounts(amounts: Mapping[str, Amount]) -> dict[str, Any]:
    return {key: asdict(each) for key, each in amounts.items()}


def after_cure_data(found: AfterCure) -> dict[str, Any]:
    """The same as plain data, for one coat at one position; times are null where a face never sets."""
    return {
        "initiators": _amounts(found.initiators),
        "photoproducts": _amounts(found.photoproducts),
        "amines": _amounts(found.amines),
        "stabilisers": _amounts(found.stabilisers),
        "free_monomers": {
            key: {**asdict(each.amount), "functionality": each.functionality, "sensitiser": each.sensitiser}
            for key, each in found.free_monomers.items()
        },
        "shrinkage": asdict(found.shrinkage),
        "tint": asdict(found.tint),
        "setting": {**asdict(found.setting), "may_wrinkle": found.setting.may_wrinkle},
    }
