"""Spectrum: integrals against closed forms, properties, peaks, immutability."""

import copy
import math
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.spectrum import Spectrum, mean_spectrum
from gelwright.lamp_library.units import AVOGADRO_1_MOL, LIGHT_SPEED_M_S, PLANCK_J_S

GRID = np.arange(300.0, 501.0)


def gaussian(centre: float, fwhm: float, peak: float, grid: np.ndarray = GRID) -> np.ndarray:
    return peak * np.exp(-4.0 * math.log(2.0) * ((grid - centre) / fwhm) ** 2)


@st.composite
def spectra(draw: st.DrawFn) -> Spectrum:
    steps = draw(st.lists(st.floats(0.1, 5.0), min_size=3, max_size=30))
    grid = 300.0 + np.cumsum(steps)
    values = draw(st.lists(st.floats(-0.01, 50.0), min_size=len(steps), max_size=len(steps)))
    return Spectrum(grid, values)


def test_area_of_a_gaussian_line() -> None:
    line = Spectrum(GRID, gaussian(400.0, 12.0, 10.0))
    exact = 10.0 * 12.0 * math.sqrt(math.pi / (4.0 * math.log(2.0)))
    # the trapezium rule on a smooth line whose ends are dark is far better than its step
    assert line.irradiance_w_m2() == pytest.approx(exact, rel=1e-9)


def test_band_limits_between_the_points_cut_the_straight_line() -> None:
    ramp = Spectrum([400.0, 410.0], [0.0, 10.0])
    assert ramp.irradiance_w_m2(402.0, 405.0) == pytest.approx(0.5 * (25.0 - 4.0), rel=1e-14)


def test_photon_irradiance_of_a_flat_spectrum() -> None:
    flat = Spectrum([360.0, 370.0], [2.0, 2.0])
    # integral of 2 lambda / (h c N_A) from 360 to 370 nm
    expected = 2.0 * 0.5 * (370.0**2 - 360.0**2) * 1e-9 / (PLANCK_J_S * LIGHT_SPEED_M_S * AVOGADRO_1_MOL)
    assert flat.photon_irradiance_mol_m2_s() == pytest.approx(expected, rel=1e-13)


@given(spectra(), st.floats(0.05, 0.95))
def test_bands_add_up(spectrum: Spectrum, share: float) -> None:
    first, last = spectrum.wavelength_nm[[0, -1]]
    between = first + share * (last - first)
    scale = np.abs(spectrum.spectral_irradiance_w_m2_nm).max() * (last - first)
    for integral in (spectrum.irradiance_w_m2, lambda a, b: spectrum.photon_irradiance_mol_m2_s(a, b) * 3e5):
        parts = integral(first, between) + integral(between, last)
        assert parts == pytest.approx(integral(first, last), rel=1e-12, abs=1e-12 * scale)


@given(spectra(), st.floats(0.0, 1e3))
def test_integrals_scale_with_the_spectrum(spectrum: Spectrum, factor: float) -> None:
    scaled = spectrum.scaled(factor)
    assert scaled.irradiance_w_m2() == pytest.approx(
        factor * spectrum.irradiance_w_m2(), rel=1e-12, abs=1e-12
    )
    first = spectrum.wavelength_nm[0]
    table = [first - 1.0, first + 0.05, first + 2.0], [1.0, 2.0, 0.5]
    assert scaled.weighted(*table) == pytest.approx(factor * spectrum.weighted(*table), rel=1e-12, abs=1e-9)


@given(spectra())
def test_a_weight_of_one_gives_the_irradiance(spectrum: Spectrum) -> None:
    assert spectrum.weighted([200.0, 700.0], [1.0, 1.0]) == pytest.approx(
        spectrum.irradiance_w_m2(), rel=1e-12, abs=1e-12
    )


def test_weighted_is_exact_for_two_ramps_on_different_grids() -> None:
    ramp = Spectrum([0.5, 1.0], [0.5, 1.0])  # E = l
    falling = [0.5, 0.75, 1.0], [0.5, 0.25, 0.0]  # w = 1 - l
    exact = (1.0 / 2 - 1.0 / 3) - (0.125 - 0.125 / 3)
    assert ramp.weighted(*falling) == pytest.approx(exact, rel=1e-14)


