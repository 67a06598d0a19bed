"""Figures, text and pictures of a lamp, against closed forms and invented initiators."""

import json
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.course import Programme
from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.lamp import Lamp, list_lamps, load_lamp
from gelwright.lamp_library.spectrum import Spectrum
from gelwright.lamp_library.units import photon_energy_j_mol
from gelwright.optimiser.lamp_plot import (
    COLOURS,
    STYLES,
    check_format,
    comparison_picture,
    lamp_picture,
    lit_range_nm,
    plot_positions,
    plot_spectra,
    save_picture,
)
from gelwright.optimiser.lamp_text import compare_text, half_life_text, show_text
from gelwright.optimiser.lamp_view import (
    absorbed_photon_fraction,
    figures_json,
    lamp_figures,
    packaged_initiators,
    photolysis_rate_1_s,
)

WIDE = 120


@dataclass(frozen=True)
class Table:
    """A straight absorption table that refuses wavelengths below its start, as the real ones do."""

    wavelength_nm: np.ndarray
    values_m2_mol: np.ndarray

    def at(self, wavelength_nm: np.ndarray) -> np.ndarray:
        asked = np.asarray(wavelength_nm)
        if asked.min() < self.wavelength_nm[0]:
            raise InputError("below the table")
        return np.interp(asked, self.wavelength_nm, self.values_m2_mol, right=0.0)


def flat_table(first_nm: float = 300.0, value: float = 50.0) -> Table:
    return Table(np.array([first_nm, 600.0]), np.array([value, value]))


@dataclass(frozen=True)
class Fake:
    key: str = "FAKE"
    mechanism: str = "type_I"
    molar_mass_kg_mol: float = 0.2
    quantum_yield: float = 0.5
    absorption: Table = field(default_factory=flat_table)


def square(level: float = 10.0) -> Spectrum:
    """10 W/m2/nm from 380 to 400 nm: 200 W/m2."""
    return Spectrum([380.0, 390.0, 400.0], [level] * 3)


def test_photolysis_rate_of_a_flat_absorber_is_photons_times_cross_section() -> None:
    # 50 m2/mol decadic = 500 L/mol/cm, yield 0.5
    expected = square().photon_irradiance_mol_m2_s() * math.log(10.0) * 50.0 * 0.5
    assert photolysis_rate_1_s(Fake(), square()) == pytest.approx(expected, rel=1e-12)
    # by hand: 200 W/m2 around 390 nm are 652.0 umol m-2 s-1
    assert expected == pytest.approx(652.0e-6 * 2.302585 * 25.0, rel=2e-4)


def test_photolysis_rate_of_one_wavelength_picks_the_right_absorption() -> None:
    ramp = Fake(absorption=Table(np.array([300.0, 500.0]), np.array([200.0, 0.0])))
    line = Spectrum([389.9, 390.0, 390.1], [0.0, 100.0, 0.0])
    photons = 10.0 / photon_energy_j_mol(390.0)
    assert photolysis_rate_1_s(ramp, line) == pytest.approx(photons * math.log(10.0) * 110.0 * 0.5, rel=1e-5)


def test_absorbed_share_is_lambert_beer() -> None:
    # 1 wt% of 1100 kg/m3 at 0.2 kg/mol is 55 mol/m3; 100 um x 50 m2/mol: absorbance 0.275
    expected = 1.0 - 10.0**-0.275
    assert absorbed_photon_fraction(Fake(), square()) == pytest.approx(expected, rel=1e-12)
    assert absorbed_photon_fraction(Fake(), square(), thickness_m=1.0) == pytest.approx(1.0, abs=1e-12)


