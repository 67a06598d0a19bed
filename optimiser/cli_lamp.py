"""The `gelwright lamp` commands: read an export, show a lamp, compare two, list the packaged ones."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from . import completion
from .cli_group import SentenceGroup

lamp_app = typer.Typer(
    cls=SentenceGroup,
    help="Read a measured lamp, show what it gives, compare two.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)

Json = Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of text.")]
Plot = Annotated[
    Path | None, typer.Option("--plot", metavar="FILE", help="Also draw a picture: .png, .svg or .pdf.")
]
LampName = Annotated[
    str,
    typer.Argument(
        metavar="LAMP", autocompletion=completion.lamps, help="A packaged lamp's id, or a lamp folder."
    ),
]


@lamp_app.command("read")
def read(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Spectroradiometer export, CSV or TSV.")],
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder to write the lamp into.")],
    unit: Annotated[
        str | None,
        typer.Option(
            metavar="U",
            help="W/m2/nm, mW/m2/nm, mW/cm2/nm or uW/cm2/nm; may be left out if the file's heading says it.",
        ),
    ] = None,
    name: Annotated[
        str | None, typer.Option(help="Description of the lamp; the file's name if left out.")
    ] = None,
    dark_column: Annotated[str | None, typer.Option(help="Column with the dark reading, subtracted.")] = None,
    dark_file: Annotated[Path | None, typer.Option(help="File with the dark reading, subtracted.")] = None,
    electrical_power_w: Annotated[float | None, typer.Option(help="Rated electrical power, W.")] = None,
    opening_area_cm2: Annotated[
        float | None, typer.Option(help="Area of the lamp's opening, cm2; with the power it checks the unit.")
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace a lamp already in the folder.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Check an export and write it as a lamp. Nothing is written if anything is wrong.

    Example: gelwright lamp read export.csv --unit mW/cm2/nm --out my_lamp
    """
    from ..lamp_library.lamp import save_lamp
    from ..lamp_library.reader import lamp_id_from, read_export
    from ..lamp_library.units import m2_from_cm2
    from .lamp_text import show_text
    from .lamp_view import figures_json, lamp_figures

    lamp = read_export(
        file,
        unit=unit,
        name=name,
        lamp_id=lamp_id_from(out.resolve().name),
        dark_column=dark_column,
        dark_file=dark_file,
        electrical_power_w=electrical_power_w,
        opening_area_m2=None if opening_area_cm2 is None else m2_from_cm2(opening_area_cm2),
    )
    figures = lamp_figures(lamp)
    written = save_lamp(lamp, out, overwrite=overwrite)
    if as_json:
        typer.echo(json.dumps({"written": str(written), **figures_json(figures)}, indent=2))
        return
    typer.echo(show_text(figures))
    typer.echo(f"\nWritten: {written} and spectra.csv beside it. Next: gelwright lamp show {_as_path(out)}")


def _as_path(folder: Path) -> str:
    """The folder as a word that `load_lamp` takes for a path."""
    return str(folder) if len(folder.parts) > 1 else f"./{folder}"


@lamp_app.command("show")
def show(lamp: LampName, plot: Plot = None, as_json: Json = False) -> None:
    """Show what a lamp gives at each position, and how fast it spends each initiator.

    Example: gelwright lamp show demo_arch_365_405
    """
    from ..lamp_library.lamp import load_lamp
    from .lamp_plot import check_format, lamp_picture, save_picture
    from .lamp_text import show_text
    from .lamp_view import figures_json, lamp_figures, packaged_initiators

    if plot is not None:
        check_format(plot)
    loaded = load_lamp(lamp)
    figures = lamp_figures(loaded, packaged_initiators())
    if plot is not None:
        save_picture(lamp_picture(loaded, figures), plot)
        typer.echo(f"Picture written: {plot}", err=True)
    typer.echo(json.dumps(figures_json(figures), indent=2) if as_json else show_text(figures))