def test_nothing_counts_outside_the_weight() -> None:
    flat = Spectrum([300.0, 400.0], [1.0, 1.0])
    assert flat.weighted([350.0, 360.0], [3.0, 3.0]) == pytest.approx(30.0, rel=1e-14)
    with pytest.raises(InputError, match="must overlap"):
        flat.weighted([500.0, 600.0], [1.0, 1.0])


def test_interpolation_is_linear_and_never_below_the_readings() -> None:
    coarse = Spectrum(GRID[::5], gaussian(402.0, 11.0, 10.0, GRID[::5]))
    assert coarse.at(np.linspace(300.0, 500.0, 2001)).min() >= 0.0
    assert coarse.at([402.5])[0] == pytest.approx(
        0.5 * (coarse.at([400.0]) + coarse.at([405.0]))[0], rel=1e-12
    )


def test_outside_the_measured_range_is_an_error_unless_declared_dark() -> None:
    flat = Spectrum([350.0, 450.0], [1.0, 1.0])
    with pytest.raises(InputError, match="349-349 nm reaches beyond the measured 350-450 nm"):
        flat.at([349.0])
    assert flat.at([349.0, 350.0, 451.0], dark_outside=True).tolist() == [0.0, 1.0, 0.0]
    with pytest.raises(InputError, match="measure wider"):
        flat.irradiance_w_m2(315.0, 400.0)
    assert flat.irradiance_w_m2(315.0, 400.0, dark_outside=True) == pytest.approx(50.0, rel=1e-14)
    assert flat.irradiance_w_m2(100.0, 200.0, dark_outside=True) == 0.0


@pytest.mark.parametrize(
    ("grid", "values", "says"),
    [
        ([400.0, 400.0], [1.0, 1.0], "strictly ascending"),
        ([410.0, 400.0], [1.0, 1.0], "strictly ascending"),
        ([400.0], [1.0], "at least 2"),
        ([400.0, 410.0], [1.0], "equally long"),
        ([400.0, 410.0], [1.0, math.nan], "not finite"),
        ([-1.0, 410.0], [1.0, 1.0], "must be positive"),
    ],
)
def test_bad_arrays_are_refused(grid: list[float], values: list[float], says: str) -> None:
    with pytest.raises(InputError, match=says):
        Spectrum(grid, values)


@pytest.mark.parametrize("factor", [-0.1, math.inf, math.nan])
def test_bad_scale_is_refused(factor: float) -> None:
    with pytest.raises(InputError, match="scale factor"):
        Spectrum([400.0, 410.0], [1.0, 1.0]).scaled(factor)


def test_empty_band_is_refused() -> None:
    with pytest.raises(InputError, match="is empty"):
        Spectrum([400.0, 410.0], [1.0, 1.0]).irradiance_w_m2(405.0, 405.0)


@pytest.mark.parametrize("duplicate", [copy.copy, copy.deepcopy, lambda s: pickle.loads(pickle.dumps(s))])
def test_copies_are_equal_and_still_locked(duplicate) -> None:
    original = Spectrum(GRID, gaussian(400.0, 12.0, 10.0))
    twin = duplicate(original)
    assert np.array_equal(twin.spectral_irradiance_w_m2_nm, original.spectral_irradiance_w_m2_nm)
    for array in (twin.wavelength_nm, twin.spectral_irradiance_w_m2_nm):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


def test_the_callers_array_is_copied() -> None:
    values = gaussian(400.0, 12.0, 10.0)
    spectrum = Spectrum(GRID, values)
    values[:] = 0.0
    assert spectrum.spectral_irradiance_w_m2_nm.max() == pytest.approx(10.0)


