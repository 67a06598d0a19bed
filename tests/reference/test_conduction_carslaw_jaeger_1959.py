"""Conduction: Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. 1959 (chapters II-IV; series summed to 1e-8).

Slab cooled on both faces; slab heated evenly from one moment on, with one face insulated and one held; the same with a
source that dies away; half-space under a constant flux. Tolerance 0.5 %.
"""

from types import ModuleType

import numpy as np
import pytest

from gelwright.models import layout as at
from gelwright.models.film import FilmModel, Kinetics, Layers
from gelwright.models.solver import Segment, Solution, SolverSettings, solve

CONDUCTIVITY, CAPACITY = 0.2, 1.98e6
DIFFUSIVITY = CONDUCTIVITY / CAPACITY
THERMAL = SolverSettings(largest_step_s=0.02, first_step_s=1e-3)


def conduct(layers: Layers, seconds: list[float], settings: SolverSettings = THERMAL) -> Solution:
    """A film that does nothing but conduct; the programme has an edge at each of the given times."""
    model = FilmModel(
        width_m=np.asarray(layers.width_m), kinetics=Kinetics(termination_m3_mol_s=1.0), layers=layers
    )
    return solve(model, [Segment(duration_s=float(d)) for d in np.diff([0.0, *seconds])], settings=settings)


def heated(thickness_m: float, source_w_m3: float, decay_s: float = 0.0, cells: int = 101) -> Layers:
    return Layers(
        width_m=np.full(cells, thickness_m / cells),
        conductivity_w_m_k=CONDUCTIVITY,
        capacity_j_m3_k=CAPACITY,
        source_w_m3=source_w_m3,
        source_decay_s=decay_s,
        initial_k=300.0,
        bottom_fixed_k=300.0,
    )


@pytest.mark.parametrize(
    ("fourier", "expected"), [(0.02, 0.9751613), (0.05, 0.7723116), (0.1, 0.4744875), (0.2, 0.1768671)]
)
def test_slab_cooled_on_both_faces(fourier: float, expected: float) -> None:
    thickness = 0.5e-3
    layers = Layers(
        width_m=np.full(101, thickness / 101),
        conductivity_w_m_k=CONDUCTIVITY,
        capacity_j_m3_k=CAPACITY,
        initial_k=400.0,
        top_fixed_k=300.0,
        bottom_fixed_k=300.0,
    )
    seconds = fourier * thickness**2 / DIFFUSIVITY
    centre = conduct(layers, [seconds], SolverSettings(largest_step_s=seconds / 200, first_step_s=1e-4))
    assert (centre.state.temperature[50] - 300.0) / 100.0 == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize(
    ("fourier", "top", "middle"),
    [
        (0.05, 0.0499781, 0.0481491),
        (0.2, 0.1851932, 0.1520795),
        (0.5, 0.3497273, 0.2687407),
        (1.0, 0.4562386, 0.3440560),
        (5.0, 0.4999977, 0.3749984),
    ],
)
def test_slab_heated_evenly(fourier: float, top: float, middle: float) -> None:
    thickness, source = 0.5e-3, 1e8
    end = conduct(heated(thickness, source), [fourier * thickness**2 / DIFFUSIVITY])
    scale = CONDUCTIVITY / (source * thickness**2)
    assert (end.state.temperature[0] - 300.0) * scale == pytest.approx(top, rel=5e-3)
    assert (end.state.temperature[50] - 300.0) * scale == pytest.approx(middle, rel=5e-3)


def test_steady_rise() -> None:
    """q L^2/2k: 1e8 W/m3 in 0.5 mm with 0.2 W/m/K stands 62.5 K above its cool face."""
    end = conduct(heated(0.5e-3, 1e8), [30.0], SolverSettings(largest_step_s=0.2))
    assert end.state.temperature[0] - 300.0 == pytest.approx(62.5, rel=5e-3)


@pytest.mark.parametrize(
    ("thickness_mm", "decay_s", "peak_k", "peak_s"),
    [
        (0.3, 2.0, 17.811, 0.766),
        (0.5, 2.0, 35.985, 1.422),
        (0.5, 5.0, 19.281, 2.048),
        (1.0, 5.0, 47.099, 4.609),
    ],
)
def test_peak_of_a_source_that_dies_away(
    thickness_mm: float, decay_s: float, peak_k: float, peak_s: float
) -> None:
    end = conduct(heated(thickness_mm * 1e-3, 231e6 / decay_s, decay_s), [3 * peak_s])
    course = end.record[:, at.SURFACE_T] - 300.0
    assert course.max() == pytest.approx(peak_k, rel=5e-3)
    # the top of the curve is flat: the step of 0.02 s bounds how well its time is known
    assert end.record[course.argmax(), at.TIME] == pytest.approx(peak_s, rel=5e-3, abs=0.02)


def test_half_space_under_a_constant_flux() -> None:
    """1000 W/m2 on k 0.19, rho 1180, c 1420 for 10 s: 6.3240 K at the surface."""
    width = 5e-6 * 1.06 ** np.arange(120)
    layers = Layers(
        width_m=width,
        conductivity_w_m_k=0.19,
        capacity_j_m3_k=1180.0 * 1420.0,
        initial_k=300.0,
        top_flux_w_m2=1000.0,
    )
    end = conduct(layers, [10.0])
    surface = end.state.temperature[0] + 1000.0 * 0.5 * width[0] / 0.19
    assert surface - 300.0 == pytest.approx(6.3240, rel=5e-3)


def test_the_series_give_the_tables(closed_forms: ModuleType) -> None:
    assert closed_forms.cooling_slab_centre(0.1) == pytest.approx(0.4744875, abs=1e-7)
    assert closed_forms.heated_slab(0.0, 0.2) == pytest.approx(0.1851932, abs=1e-7)
    assert closed_forms.heated_slab(0.5, 1.0) == pytest.approx(0.3440560, abs=1e-7)


def test_slowest_time_constant_with_one_insulated_face() -> None:
    """4 L^2/(pi^2 a) = 1.14 s for L 0.5 mm and a 8.9e-8 m2/s: what is left between 3 and 4 s of cooling."""
    layers = Layers(
        width_m=np.full(50, 1e-5),
        conductivity_w_m_k=8.9e-8 * CAPACITY,
        capacity_j_m3_k=CAPACITY,
        initial_k=400.0,
        bottom_fixed_k=300.0,
    )
    first, second = (conduct(layers, [t]).state.temperature[0] - 300.0 for t in (3.0, 4.0))
    assert 1.0 / np.log(first / second) == pytest.approx(1.14, abs=0.01)
