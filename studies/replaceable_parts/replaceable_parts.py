"""Can every part of the model be frozen or replaced by one's own, and does the answer then follow the textbook?

One example for each part that `gelwright.models.parts` can swap. All run through the solver that cures a gel; five start from
a demonstration gel in a demonstration lamp (invented data). Beside the model's answer stands what must come out: a closed form,
or what the choice itself demands. README.md in this folder tells what each part is for.

Run it with ``python studies/replaceable_parts/replaceable_parts.py``; the table goes to parts.csv beside it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models import layout as at
from gelwright.models.core_totals import depth_reaching
from gelwright.models.cure import CureCase, film_model, schedule
from gelwright.models.film import FilmModel, Kinetics
from gelwright.models.parts import Slab, layers_of, with_part
from gelwright.models.solver import Segment, Solution, SolverSettings, solve
from gelwright.optimiser.demo_data import load_any_gel

Row = tuple[str, str, str, float, float, float]
DARK = {"level_start_ratio": 0.0, "level_end_ratio": 0.0}
CASE = CureCase(
    gel=load_any_gel("clear_builder"), lamp=load_lamp("demo_narrow_405"), exposure_s=30.0, thickness_m=200e-6
)
GEL_FILM = film_model(CASE, SolverSettings())


def run(model: FilmModel) -> Solution:
    """The film through the programme of the demonstration lamp."""
    return solve(model, schedule(CASE))


def fixed_initiation() -> Row:
    """Radicals at a given rate, whatever the light: conversion after 100 s by the exact formula for constant rates."""
    k_p, k_t, rate, seconds = 0.4, 2.0e3, 0.1, 100.0
    film = FilmModel(
        width_m=np.full(12, 10e-6),
        methacrylate_mol_m3=5000.0,
        kinetics=Kinetics(methacrylate_propagation_m3_mol_s=k_p, termination_m3_mol_s=k_t),
    )
    found = solve(
        with_part(film, "initiation", "fixed", rate_mol_m3_s=rate), [Segment(duration_s=seconds)]
    ).conversion_fraction[0]
    stretch = seconds * np.sqrt(k_t * rate)
    log_cosh = stretch - np.log(2.0) + np.log1p(np.exp(-2.0 * stretch))
    exact = -np.expm1(-k_p / k_t * log_cosh)
    return "initiation", "fixed", "conversion after 100 s", found, exact, 1e-5


def fixed_conversion() -> Row:
    """A gel cured before: conversion stays, the reaction gives no heat, light and oxygen go on."""
    end = run(with_part(GEL_FILM, "conversion", "fixed", conversion_fraction=0.8))
    found = float(np.abs(end.conversion_fraction - 0.8).max() + abs(end.totals[at.HEAT_REACTION]))
    return "conversion", "fixed", "change of conversion plus heat of reaction", found, 0.0, 1e-12


def own_rates() -> Row:
    """One's own rate constants: what is left of the radicals after ten minutes in the dark."""
    k_p, k_t, start, seconds = 1.3, 2.0e3, 7.07107e-3, 600.0
    own = Kinetics(methacrylate_propagation_m3_mol_s=k_p, termination_m3_mol_s=k_t)
    film = FilmModel(width_m=[1e-5], methacrylate_mol_m3=5000.0, kinetics=own, initial_radical_mol_m3=start)
    dark = [Segment(duration_s=seconds, **DARK)]
    left = 1.0 - solve(with_part(film, "rates", "own", kinetics=own), dark).conversion_fraction[0]
    exact = (1.0 + k_t * start * seconds) ** (-k_p / k_t)
    return "rates", "own", "C=C left after 600 s of dark", left, exact, 1e-5


def stiffening() -> Row:
    """A network that stiffens at a given conversion: there propagation runs at half its speed."""
    film = FilmModel(
        width_m=[1e-5],
        methacrylate_mol_m3=5000.0,
        kinetics=Kinetics(methacrylate_propagation_m3_mol_s=0.4, termination_m3_mol_s=2.0e3),
        fixed_initiation_mol_m3_s=0.1,
        initial_conversion_fraction=0.7,
    )
    stiff = with_part(film, "vitrification", "linear", conversion_fraction=0.7)
    gained = [
        float(solve(each, [Segment(duration_s=0.1)]).conversion_fraction[0]) - 0.7
        for each in (stiff, with_part(stiff, "vitrification", "none"))
    ]
    return "vitrification", "linear", "speed over that without stiffening", gained[0] / gained[1], 0.5, 1e-3


def nitrogen() -> Row:
    """No oxygen: no tacky layer."""
    end = run(with_part(GEL_FILM, "oxygen", "nitrogen"))
    found = 1e6 * depth_reaching(end.film.width, end.conversion_fraction, 0.2)
    return "oxygen", "nitrogen", "tacky layer of the gel in um", found, 0.0, 1e-9


def isothermal() -> Row:
    """A film held at 33 C however much it reacts."""
    end = run(with_part(GEL_FILM, "temperature", "isothermal", temperature_k=306.15))
    found = float(end.record[:, at.FILM_MAX].max())
    return "temperature", "isothermal", "hottest place of the gel in K", found, 306.15, 1e-9