def test_light_below_the_absorption_data_is_left_out_and_told() -> None:
    late = Fake(absorption=flat_table(390.0))
    lamp = Lamp(lamp_id="x", name="x", spectra={"a": square()})
    (figures,) = lamp_figures(lamp, [late]).initiators
    total = square().photon_irradiance_mol_m2_s()
    assert figures.outside_data_fraction == pytest.approx(
        square().photon_irradiance_mol_m2_s(380.0, 390.0) / total, rel=1e-12
    )
    assert figures.photolysis_rate_1_s == pytest.approx(
        square().photon_irradiance_mol_m2_s(390.0, 400.0) * math.log(10.0) * 25.0, rel=1e-12
    )
    assert "absorption data start too late" in show_text(lamp_figures(lamp, [late]))


def test_an_initiator_that_sees_nothing_is_never_spent() -> None:
    blind = Fake(absorption=flat_table(450.0))
    lamp = Lamp(lamp_id="x", name="x", spectra={"a": square()})
    (figures,) = lamp_figures(lamp, [blind]).initiators
    assert (figures.photolysis_rate_1_s, figures.absorbed_photon_fraction) == (0.0, 0.0)
    assert figures.outside_data_fraction == pytest.approx(1.0)
    assert half_life_text(0.0) == "never"


@pytest.mark.parametrize(
    ("rate", "text"), [(math.log(2.0), "1.0"), (math.log(2.0) / 200.0, "200"), (1e-9, "> 10000")]
)
def test_half_life(rate: float, text: str) -> None:
    assert half_life_text(rate) == text


def two_positions() -> Lamp:
    grid = np.array([300.0, 399.999, 400.0, 450.0, 450.001, 500.0])
    violet = Spectrum(grid, [0.0, 0.0, 2.0, 2.0, 0.0, 0.0])
    both = Spectrum(grid, [1.0, 1.0, 2.0, 2.0, 0.0, 0.0])
    return Lamp(lamp_id="two", name="Two", spectra={"left": violet, "right": both}, electrical_power_w=10.0)


def test_bands() -> None:
    figures = lamp_figures(two_positions())
    left, right = figures.positions
    # the two edges are 0.001 nm wide
    assert left.violet_irradiance_w_m2 == pytest.approx(100.0, abs=0.01)
    assert left.uv_a_irradiance_w_m2 == pytest.approx(0.0, abs=0.01)
    assert right.uv_a_irradiance_w_m2 == pytest.approx(85.0, abs=0.01)
    assert right.irradiance_w_m2 == pytest.approx(200.0, abs=0.01)
    assert figures.mean.uv_a_irradiance_w_m2 == pytest.approx(42.5, abs=0.01)
    assert (figures.weakest, figures.strongest) == ("left", "right")
    assert figures.uniformity_ratio == pytest.approx(100.0 / 150.0, abs=1e-4)


def test_a_range_that_starts_inside_the_band_counts_what_was_measured() -> None:
    figures = lamp_figures(Lamp(lamp_id="x", name="x", spectra={"a": square()}))
    assert figures.mean.uv_a_irradiance_w_m2 == pytest.approx(200.0, rel=1e-12)
    assert figures.mean.violet_irradiance_w_m2 == 0.0


def test_text_says_what_matters_in_chemists_units() -> None:
    text = show_text(
        lamp_figures(load_lamp("demo_arch_365_405"), [Fake(), Fake(key="PAIR", mechanism="type_II")])
    )
    assert "Invented demonstration data" in text
    row = next(line for line in text.splitlines() if "thumb" in line)
    assert row.split()[:5] == ["thumb", "weakest", "19.7", "9.0", "10.7"]
    assert "25 °C at switch-on, +6 K when warm" in text
    assert "steady, low_heat, slow_pulse" in text
    assert "+ amine" in next(line for line in text.splitlines() if line.startswith("PAIR"))
    assert "not recorded: lamp type" in text