def test_two_bands_and_their_widths() -> None:
    peaks = Spectrum(GRID, gaussian(365.0, 9.0, 20.0) + gaussian(405.0, 15.0, 12.0)).peaks()
    assert [each.wavelength_nm for each in peaks] == [365.0, 405.0]
    # straight lines between points 1 nm apart shift the half-height crossings by under 0.1 nm
    assert [each.fwhm_nm for each in peaks] == pytest.approx([9.0, 15.0], abs=0.1)


def test_noise_makes_no_peaks() -> None:
    noise = np.random.default_rng(7).normal(0.0, 0.1, GRID.size)
    peaks = Spectrum(GRID, gaussian(395.0, 16.0, 20.0) + noise).peaks()
    assert len(peaks) == 1
    assert peaks[0].wavelength_nm == pytest.approx(395.0, abs=1.0)


def test_a_shoulder_below_five_percent_is_no_peak_and_one_above_is() -> None:
    line = gaussian(365.0, 10.0, 20.0)
    assert len(Spectrum(GRID, line + gaussian(420.0, 10.0, 0.9)).peaks()) == 1
    assert len(Spectrum(GRID, line + gaussian(420.0, 10.0, 1.1)).peaks()) == 2


def test_a_flat_top_counts_once() -> None:
    assert [each.wavelength_nm for each in Spectrum([1, 2, 3, 4, 5], [0, 1, 1, 1, 0]).peaks()] == [3.0]


def test_bands_merged_above_half_height_share_one_width() -> None:
    peaks = Spectrum(GRID, gaussian(395.0, 14.0, 10.0) + gaussian(412.0, 14.0, 10.0)).peaks()
    assert len(peaks) == 2
    assert peaks[0].fwhm_nm == pytest.approx(peaks[1].fwhm_nm, rel=0.01)
    assert peaks[0].fwhm_nm > 25.0


def test_a_dark_spectrum_has_no_peaks() -> None:
    assert Spectrum([400.0, 410.0, 420.0], [-0.1, -0.2, 0.0]).peaks() == ()


def test_light_drops_negatives_floor_and_isolated_noise_but_keeps_the_tail() -> None:
    values = gaussian(400.0, 12.0, 10.0)
    values[[5, 10, 15]] = [-0.01, 0.0009, 0.02]  # negative, below 1e-4 of the peak, isolated at 0.2 %
    spectrum = Spectrum(GRID, values)
    light = spectrum.light()
    seen = light.spectral_irradiance_w_m2_nm
    assert seen[[5, 10, 15]].tolist() == [0.0, 0.0, 0.0]
    tail = (values >= 1e-3) & (GRID > 350.0)
    assert np.array_equal(seen[tail], values[tail])
    assert seen.min() == 0.0
    # the measurement itself is untouched, and doing it twice changes nothing
    assert spectrum.spectral_irradiance_w_m2_nm[5] == -0.01
    assert np.array_equal(light.light().spectral_irradiance_w_m2_nm, seen)


def test_light_keeps_a_weak_line_of_its_own() -> None:
    light = Spectrum(GRID, gaussian(365.0, 9.0, 20.0) + gaussian(436.0, 3.0, 0.2)).light()
    assert light.at([436.0])[0] == pytest.approx(0.2)


def test_light_of_a_spectrum_lit_at_both_ends() -> None:
    flat = Spectrum([400.0, 410.0, 420.0], [1.0, 0.0, 1.0])
    assert flat.light().spectral_irradiance_w_m2_nm.tolist() == [1.0, 0.0, 1.0]
    assert Spectrum([400.0, 410.0], [-1.0, 0.0]).light().spectral_irradiance_w_m2_nm.tolist() == [0.0, 0.0]


def test_mean_of_spectra() -> None:
    one, three = Spectrum([1.0, 2.0], [1.0, 5.0]), Spectrum([1.0, 2.0], [3.0, 5.0])
    assert mean_spectrum([one, three]).spectral_irradiance_w_m2_nm.tolist() == [2.0, 5.0]
    with pytest.raises(InputError, match="different wavelength grids"):
        mean_spectrum([one, Spectrum([1.0, 3.0], [1.0, 1.0])])
    with pytest.raises(InputError, match="no spectra"):
        mean_spectrum([])
