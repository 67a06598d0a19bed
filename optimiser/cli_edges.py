"""The `gelwright thickest` and `gelwright dimmest` commands: how far a gel can be pushed in a lamp."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer

from . import completion
from .cli_options import LampOption, SecondsOption

if TYPE_CHECKING:
    from .brief import Limits
    from .edges import Moved
    from .gel_case import GelCase

NOTHING_PASSES = 3

_Gel = Annotated[
    str,
    typer.Argument(
        metavar="GEL", autocompletion=completion.gels, help="A gel's TOML file, or a packaged id."
    ),
]
_Programme = Annotated[str | None, typer.Option("--programme", help="One of the lamp's programmes.")]
_Hand = Annotated[str | None, typer.Option("--hand", help="Usual hand: cold, usual or warm.")]
_Nail = Annotated[str | None, typer.Option("--nail", help="Usual nail: thin, usual or thick.")]
_Share = Annotated[
    float,
    typer.Option("--base-share", min=0.05, max=1.0, help="Share of the possible base conversion asked for."),
]
_Bed = Annotated[
    float, typer.Option("--nail-bed-c", min=36, max=48, help="Highest nail-bed temperature, °C.")
]
_Workers = Annotated[int | None, typer.Option("--workers", min=1, help="Threads; all cores if left out.")]
_Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")]


def thickest(
    gel: _Gel,
    lamp: LampOption,
    seconds: SecondsOption,
    programme: _Programme = None,
    hand: _Hand = None,
    nail: _Nail = None,
    base_share: _Share = 0.9,
    nail_bed_c: _Bed = 45.0,
    workers: _Workers = None,
    as_json: _Json = False,
) -> None:
    """The thickest coat that still passes in a lamp. Exit code 3 when no thickness does.

    Example: gelwright thickest clear_builder --lamp demo_arch_365_405 --seconds 60
    """
    from .edges import THICKNESS
    from .gel_case import case_from_options

    case = case_from_options(
        gel, lamp, seconds, programme=programme, hand=hand, nail=nail, limits=_limits(base_share, nail_bed_c),
        workers=workers,
    )  # fmt: skip
    _answer(case, THICKNESS, as_json)


def dimmest(
    gel: _Gel,
    lamp: LampOption,
    seconds: SecondsOption,
    thickness_um: Annotated[
        float | None, typer.Option("--thickness-um", help="Wet film, um; the gel's own if left out.")
    ] = None,
    programme: _Programme = None,
    hand: _Hand = None,
    nail: _Nail = None,
    base_share: _Share = 0.9,
    nail_bed_c: _Bed = 45.0,
    workers: _Workers = None,
    as_json: _Json = False,
) -> None:
    """The lowest lamp output, in per cent of the measured one, at which a gel still passes. Exit code 3 when none does.

    Example: gelwright dimmest base_coat --lamp demo_arch_365_405 --seconds 60
    """
    from .edges import OUTPUT
    from .gel_case import case_from_options

    case = case_from_options(
        gel, lamp, seconds, thickness_um=thickness_um, programme=programme, hand=hand, nail=nail,
        limits=_limits(base_share, nail_bed_c), workers=workers,
    )  # fmt: skip
    _answer(case, OUTPUT, as_json)


def _limits(base_share: float, nail_bed_c: float) -> Limits:
    from ..lamp_library.units import k_from_c
    from .brief import Limits

    return Limits(bottom_conversion_min_share=base_share, nail_bed_max_k=k_from_c(nail_bed_c))


def _answer(case: GelCase, moved: Moved, as_json: bool) -> None:
    from .edge_text import edge_data, edge_text
    from .edges import edge_of
    from .progress import ProgressBar

    with ProgressBar() as bar:
        found = edge_of(case, moved, bar)
    if as_json:
        typer.echo(json.dumps(edge_data(found), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        typer.echo(edge_text(found))
    if found.edge is None:
        raise typer.Exit(NOTHING_PASSES)
