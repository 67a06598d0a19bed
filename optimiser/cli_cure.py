"""The `gelwright cure` command: one gel in one lamp, with a plain verdict."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def cure(
    gel: Annotated[str, typer.Argument(metavar="GEL", help="A gel's TOML file, or a packaged gel's id.")],
    lamp: Annotated[str, typer.Option("--lamp", metavar="L", help="A packaged lamp's id, or a lamp folder.")],
    seconds: Annotated[
        float, typer.Option("--seconds", min=0.1, max=3600, help="Lamp-on time of one cycle, s.")
    ],
    position: Annotated[str | None, typer.Option(help="One position only; all if left out.")] = None,
    thickness_um: Annotated[float | None, typer.Option(help="Wet film, um; the gel's if left out.")] = None,
    programme: Annotated[str, typer.Option(help="One of the lamp's programmes.")] = "steady",
    cycles: Annotated[int, typer.Option(min=1, max=5, help="Cure cycles, 60 s apart.")] = 1,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for tables and pictures.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Also draw a picture: .png, .svg or .pdf.")
    ] = None,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; all cores if left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")] = False,
) -> None:
    """Cure one gel in one lamp: does it cure through, does it stay cool? At every position unless one is named."""
    from ..lamp_library.lamp import load_lamp
    from ..lamp_library.units import m_from_um
    from ..models.cure import CureCase, cure_many
    from .cure_run import check_picture, cure_data, cure_picture, cure_text, write_cure_folder
    from .demo_data import load_any_gel

    if plot is not None:
        check_picture(plot)
    loaded_gel, loaded_lamp = load_any_gel(gel), load_lamp(lamp)
    places = loaded_lamp.positions if position is None else (position,)
    for place in places:
        loaded_lamp.spectrum(place)
    thickness_m = loaded_gel.thickness_m if thickness_um is None else m_from_um(thickness_um)
    cases = [
        CureCase(
            gel=loaded_gel, lamp=loaded_lamp, exposure_s=seconds, position=place, thickness_m=thickness_m,
            programme=programme, cycles=cycles,
        )
        for place in places
    ]  # fmt: skip
    results = cure_many(cases, workers=workers)
    if out is not None:
        write_cure_folder(loaded_gel, loaded_lamp, results, out)
    if plot is not None:
        cure_picture(results, plot)
        typer.echo(f"Picture written: {plot}", err=True)
    if as_json:
        typer.echo(
            json.dumps(
                cure_data(loaded_gel, loaded_lamp, results), indent=2, ensure_ascii=False, allow_nan=False
            )
        )
    else:
        typer.echo(cure_text(loaded_gel, loaded_lamp, results))
