"""A batch sheet: recipe and lamp of a run or a gel file, what to weigh, in which order, and what the trial should show."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..lamp_library.errors import InputError, unknown_name
from ..lamp_library.lamp import load_lamp
from ..lamp_library.units import m_from_um
from ..models.gel import Gel, load_gel
from ..models.heat import Hand
from .cure_run import law_remarks
from .demo_data import load_any_gel
from .premix import Advice, advise, batch_with_premixes
from .run_folders import refuse_several
from .trial_figures import Expected, TrialFigures, TrialSet, expected, trial_figures
from .versions import versions
from .weighing import Weighing, as_weighed, weigh
from .weighing_order import Step, light_limit_nm, weighing_steps


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recipe:
    """What is to be made, and where it comes from.

    Parameters
    ----------
    title : str
        Product.
    origin : str
        Run, blend and seed, or the gel file.
    gel : Gel
        Recipe.
    trial : TrialSet
        Lamp and exposure of the trial.
    is_demonstration : bool
        Whether any of it is invented.
    """

    title: str
    origin: str
    gel: Gel
    trial: TrialSet
    is_demonstration: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """Everything a batch sheet shows.

    Parameters
    ----------
    recipe : Recipe
        What is made.
    weighing : Weighing
        Grams.
    largest_error_pct : float
        Loading error above which a line is marked [% of the loading].
    advice : Advice or None
        Premixes and other ways out; None when every line can be weighed by itself.
    steps : tuple of Step
        Order of weighing.
    light_limit_nm : float or None
        Longest wavelength the initiators absorb [nm].
    expected : tuple of Expected
        Figures of the trial with their band.
    weighed, premixed : tuple of TrialFigures
        The same for the batch as weighed line by line, and with the premixes (empty without).
    law : tuple of str
        Substances the law restricts.
    """

    recipe: Recipe
    weighing: Weighing
    largest_error_pct: float
    advice: Advice | None
    steps: tuple[Step, ...]
    light_limit_nm: float | None
    expected: tuple[Expected, ...]
    weighed: tuple[TrialFigures, ...]
    premixed: tuple[TrialFigures, ...]
    law: tuple[str, ...]


def batch_sheet(recipe: Recipe, batch_g: float, resolution_g: float, largest_error_pct: float) -> Sheet:
    """Work out a batch sheet.

    Parameters
    ----------
    recipe : Recipe
        What is made.
    batch_g, resolution_g : float
        Batch size and resolution of the balance [g].
    largest_error_pct : float
        Loading error that is still good enough [% of the loading].

    Returns
    -------
    Sheet

    Raises
    ------
    GelwrightError
        If a value is out of its range or a simulation fails.
    """
    gel, trial = recipe.gel, recipe.trial
    weighing = weigh(gel, batch_g, resolution_g)
    advice = advise(gel, weighing, largest_error_pct)
    direct = {line.key: line.weighed_g for line in weighing.lines}
    premixed = (
        trial_figures(as_weighed(gel, batch_with_premixes(weighing, advice.premixes)), trial)
        if advice and advice.premixes
        else ()
    )
    return Sheet(
        recipe=recipe,
        weighing=weighing,
        largest_error_pct=largest_error_pct,
        advice=advice,
        steps=weighing_steps(weighing.lines),
        light_limit_nm=light_limit_nm(gel),
        expected=expected(gel, trial),
        weighed=trial_figures(as_weighed(gel, direct), trial),
        premixed=premixed,
        law=tuple(law_remarks(gel)),
    )


def is_run_folder(what: str) -> bool:
    """Whether an argument names the folder of a finished run."""
    return Path(what).is_dir()


def recipe_of_run(folder: Path, blend: int, lamp_id: str | None) -> Recipe:
    """Recipe of one blend of a finished `tune` run.

    Parameters
    ----------
    folder : Path
        Run folder.
    blend : int
        Rank of the blend, from 1.
    lamp_id : str or None
        Lamp of the trial, one of the run's; its first when None.

    Returns
    -------
    Recipe

    Raises
    ------
    InputError
        If the folder holds no finished run, a run of a whole set, or fewer blends.
    UnknownNameError
        If the run has no such lamp.
    """
    file = folder / "results.json"
    if not file.is_file():
        raise InputError(
            f"{folder}: holds no results.json, so no finished run. Give the --out folder of `gelwright tune`, or a gel file."
        )
    refuse_several(folder, "sheet")
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
        if not 1 <= blend <= len(data["candidates"]):
            raise InputError(
                f"{folder}: blend {blend} asked for; the run shows blends 1 to {len(data['candidates'])}."
            )
        return _recipe(folder, data, blend, lamp_id)
    except (ValueError, KeyError, TypeError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"{file}: not the results of this version of gelwright ({error!r}). Run the same `gelwright tune` again."
        ) from error


def _recipe(folder: Path, data: Mapping[str, Any], blend: int, lamp_id: str | None) -> Recipe:
    from ..models.materials import list_amines

    lamps = {each["lamp"]: each for each in data["lamps"]}
    if lamp_id is not None and lamp_id not in lamps:
        raise unknown_name(f"lamp in {folder}", lamp_id, lamps)
    run = lamps[lamp_id or next(iter(lamps))]
    place = folder / "lamp" if len(lamps) == 1 else folder / "lamps" / run["lamp"]
    loadings, search = data["candidates"][blend - 1]["loadings_wt_pct"], data["search"]
    amines = {key: load for key, load in loadings.items() if key in list_amines()}
    initiators = {key: load for key, load in loadings.items() if key not in amines}
    return Recipe(
        title=data["title"],
        origin=f"tuning run {search['fingerprint']}, blend {blend}, seed {search['seed']}",
        gel=load_gel(folder / "gel.toml").with_initiators(initiators, amines),
        trial=TrialSet(
            lamp=load_lamp(place / "lamp.toml"),
            exposure_s=run["exposure_s"],
            rest_s=data["rest_s"],
            thickness_m=data["thickness_high_m"],
            programme=run["programme"],
            hand=Hand(start_k=data["hand_start_k"], nail_thickness_m=data["nail_thickness_m"]),
        ),
        is_demonstration=bool(data["is_demonstration"]),
    )


def recipe_of_gel(
    name_or_path: str,
    lamp: str | None,
    seconds: float | None,
    thickness_um: float | None,
    programme: str | None,
) -> Recipe:
    """Recipe of a gel file, for a trial in a lamp that is named beside it.

    Parameters
    ----------
    name_or_path : str
        Packaged id or gel file.
    lamp : str or None
        Packaged id or lamp folder, needed.
    seconds, thickness_um : float or None
        Lamp-on time [s], needed; wet film [um], the gel's when None.
    programme : str or None
        Steady when None.

    Returns
    -------
    Recipe

    Raises
    ------
    InputError
        If lamp or time is missing.
    """
    gel = load_any_gel(name_or_path)
    if lamp is None or seconds is None:
        raise InputError(
            f"{name_or_path}: a gel file names no lamp. Give --lamp and --seconds for the trial's expected figures."
        )
    chosen = load_lamp(lamp)
    chosen.programme(programme or "steady")
    return Recipe(
        title=gel.name,
        origin=f"gel file {Path(name_or_path).name}",
        gel=gel,
        trial=TrialSet(
            lamp=chosen,
            exposure_s=seconds,
            rest_s=60.0,
            thickness_m=gel.thickness_m if thickness_um is None else m_from_um(thickness_um),
            programme=programme or "steady",
            hand=Hand(),
        ),
        is_demonstration=gel.is_demonstration or chosen.is_demonstration,
    )


def version_text() -> str:
    """Versions of what worked the sheet out."""
    return ", ".join(
        f"{name} {number}" for name, number in versions().items() if name in ("gelwright", "python")
    )