def prescribed_heat() -> Row:
    """Heat put in by hand: steady rise q L^2 / 2 k of a slab held cold below (Carslaw & Jaeger 1959)."""
    thickness, conductivity, source = 0.5e-3, 0.2, 1.0e8
    width = np.full(100, thickness / 100)
    slab = Slab(thickness_m=thickness, conductivity_w_m_k=conductivity, capacity_j_m3_k=1.98e6)
    film = FilmModel(
        width_m=width, kinetics=Kinetics(termination_m3_mol_s=1.0), layers=layers_of(width, slab)
    )
    film = with_part(film, "bottom", "fixed", temperature_k=298.15)
    heated = with_part(film, "heat", "prescribed", source_w_m3=source)
    end = solve(heated, [Segment(duration_s=30.0, **DARK)])
    found = float(end.state.temperature[0]) - 298.15
    return (
        "heat",
        "prescribed",
        "steady rise of the top in K",
        found,
        source * thickness**2 / (2 * conductivity),
        0.01,
    )


def fixed_faces() -> Row:
    """Both faces held: temperature in the middle of a hot slab at a Fourier number of 0.1 (Carslaw & Jaeger 1959)."""
    thickness, cells = 0.5e-3, 101
    width = np.full(cells, thickness / cells)
    slab = Slab(thickness_m=thickness, conductivity_w_m_k=0.2, capacity_j_m3_k=1.98e6, initial_k=400.0)
    film = FilmModel(
        width_m=width, kinetics=Kinetics(termination_m3_mol_s=1.0), layers=layers_of(width, slab)
    )
    film = with_part(film, "top", "fixed", temperature_k=300.0)
    film = with_part(film, "bottom", "fixed", temperature_k=300.0)
    seconds = 0.1 * thickness**2 / (0.2 / 1.98e6)
    fine = SolverSettings(largest_step_s=seconds / 200, first_step_s=1e-4)
    end = solve(film, [Segment(duration_s=seconds, **DARK)], settings=fine)
    found = (float(end.state.temperature[cells // 2]) - 300.0) / 100.0
    return "top and bottom", "fixed", "middle, share of the first excess", found, 0.4744875, 5e-3


def arbitrary_layers() -> Row:
    """Glue on glass on steel under a constant flux: steady temperature of the top from the sum of L/k."""
    width, flux = np.full(20, 10e-6), 2000.0
    below = (
        Slab(thickness_m=1.0e-3, conductivity_w_m_k=1.0, capacity_j_m3_k=2.1e6, cells=20),
        Slab(thickness_m=2.0e-3, conductivity_w_m_k=45.0, capacity_j_m3_k=3.6e6, cells=10),
    )
    layers = layers_of(width, Slab(thickness_m=0.2e-3, conductivity_w_m_k=0.2, capacity_j_m3_k=2.0e6), below)
    film = FilmModel(width_m=width, kinetics=Kinetics(termination_m3_mol_s=1.0))
    film = with_part(film, "layers", "own", layers=layers)
    film = with_part(film, "top", "flux", flux_w_m2=flux)
    film = with_part(film, "bottom", "fixed", temperature_k=298.15)
    end = solve(film, [Segment(duration_s=60.0, **DARK)])
    exact = flux * (0.2e-3 / 0.2 + 1.0e-3 / 1.0 + 2.0e-3 / 45.0 - 0.5 * 10e-6 / 0.2)
    return (
        "layers",
        "own",
        "steady rise of the uppermost cell in K",
        float(end.state.temperature[0]) - 298.15,
        exact,
        1e-3,
    )


def two_fluxes() -> Row:
    """Scattering optics without anything that scatters: the light of a straight pass."""
    plain = run(GEL_FILM)
    swapped = run(with_part(GEL_FILM, "optics", "two_flux"))
    found, wanted = (float(end.totals[at.PHOTONS_ABSORBED]) for end in (swapped, plain))
    return "optics", "two_flux", "photons absorbed over those of one pass", found / wanted, 1.0, 1e-6


EXAMPLES: tuple[Callable[[], Row], ...] = (
    fixed_initiation, fixed_conversion, own_rates, stiffening, nitrogen, isothermal, prescribed_heat, fixed_faces,
    arbitrary_layers, two_fluxes,
)  # fmt: skip


def main(folder: Path) -> pd.DataFrame:
    """Run every example; the table goes into `folder`."""
    columns = ["part", "choice", "what is looked at", "model", "must be", "within"]
    table = pd.DataFrame([example() for example in EXAMPLES], columns=columns)
    table.to_csv(folder / "parts.csv", index=False, float_format="%.7g")
    print(table.to_string(index=False))
    off = table[(table["model"] - table["must be"]).abs() > table["within"]]
    if len(off):
        raise AssertionError(f"these examples miss what must come out:\n{off.to_string(index=False)}")
    return table


if __name__ == "__main__":
    main(Path(__file__).parent)
