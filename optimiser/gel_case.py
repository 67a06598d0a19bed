"""A finished gel in a lamp as a problem of the search's kind: its own blend judged against limits, whatever the law says."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import Lamp, load_lamp
from ..lamp_library.units import m_from_um
from ..models.gel import Gel
from ..models.heat import Hand
from .brief import Brief, Limits, Uncertainty
from .conditions import hand_in_use
from .demo_data import load_any_gel
from .evaluators import EvaluatorMaker, blend_evaluator
from .problem import Problem
from .run_folders import refuse_several
from .search_space import SearchSpace, Substance

Floats = NDArray[np.float64]

WINDOW_SHARE = 0.1  # assumed: a coat of stated thickness is put on 10 % thinner or thicker


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GelCase:
    """A gel in a lamp.

    Parameters
    ----------
    gel, lamp : Gel, Lamp
        What is cured, in what.
    problem : Problem
        Its limits and its simulator; the substances are the gel's own.
    loadings_wt_pct : ndarray, shape (n_substance,)
        The gel's blend.
    law_date : date or None
        Day for which the law was read, where it was.
    """

    gel: Gel
    lamp: Lamp
    problem: Problem
    loadings_wt_pct: Floats
    law_date: date | None = None

    @property
    def is_demonstration(self) -> bool:
        """Whether gel or lamp is invented."""
        return self.gel.is_demonstration or self.lamp.is_demonstration

    @property
    def hand(self) -> Hand:
        """The finger below."""
        return self.problem.hand


def gel_case(
    gel: Gel,
    lamp: Lamp,
    *,
    exposure_s: float,
    thickness_m: float | None = None,
    window_share: float = WINDOW_SHARE,
    programme: str = "steady",
    hand: Hand | None = None,
    limits: Limits | None = None,
    draws: int = 256,
    seed: int = 1,
    workers: int | None = None,
    make_evaluator: EvaluatorMaker = blend_evaluator,
) -> GelCase:
    """Set a gel up in a lamp.

    Parameters
    ----------
    gel, lamp : Gel, Lamp
        What is cured, in what.
    exposure_s : float
        Lamp-on time of one cycle [s].
    thickness_m : float, optional
        Wet film [m]; the gel's own when None.
    window_share : float
        How far the film may be thinner or thicker [-].
    programme : str
        One of the lamp's programmes.
    hand : Hand, optional
        Temperature and nail thickness are used.
    limits : Limits, optional
        What is asked for.
    draws, seed : int
        Of tolerance studies.
    workers : int, optional
        Threads.
    make_evaluator : callable
        Builds the simulator.

    Raises
    ------
    InputError
        If the gel holds no initiator, or a value is out of its range.
    """
    if not any(gel.initiators_wt_pct.values()):
        raise InputError(f"gel '{gel.name}' holds no photoinitiator; nothing would cure. Give it one.")
    lamp.programme(programme)
    thickness = gel.thickness_m if thickness_m is None else thickness_m
    finger = hand or Hand()
    brief = Brief(
        title=gel.name, lamps=(lamp.lamp_id,), exposure_s=exposure_s, programme=programme, markets=("EU",),
        on_date=date(2026, 1, 1), professional_use=True, objective="least_initiator",
        thickness_low_m=thickness * (1.0 - window_share), thickness_high_m=thickness * (1.0 + window_share),
        resin_parts=gel.resin_parts, stabilisers_wt_pct=gel.stabilisers_wt_pct, coat=gel.coat,
        limits=limits or Limits(), uncertainty=Uncertainty(draws=draws), seed=seed, hand_start_k=finger.start_k,
        nail_thickness_m=finger.nail_thickness_m, is_demonstration=gel.is_demonstration,
    )  # fmt: skip
    problem = Problem(
        brief=brief, lamp=lamp, gel=replace(gel, thickness_m=thickness), space=own_space(gel), workers=workers,
        make_evaluator=make_evaluator,
    )  # fmt: skip
    return GelCase(gel=gel, lamp=lamp, problem=problem, loadings_wt_pct=problem.vector(own_blend(gel)))


def own_blend(gel: Gel) -> dict[str, float]:
    """Initiators and amines of a gel, without the zeros [wt%]."""
    both = {**gel.initiators_wt_pct, **gel.amines_wt_pct}
    return {key: loading for key, loading in both.items() if loading > 0.0}


def own_space(gel: Gel) -> SearchSpace:
    """The substances a gel holds, with their loadings as the highest."""
    substances = tuple(
        Substance(
            key=key, name=key, is_amine=key in gel.amines_wt_pct, needs_amine=False, high_wt_pct=loading,
            high_because="as in the gel", flags=(),
        )
        for key, loading in own_blend(gel).items()
    )  # fmt: skip
    return SearchSpace(substances=substances, excluded=(), law_notes=())


def case_from_options(
    gel: str,
    lamp: str,
    seconds: float,
    *,
    thickness_um: float | None = None,
    programme: str | None = None,
    hand: str | None = None,
    nail: str | None = None,
    limits: Limits | None = None,
    draws: int = 256,
    seed: int = 1,
    workers: int | None = None,
) -> GelCase:
    """The same from what a command line gives: ids or paths, and ready-made hands."""
    return gel_case(
        load_any_gel(gel),
        load_lamp(lamp),
        exposure_s=seconds,
        thickness_m=None if thickness_um is None else m_from_um(thickness_um),
        programme=programme or "steady",
        hand=hand_in_use(Hand(), hand, nail),
        limits=limits,
        draws=draws,
        seed=seed,
        workers=workers,
    )


def case_from_run(folder: Path, *, draws: int, workers: int | None = None) -> GelCase:
    """The first blend of a run of `gelwright tune`, under the brief of the run.

    Parameters
    ----------
    folder : Path
        Run folder with ``brief.toml``, ``gel.toml`` and its lamps.
    draws : int
        Draws in place of the brief's.
    workers : int, optional
        Threads.

    Raises
    ------
    InputError
        If the folder holds no finished run.
    """
    from .brief_reader import read_brief

    refuse_several(folder, "doubt")
    for name in ("brief.toml", "gel.toml"):
        if not (folder / name).is_file():
            raise InputError(
                f"{folder}: holds no {name}; give the folder of a finished run of gelwright tune."
            )
    brief = read_brief(folder / "brief.toml")
    single = folder / "lamp"
    kept = [single] if single.is_dir() else sorted((folder / "lamps").glob("*"))
    saved = {lamp.lamp_id: lamp for lamp in (load_lamp(path) for path in kept)}
    if len(saved) != len(brief.lamps):
        raise InputError(
            f"{folder}: holds {len(saved)} of {len(brief.lamps)} lamps of its brief; tune again."
        )
    lamps = [saved.get(Path(name).name) or saved.get(name) for name in brief.lamps]
    ordered = [lamp for lamp in lamps if lamp is not None] if all(lamps) else list(saved.values())
    gel = load_any_gel(str(folder / "gel.toml"))
    problem = Problem(
        brief=replace(brief, uncertainty=replace(brief.uncertainty, draws=draws)), lamp=ordered[0],
        more_lamps=tuple(ordered[1:]), gel=gel, space=own_space(gel), workers=workers,
    )  # fmt: skip
    return GelCase(
        gel=gel,
        lamp=ordered[0],
        problem=problem,
        loadings_wt_pct=problem.vector(own_blend(gel)),
        law_date=brief.on_date,
    )