def test_light_on_skin_and_eye_is_told_with_its_caution() -> None:
    figures = lamp_figures(load_lamp("demo_strong_395"))
    exposure = figures.exposure
    assert exposure is not None
    assert exposure.effective_limit_time_s == pytest.approx(
        30.0 / exposure.effective_irradiance_w_m2, rel=1e-14
    )
    assert exposure.session_effective_limit_fraction == pytest.approx(300.0 / exposure.effective_limit_time_s)
    assert exposure.eye_limit_time_s == pytest.approx(1e4 / exposure.uv_a_irradiance_w_m2, rel=1e-14)
    text = show_text(figures)
    block = text[text.index("Light on skin and eye") :].split("\n\n")[0]
    words = " ".join(block.split())
    assert f"limit after {exposure.effective_limit_time_s / 60.0:.0f} min" in words
    assert "5 cures of 60 s per hand use" in words
    assert "An estimate at the film" in words
    assert "not a photobiological assessment" in words
    assert "(limits derived)" in words
    assert len(block.splitlines()) <= 9


def test_a_lamp_whose_light_cannot_be_weighed_is_still_shown() -> None:
    grid = np.arange(250.0, 451.0)
    line = np.exp(-(((grid - 280.0) / 6.0) ** 2))
    figures = lamp_figures(Lamp(lamp_id="x", name="x", spectra={"a": Spectrum(grid, line)}))
    assert figures.exposure is None
    text = show_text(figures)
    assert "Light on skin and eye was not worked out: position 'a' gives light from 26" in text
    assert json.loads(json.dumps(figures_json(figures), allow_nan=False))["exposure"] is None


def test_violet_light_alone_has_no_limit_time() -> None:
    violet = Spectrum([401.0, 410.0, 420.0], [0.0, 10.0, 0.0])
    figures = lamp_figures(Lamp(lamp_id="x", name="x", spectra={"a": violet}))
    assert figures.exposure is not None
    assert figures.exposure.effective_limit_time_s is None
    assert show_text(figures).count("daily limit after more than 8 h") == 2
    assert (
        json.loads(json.dumps(figures_json(figures), allow_nan=False))["exposure"]["eye_limit_time_s"] is None
    )


def test_fast_pulses_are_told_among_the_notes() -> None:
    dimmed = Programme.pulsed("half", period_s=0.01, duty_fraction=0.5)
    lamp = Lamp(lamp_id="x", name="x", spectra={"a": square()}, programmes={"half": dimmed})
    assert "'half' pulses at 100 Hz" in show_text(lamp_figures(lamp)).split("\nNotes\n")[1]


def test_columns_stand_under_their_heads() -> None:
    lines = show_text(lamp_figures(load_lamp("demo_strong_395"), [Fake()])).splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("Irradiance"))
    end = lines[head].index("whole") + len("whole")
    rows = lines[head + 2 : head + 8]
    assert len(rows) == 6
    for row in rows:
        assert row[end] == " "
        assert row[end - 1].isdigit()


@pytest.mark.parametrize("name", list_lamps())
def test_tables_fit_a_terminal(name: str) -> None:
    text = show_text(lamp_figures(load_lamp(name), [Fake()])).split("\nNotes\n")[0]
    assert max(len(line) for line in text.splitlines()) <= WIDE


def test_json_holds_only_plain_finite_values() -> None:
    figures = lamp_figures(load_lamp("demo_strong_395"), [Fake()])
    text = json.dumps(figures_json(figures), allow_nan=False)
    again = json.loads(text)
    assert again["mean"]["irradiance_w_m2"] == figures.mean.irradiance_w_m2
    assert again["positions"][0]["position"] == "thumb"
    assert again["initiators"][0]["key"] == "FAKE"


def test_initiators_are_sorted_by_their_rate() -> None:
    slow = Fake(key="SLOW", quantum_yield=0.1)
    figures = lamp_figures(two_positions(), [slow, Fake()])
    assert [each.key for each in figures.initiators] == ["FAKE", "SLOW"]


