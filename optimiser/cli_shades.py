"""The `gelwright shades` command: the fewest initiator blends that cure a range of shades."""

from __future__ import annotations

import json
from datetime import date, datetime
from typing import Annotated

import typer

from ..lamp_library.errors import InputError, unknown_name
from . import completion
from .cli_options import LampOption, SecondsOption

NOT_ALL = 3


def shades(
    gels: Annotated[
        list[str],
        typer.Argument(
            metavar="GEL GEL ...", autocompletion=completion.gels, help="Shades: TOML files or packaged ids."
        ),
    ],
    lamp: LampOption,
    seconds: SecondsOption,
    blend: Annotated[
        list[str] | None,
        typer.Option(help='A further blend to try, such as "BAPO=0.5,TPO-L=1"; may be given again.'),
    ] = None,
    only_named: Annotated[
        bool, typer.Option("--only-named", help="Try only the blends given and those of the shades, no grid.")
    ] = False,
    market: Annotated[
        list[str] | None, typer.Option(help="EU, GB or US; may be given again. EU if left out.")
    ] = None,
    on_date: Annotated[
        datetime | None, typer.Option(formats=["%Y-%m-%d"], help="Day of the law; today if left out.")
    ] = None,
    base_share: Annotated[
        float, typer.Option(min=0.05, max=1.0, help="Share of the possible base conversion asked for.")
    ] = 0.9,
    programme: Annotated[str | None, typer.Option(help="One of the lamp's programmes.")] = None,
    hand: Annotated[str | None, typer.Option(help="Hand: cold, usual or warm.")] = None,
    nail: Annotated[str | None, typer.Option(help="Nail plate: thin, usual or thick.")] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """The fewest blends of initiators that cure every shade in a lamp. Exit code 3 when a shade is left over.

    Example: gelwright shades white_colour red_colour --lamp demo_arch_365_405 --seconds 60
    """
    from ..lamp_library.lamp import load_lamp
    from ..models.heat import Hand
    from ..models.market import MARKETS
    from .brief import Limits
    from .conditions import hand_in_use
    from .demo_data import load_any_gel
    from .gel_case import gel_case
    from .passing import probability_of_passing
    from .progress import ProgressBar
    from .shades import cover_shades, is_amine, packages
    from .shades_text import CoverAnswer, cover_data, cover_text, lawful

    markets, day = tuple(market or ("EU",)), date.today() if on_date is None else on_date.date()
    for each in markets:
        if each not in MARKETS:
            raise unknown_name("market", each, MARKETS)
    found = [load_any_gel(name) for name in gels]
    light, finger = load_lamp(lamp), hand_in_use(Hand(), hand, nail)
    tried = packages(found, [_blend(text) for text in blend or ()], with_grid=not only_named)
    bad = sorted({key for each in tried for key in each if not lawful(key, markets, day)})
    kept = [each for each in tried if not set(each) & set(bad)]
    if not kept:
        raise InputError(
            f"shades: every blend holds {', '.join(bad)}, prohibited in {', '.join(markets)}. Give --blend."
        )
    limits = Limits(bottom_conversion_min_share=base_share)
    with ProgressBar() as bar:
        cover = cover_shades(
            found, light, kept, exposure_s=seconds, programme=programme or "steady", hand=finger, limits=limits,
            workers=workers, progress=bar,
        )  # fmt: skip
        passing = {}
        for column, rows in cover.serves.items():
            for row in rows:
                bar(row, len(found), "chance of passing")
                blended = dict(cover.candidates[column])
                amines = {key: load for key, load in blended.items() if is_amine(key)}
                shade = found[row].with_initiators(
                    {key: load for key, load in blended.items() if key not in amines}, amines
                )
                case = gel_case(
                    shade, light, exposure_s=seconds, programme=programme or "steady", hand=finger, limits=limits,
                    draws=64, workers=workers,
                )  # fmt: skip
                passing[row] = probability_of_passing(case.problem, case.loadings_wt_pct)
    answer = CoverAnswer(
        cover=cover,
        lamp=light,
        exposure_s=seconds,
        law_date=day,
        markets=markets,
        excluded=tuple(bad),
        passing=passing,
    )
    typer.echo(
        json.dumps(cover_data(answer), indent=2, ensure_ascii=False, allow_nan=False)
        if as_json
        else cover_text(answer)
    )
    if cover.uncovered:
        raise typer.Exit(NOT_ALL)


def _blend(text: str) -> dict[str, float]:
    """A blend written as "BAPO=0.5,TPO-L=1"."""
    from ..models.materials import list_photoinitiators

    found = {}
    for part in text.split(","):
        key, _, load = part.partition("=")
        if key.strip() not in list_photoinitiators():
            raise unknown_name("initiator in --blend", key.strip(), list_photoinitiators())
        try:
            found[key.strip()] = float(load)
        except ValueError:
            raise InputError(
                f"--blend {text}: '{load}' is no number. Write for instance \"BAPO=0.5,TPO-L=1\"."
            ) from None
        if not 0.0 < found[key.strip()] <= 20.0:
            raise InputError(f"--blend {text}: {load} wt% lies outside 0 to 20 wt%. Correct the loading.")
    return found