@lamp_app.command("list")
def list_packaged(as_json: Json = False) -> None:
    """List the packaged lamps, which are invented demonstration data.

    Example: gelwright lamp list
    """
    from ..lamp_library.lamp import list_lamps, load_lamp
    from ..lamp_library.units import mw_cm2_from_w_m2
    from .lamp_text import peaks_text
    from .lamp_view import figures_json, lamp_figures

    found = [lamp_figures(load_lamp(lamp_id)) for lamp_id in list_lamps()]
    if as_json:
        typer.echo(json.dumps([figures_json(each) for each in found], indent=2))
        return
    width = max(len(each.lamp_id) for each in found) + 2
    typer.echo(f"{'id':<{width}}{'mean, mW/cm2':>13}{'weakest/mean':>14}   peaks (width), nm")
    for each in found:
        mean = mw_cm2_from_w_m2(each.mean.irradiance_w_m2)
        typer.echo(
            f"{each.lamp_id:<{width}}{mean:>13.1f}{each.uniformity_ratio:>14.2f}   {peaks_text(each.mean.peaks)}"
        )
    typer.echo(
        "\nInvented demonstration data, no real lamps. Read your own: gelwright lamp read FILE --out DIR"
    )


@lamp_app.command("compare")
def compare(
    first: Annotated[str, typer.Argument(metavar="A", help="A packaged lamp's id, or a lamp folder.")],
    second: Annotated[str, typer.Argument(metavar="B", help="The other lamp.")],
    plot: Plot = None,
    as_json: Json = False,
) -> None:
    """Compare two lamps: light, evenness, and how fast each initiator is spent.

    Example: gelwright lamp compare demo_narrow_385 demo_narrow_405
    """
    from ..lamp_library.lamp import load_lamp
    from .lamp_plot import check_format, comparison_picture, save_picture
    from .lamp_text import compare_text
    from .lamp_view import figures_json, lamp_figures, packaged_initiators

    if plot is not None:
        check_format(plot)
    lamps = load_lamp(first), load_lamp(second)
    initiators = packaged_initiators()
    a, b = (lamp_figures(each, initiators) for each in lamps)
    if plot is not None:
        save_picture(comparison_picture(*lamps), plot)
        typer.echo(f"Picture written: {plot}", err=True)
    typer.echo(
        json.dumps({"a": figures_json(a), "b": figures_json(b)}, indent=2) if as_json else compare_text(a, b)
    )


@lamp_app.command("drift")
def drift(
    readings: Annotated[
        list[str], typer.Argument(metavar="OLDEST ... NEWEST", help="Readings of one lamp: folders or ids.")
    ],
    hours: Annotated[
        str | None,
        typer.Option(
            metavar="H,H,...", help="Hours of light at each; those in the lamps' provenance if left out."
        ),
    ] = None,
    repeat_percent: Annotated[
        float | None,
        typer.Option(
            help="Standard deviation of a reading's scale, %; as the lamps state it, or 2, if left out."
        ),
    ] = None,
    gel: Annotated[
        list[str] | None,
        typer.Option(
            "--gel", metavar="G", help="Gel, or run folder: when does its margin run out? Repeatable."
        ),
    ] = None,
    seconds: Annotated[
        float | None,
        typer.Option(min=0.1, max=3600, help="Lamp-on time for --gel, s; a run folder has its own."),
    ] = None,
    plot: Plot = None,
    as_json: Json = False,
) -> None:
    """A lamp read again: drift of each position, ageing rate, time to 70 %, and how long gels go on passing.

    Example: gelwright lamp drift arch_new arch_600_h arch_1500_h --gel clear_builder --seconds 60
    """
    from .lamp_drift_text import drift_data, drift_of, drift_picture, drift_text, gel_margins
    from .lamp_plot import check_format
    from .progress import ProgressBar

    if plot is not None:
        check_format(plot)
    found, lamps = drift_of(readings, hours, repeat_percent)
    with ProgressBar() as bar:
        margins = gel_margins(found, lamps[-1], gel or [], seconds, bar)
    if plot is not None:
        typer.echo(f"Picture written: {drift_picture(found, margins, plot)}", err=True)
    typer.echo(
        json.dumps(drift_data(found, lamps, margins), indent=2)
        if as_json
        else drift_text(found, lamps, margins)
    )


@lamp_app.command("report")
def report(
    lamp: LampName,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for report.md and the picture.")],
) -> None:
    """Write the lamp report: identity, set-up, instrument, irradiance by position; missing fields are asked for.

    Example: gelwright lamp report demo_arch_365_405 --out lamp_report
    """
    from ..lamp_library.lamp import load_lamp
    from .lamp_report import FIELD_WORDS, missing_fields, write_report
    from .lamp_view import lamp_figures

    loaded = load_lamp(lamp)
    written = write_report(loaded, lamp_figures(loaded), out)
    typer.echo(f"Written: {written}")
    missing = missing_fields(loaded)
    if missing:
        typer.echo(f"{len(missing)} fields are not filled in:")
        typer.echo("\n".join(f"  {FIELD_WORDS[key]}" for key in missing))