def test_comparison_gives_the_ratio_of_b_to_a() -> None:
    lamp = two_positions()
    a, b = (lamp_figures(each, [Fake()]) for each in (lamp, lamp.with_output(0.5)))
    text = compare_text(a, b)
    for start in ("mean, whole range", "weakest position, mW/cm2", "  FAKE"):
        assert next(line for line in text.splitlines() if line.startswith(start)).split()[-1] == "0.50", start
    assert "1.00" in next(line for line in text.splitlines() if line.startswith("weakest / mean"))


@pytest.mark.parametrize("name", list_lamps())
def test_every_packaged_initiator_can_be_rated_in_every_packaged_lamp(name: str) -> None:
    initiators = packaged_initiators()
    figures = lamp_figures(load_lamp(name), initiators)
    assert {each.key for each in figures.initiators} == {each.key for each in initiators}
    assert all(0.0 <= each.absorbed_photon_fraction <= 1.0 for each in figures.initiators)
    assert all(each.photolysis_rate_1_s >= 0.0 for each in figures.initiators)
    assert all(each.outside_data_fraction < 0.01 for each in figures.initiators)


def test_spectra_are_drawn_with_their_own_style_and_the_legend_beside_them() -> None:
    from matplotlib.figure import Figure

    lamp = load_lamp("demo_arch_365_405")
    figure = Figure(figsize=(8, 4), layout="constrained")
    axes = figure.subplots()
    assert plot_spectra(lamp, axes) is axes
    lines = axes.get_lines()[: len(lamp.positions)]
    assert [line.get_label() for line in lines] == ["middle", "ring", "index", "little", "thumb"]
    assert len({line.get_color() for line in lines}) == 5
    assert [line.get_linestyle() for line in lines[:4]] == ["-", "--", "-.", ":"]
    assert len({str(style) for style in STYLES}) == len(STYLES) == len(COLOURS)
    # mW cm-2 nm-1 on the axis
    peak = lamp.spectrum("middle").spectral_irradiance_w_m2_nm.max() / 10.0
    assert lines[0].get_ydata().max() == pytest.approx(peak, rel=1e-12)
    assert "mW" in axes.get_ylabel()
    assert "nm" in axes.get_xlabel()
    figure.draw_without_rendering()
    assert axes.get_legend().get_window_extent().x0 >= axes.get_window_extent().x1


def test_bars_are_the_two_bands_stacked() -> None:
    from matplotlib.figure import Figure

    figures = lamp_figures(two_positions())
    axes = plot_positions(figures, Figure().subplots())
    heights = [bar.get_height() for bar in axes.patches]
    assert heights == pytest.approx([0.0, 8.5, 10.0, 10.0], abs=1e-3)


def test_the_axis_shows_where_the_lamps_shine() -> None:
    lower, upper = lit_range_nm(load_lamp("demo_narrow_405"))
    assert 360.0 < lower < 390.0
    assert 430.0 < upper < 460.0
    wider = lit_range_nm(load_lamp("demo_narrow_405"), load_lamp("demo_narrow_385"))
    assert wider[0] < lower


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_pictures_are_written(tmp_path: Path, suffix: str) -> None:
    lamp = load_lamp("demo_fluorescent_365")
    save_picture(lamp_picture(lamp, lamp_figures(lamp)), tmp_path / "new" / f"lamp{suffix}")
    save_picture(comparison_picture(lamp, load_lamp("demo_strong_395")), tmp_path / f"two{suffix}")
    starts = {".png": b"\x89PNG", ".svg": b"<?xml", ".pdf": b"%PDF"}
    for path in (tmp_path / "new" / f"lamp{suffix}", tmp_path / f"two{suffix}"):
        assert path.read_bytes().startswith(starts[suffix])


@pytest.mark.parametrize("name", ["lamp", "lamp.jpg", "lamp.PNG.txt"])
def test_other_picture_formats_are_refused(name: str) -> None:
    with pytest.raises(InputError, match=r"\.png, \.svg, \.pdf"):
        check_format(Path(name))
