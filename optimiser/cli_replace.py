"""The `gelwright replace` command: a blend without a substance, matched in cure to the old one."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from . import completion
from .cli_options import LampOption, SecondsOption

NOT_ALIKE = 3


def replace(
    gel: Annotated[
        str,
        typer.Argument(
            metavar="GEL", autocompletion=completion.gels, help="The old gel: a TOML file, or a packaged id."
        ),
    ],
    lamp: LampOption,
    seconds: SecondsOption,
    without: Annotated[
        list[str] | None, typer.Option(help="Substance to do without; may be given again.")
    ] = None,
    on_date: Annotated[
        datetime | None, typer.Option(formats=["%Y-%m-%d"], help="Day of the law; today if left out.")
    ] = None,
    market: Annotated[
        list[str] | None, typer.Option(help="EU, GB or US; may be given again. EU if left out.")
    ] = None,
    consumer: Annotated[
        bool, typer.Option("--consumer", help="For consumers too, not only trained people.")
    ] = False,
    allow: Annotated[
        list[str] | None, typer.Option(help="Substance whose status is unknown but that may be used.")
    ] = None,
    thickness_um: Annotated[
        float | None, typer.Option(help="Wet film, um; the gel's own if left out.")
    ] = None,
    programme: Annotated[str | None, typer.Option(help="One of the lamp's programmes.")] = None,
    most: Annotated[int, typer.Option(min=1, max=3, help="Most initiators in the new blend.")] = 3,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write the best new gel as a TOML file.")
    ] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """A blend without a substance, or without what the law of a day prohibits, that cures as the old one does.

    Exit code 3 when none cures alike.

    Example: gelwright replace old_builder_tpo --without TPO --lamp demo_arch_365_405 --seconds 60
    """
    from ..models.gel import save_gel
    from .gel_case import case_from_options
    from .matching import match
    from .matching_brief import matching_brief
    from .matching_text import match_data, match_text
    from .progress import ProgressBar

    case = case_from_options(
        gel, lamp, seconds, thickness_um=thickness_um, programme=programme, draws=64, workers=workers
    )
    brief = matching_brief(
        case, without=without or (), markets=market or ("EU",), on_date=None if on_date is None else on_date.date(),
        professional_use=not consumer, allow=allow or (), most=most,
    )  # fmt: skip
    with ProgressBar() as bar:
        found = match(case, brief, bar)
        if out is not None:
            save_gel(found.matches[0].gel, out)
            bar.say(f"Written: {out}")
    typer.echo(
        json.dumps(match_data(found), indent=2, ensure_ascii=False, allow_nan=False)
        if as_json
        else match_text(found)
    )
    if not found.matches[0].is_close:
        raise typer.Exit(NOT_ALIKE)
