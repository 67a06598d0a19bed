"""Pigments: their table, a gel that holds them, a user's own K and S, and what they do to the cure."""

import csv
import datetime
import pickle
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library import load_lamp
from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.models import data_tables, pigments
from gelwright.models.batch import BlendEvaluator, Scenario
from gelwright.models.cure import CureCase, cure, film_model
from gelwright.models.formulation import gel_density_kg_m3, mix_resins, pigment_optics
from gelwright.models.gel import Gel, load_gel, save_gel
from gelwright.models.market import market_status
from gelwright.models.materials import citations, list_pigments, pigment
from gelwright.models.pigment_light import NAIL_REFLECTANCE_FRACTION
from gelwright.models.pigments import PigmentOptics, crowding_ratio, read_pigment_optics
from gelwright.models.results import CureResult
from gelwright.models.solver import SolverSettings

DATA = Path(data_tables.__file__).parent / "data"
DEMO = Path(__file__).resolve().parents[2] / "optimiser" / "demo" / "gels"
COLOURS = ("white_colour", "black_colour", "red_colour", "yellow_colour", "sheer_pink")
WHITE, BLACK = "CI-77891", "CI-77266"


def rows() -> list[dict[str, str]]:
    with (DATA / pigments.OPTICS_FILE).open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def gel(contents: Mapping[str, float], **changes: object) -> Gel:
    plain = Gel(
        name="test",
        coat="colour",
        resin_parts={"UDMA": 50.0, "UA-1500": 15.0, "HPMA": 20.0, "IBOA": 15.0},
        initiators_wt_pct={"BAPO": 1.5},
        stabilisers_wt_pct={"MEHQ": 0.02},
        pigments_wt_pct=contents,
        thickness_m=50e-6,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def bottom(contents: Mapping[str, float], lamp: str, thickness_um: float = 50.0) -> float:
    lit = load_lamp(lamp)
    # equal power, so that only the wavelength differs
    lit = lit.with_output(100.0 / lit.spectrum(lit.weakest).irradiance_w_m2())
    return cure(
        gel(contents), lit, exposure_s=60.0, thickness_m=thickness_um * 1e-6
    ).bottom_conversion_fraction


# --- the table


def test_every_row_of_the_optics_is_sourced_and_has_a_kind() -> None:
    sources = data_tables.read_sources()
    for row in rows():
        assert row["substance"] in list_pigments()
        assert row["quantity"] in ("K", "S")
        assert row["unit"] in (pigments.ABSOLUTE_UNIT, pigments.RELATIVE_UNIT)
        assert row["kind"] in data_tables.KINDS
        assert row["source"] in sources
        assert float(row["value"]) >= 0.0
        assert 360.0 <= float(row["wavelength_nm"]) <= 460.0
        if sources[row["source"]]["seen"] in ("from memory", "derived"):
            assert row["kind"] == "estimated"


@pytest.mark.parametrize("key", list_pigments())
def test_pigments_are_plausible(key: str) -> None:
    record = pigment(key)
    assert 1000.0 < record.density_kg_m3 < 6000.0
    assert 0.0 < record.absorption_error_ratio < 1.0
    assert 0.0 < record.scattering_error_ratio < 1.0
    assert record.usual_min_wt_pct is not None
    assert record.usual_max_wt_pct is not None
    assert record.usual_min_wt_pct < record.usual_max_wt_pct
    assert citations(record.sources)
    assert "absorption_error_ratio" in record.unverified
    # no pigment absorbs more than 30 m2/g or scatters more than 5 m2/g: 1 wt% holds 11 g/L
    nm = np.arange(360.0, 461.0)
    assert np.all(record.optics.absorption_at(nm) <= 30e3 * 11.0)
    assert np.all(record.optics.scattering_at(nm) <= 5e3 * 11.0)


def test_relative_tables_count_as_estimated_whatever_their_shape() -> None:
    relative = {row["substance"] for row in rows() if row["unit"] == pigments.RELATIVE_UNIT}
    assert len(relative) == 7
    for key in relative:
        assert pigment(key).optics.kind == "estimated"
        assert "optics" in pigment(key).unverified


def test_conversion_of_the_table_by_hand() -> None:
    # K = 4.0 and S = 229 1/cm per wt% at 405 nm: mu_a = K/2, mu_s' = 4/3 S
    optics = pigment(WHITE).optics
    assert optics.absorption_at([405.0])[0] == pytest.approx(200.0, rel=1e-12)
    assert optics.scattering_at([405.0])[0] == pytest.approx(30533.3, rel=1e-5)
    # relative to white paint: 0.996835843 at 400 nm times 340 1/cm per wt%
    assert pigment("CI-11741").optics.absorption_at([400.0])[0] == pytest.approx(16946.2, rel=1e-5)


def test_order_of_absorption_near_405_nm() -> None:
    absorption = {key: float(pigment(key).optics.absorption_at([405.0])[0]) for key in list_pigments()}
    assert max(absorption, key=absorption.__getitem__) == BLACK
    assert absorption[WHITE] < absorption["CI-77007"] * 10.0 < absorption["CI-77491"]
    # measured shapes: yellow and green absorb there, quinacridone lets through
    assert absorption["CI-73900"] < absorption["CI-56110"] < absorption["CI-11741"]


def test_white_stops_absorbing_between_365_and_420_nm() -> None:
    absorption = pigment(WHITE).optics.absorption_at([365.0, 385.0, 405.0, 420.0])
    assert np.all(np.diff(absorption) < 0.0)
    assert absorption[0] > 40.0 * absorption[2] > 1000.0 * absorption[3]
    anatase = pigment("CI-77891-anatase").optics.absorption_at([385.0])[0]
    assert anatase < 0.1 * absorption[1]


def test_optics_pickle_and_stay_locked() -> None:
    optics = pickle.loads(pickle.dumps(pigment(WHITE).optics))
    with pytest.raises(ValueError, match="read-only"):
        optics.wavelength_nm[0] = 1.0
    assert optics.valid_from_nm == 360.0
    assert optics.valid_to_nm == 460.0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"wavelength_nm": [400.0, 400.0]}, "a wavelength occurs twice"),
        ({"absorption_1_m_per_wt_pct": [1.0]}, "at the same wavelengths"),
        ({"scattering_1_m_per_wt_pct": [1.0, -1.0]}, "must be >= 0"),
        ({"scattering_1_m_per_wt_pct": [1.0, np.nan]}, "must be >= 0"),
    ],
)
def test_impossible_optics_are_refused(change: dict[str, list[float]], message: str) -> None:
    fields = {
        "wavelength_nm": [400.0, 410.0],
        "absorption_1_m_per_wt_pct": [1.0, 1.0],
        "scattering_1_m_per_wt_pct": [1.0, 1.0],
    }
    with pytest.raises(InputError, match=message):
        PigmentOptics(**{**fields, **change}, sources=("mine.csv",), kind="measured")  # type: ignore[arg-type]


# --- mixing


def test_crowding() -> None:
    # Fitzwater and Hook: nothing far apart, half of the scattering at an eighth of 0.55, none at 0.55
    assert crowding_ratio(0.0) == 1.0
    assert crowding_ratio(0.55 / 8.0) == pytest.approx(0.5, rel=1e-12)
    with pytest.raises(InputError, match=r"volume fraction is 0\.55; it must lie between 0 and 0\.55"):
        crowding_ratio(0.55)


def test_density_by_volumes() -> None:
    # 10 wt% of 4200 kg/m3 in 1079.26 kg/m3, by hand
    loaded = gel({WHITE: 10.0})
    resin = mix_resins(loaded.resin_parts).density_kg_m3
    assert gel_density_kg_m3(loaded, resin) == pytest.approx(1.0 / (0.1 / 4200.0 + 0.9 / resin), rel=1e-12)
    assert gel_density_kg_m3(gel({}), resin) == resin


def test_pigments_add_up_and_crowd_each_other() -> None:
    nm = np.array([385.0, 405.0])
    white, black = pigment_optics(gel({WHITE: 3.0}), nm), pigment_optics(gel({BLACK: 0.5}), nm)
    both = pigment_optics(gel({WHITE: 3.0, BLACK: 0.5}), nm)
    # a little more mass per volume, a little less scattering
    assert both[0] == pytest.approx(white[0] + black[0], rel=0.03)
    assert np.all(both[1] < white[1] + black[1])
    assert both[1] == pytest.approx(white[1] + black[1], rel=0.1)
    assert pigment_optics(gel({}), nm)[0] == pytest.approx([0.0, 0.0])


def test_scattering_rises_ever_less_with_content() -> None:
    scattering = [pigment_optics(gel({WHITE: x}), [405.0])[1][0] for x in (1.0, 2.0, 4.0, 8.0)]
    growth = np.array(scattering[1:]) / np.array(scattering[:-1])
    assert np.all(growth < 2.0)
    assert np.all(np.diff(growth) < 0.0)


# --- a gel file


def test_gel_file_with_pigments_comes_back(tmp_path: Path) -> None:
    loaded = gel({WHITE: 8.0, BLACK: 0.1})
    save_gel(loaded, tmp_path / "white.toml")
    again = load_gel(tmp_path / "white.toml")
    assert again == loaded
    assert again.resin_base_wt_pct == pytest.approx(100.0 - 8.1 - 1.5 - 0.02)
    assert pickle.loads(pickle.dumps(again)) == loaded


def test_bad_pigments_are_refused_in_one_line() -> None:
    with pytest.raises(UnknownNameError, match="unknown pigment 'CI-77892'; did you mean 'CI-77891'"):
        gel({"CI-77892": 1.0})
    with pytest.raises(InputError, match="CI-77891 in pigments_wt_pct is -1 wt%; it must be >= 0"):
        gel({WHITE: -1.0})
    with pytest.raises(InputError, match="stabilisers and pigments add up to 100"):
        gel({WHITE: 98.48})
    with pytest.raises(UnknownNameError, match="unknown pigment 'white'"):
        gel({}, pigment_files={"white": "x.csv"})
    with pytest.raises(InputError, match="volume fraction is"):
        pigment_optics(gel({WHITE: 85.0}), [405.0])


OWN = (
    "# measured_at_wt_pct = 8\nwavelength_nm,K_1_m_per_wt_pct,S_1_m_per_wt_pct\n360,1000,9000\n460,200,9000\n"
)


def own(tmp_path: Path, text: str) -> Gel:
    (tmp_path / "mine.csv").write_text(text, encoding="utf-8")
    return gel({WHITE: 8.0}, pigment_files={WHITE: str(tmp_path / "mine.csv")})


def test_own_measurement_replaces_the_table(tmp_path: Path) -> None:
    # at the content of the measurement it holds as it stands: K/2 and 4/3 S times 8 wt%
    absorption, scattering = pigment_optics(own(tmp_path, OWN), [410.0])
    assert absorption[0] == pytest.approx(8.0 * 600.0 / 2.0, rel=1e-12)
    assert scattering[0] == pytest.approx(8.0 * 9000.0 * 4.0 / 3.0, rel=1e-12)
    less = pigment_optics(replace(own(tmp_path, OWN), pigments_wt_pct={WHITE: 2.0}), [410.0])
    assert less[1][0] > scattering[0] / 4.0
    optics = read_pigment_optics(tmp_path / "mine.csv")
    assert (optics.kind, optics.measured_at_wt_pct) == ("measured", 8.0)


def test_own_measurement_without_its_content_holds_at_every_content(tmp_path: Path) -> None:
    plain = own(tmp_path, OWN.split("\n", 1)[1])
    full = pigment_optics(plain, [410.0])[1][0]
    assert pigment_optics(replace(plain, pigments_wt_pct={WHITE: 2.0}), [410.0])[1][0] == pytest.approx(
        full / 4.0
    )


def test_gel_file_names_the_measurement_relative_to_itself(tmp_path: Path) -> None:
    (tmp_path / "mine.csv").write_text(OWN, encoding="utf-8")
    text = (DEMO / "white_colour.toml").read_text(encoding="utf-8")
    (tmp_path / "gel.toml").write_text(text + '\n[pigment_files]\nCI-77891 = "mine.csv"\n', encoding="utf-8")
    loaded = load_gel(tmp_path / "gel.toml")
    assert loaded.pigment_files == {WHITE: str(tmp_path / "mine.csv")}
    assert pigment_optics(loaded, [410.0])[0][0] == pytest.approx(2400.0, rel=1e-12)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("K_1_m_per_wt_pct", "K_1_cm", "give wavelength_nm, K_1_m_per_wt_pct and S_1_m_per_wt_pct"),
        ("= 8", "= 108", "measured_at_wt_pct is 108 wt%; it must be 0 to 100"),
        ("= 8", "= eight", "measured_at_wt_pct is 'eight'"),
        ("460,200,9000", "460,-200,9000", "must be >= 0"),
    ],
)
def test_bad_measurements_are_refused(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in OWN
    with pytest.raises(InputError, match=message):
        pigment_optics(own(tmp_path, OWN.replace(old, new)), [405.0])


# --- what it does to the cure


def test_only_pigmented_films_scatter() -> None:
    lamp = load_lamp("demo_narrow_405")
    settings = SolverSettings()
    clear = film_model(CureCase(gel=gel({}), lamp=lamp, exposure_s=60.0), settings)
    white = film_model(CureCase(gel=gel({WHITE: 8.0}), lamp=lamp, exposure_s=60.0), settings)
    assert (clear.optics, white.optics) == ("beer_lambert", "two_flux")
    assert white.light.floor_reflectance_fraction == NAIL_REFLECTANCE_FRACTION
    assert 0.55 < white.light.surface_reflectance_fraction < 0.62
    # the bins of the lamp share out its photons, so their mean is the spectrum's own
    photons = np.asarray(white.light.photon_irradiance_mol_m2_s)
    scattering = np.asarray(white.light.scattering_1_m)[:, 0]
    spectrum = lamp.spectrum(lamp.weakest).light()
    weight = spectrum.spectral_irradiance_w_m2_nm * spectrum.wavelength_nm
    expected = weight @ pigment_optics(gel({WHITE: 8.0}), spectrum.wavelength_nm)[1] / weight.sum()
    assert photons @ scattering / photons.sum() == pytest.approx(expected, rel=0.01)


def test_pigment_takes_the_place_of_resin() -> None:
    lamp = load_lamp("demo_narrow_405")
    bonds = [
        np.asarray(
            film_model(CureCase(gel=each, lamp=lamp, exposure_s=60.0), SolverSettings()).acrylate_mol_m3
        )
        for each in (gel({}), gel({WHITE: 10.0}))
    ]
    density = gel_density_kg_m3(gel({WHITE: 10.0}), 1.0)  # relative to a resin of density 1
    assert density > 1.0
    # 10 wt% of titanium dioxide is about 2.8 % of the volume
    assert bonds[1][0] / bonds[0][0] == pytest.approx(0.971, abs=0.002)


def test_white_cures_at_405_nm_and_not_at_365_nm() -> None:
    good, poor = (bottom({WHITE: 8.0}, lamp) for lamp in ("demo_narrow_405", "demo_fluorescent_365"))
    assert good > 0.85
    assert poor < 0.5 * good


def test_black_cures_in_thin_films_only() -> None:
    thin, thick = (bottom({BLACK: 0.7}, "demo_narrow_405", um) for um in (20.0, 100.0))
    assert thin > 0.85
    assert thick < 0.1


def test_order_of_difficulty() -> None:
    # same content, same film: black slowest, red oxide next, sheer and clear easily (ink practice, from memory)
    clear = bottom({}, "demo_narrow_405", 80.0)
    sheer = bottom({WHITE: 0.3, "CI-15850": 0.1}, "demo_narrow_405", 80.0)
    ultramarine = bottom({"CI-77007": 1.0}, "demo_narrow_405", 80.0)
    red = bottom({"CI-77491": 1.0}, "demo_narrow_405", 80.0)
    black = bottom({BLACK: 1.0}, "demo_narrow_405", 80.0)
    assert black < red < min(clear, sheer, ultramarine)
    assert max(clear, sheer, ultramarine) - min(clear, sheer, ultramarine) < 0.05


@pytest.fixture(scope="module")
def white_cure() -> CureResult:
    lamp = load_lamp("demo_narrow_405")
    return cure(load_gel("white_colour", packaged=DEMO), lamp, exposure_s=60.0)


def test_result_names_sources_and_doubts(white_cure: CureResult) -> None:
    assert any("Devore" in each for each in white_cure.citations)
    assert any(
        "CI-77891 (titanium dioxide, rutile)" in each and "estimated" in each for each in white_cure.flags
    )


def test_light_beyond_the_table_is_flagged() -> None:
    # quinacridone is known from 380 nm only
    result = cure(gel({"CI-73900": 0.5}), load_lamp("demo_fluorescent_365"), exposure_s=10.0)
    assert any("CI-73900" in each and "380 to 460 nm" in each for each in result.flags)


@pytest.mark.parametrize("name", COLOURS)
def test_demonstration_gels_cure_in_the_405_nm_lamp(name: str) -> None:
    demo = load_gel(name, packaged=DEMO)
    day = datetime.date(2026, 11, 25)
    for key, content in demo.pigments_wt_pct.items():
        record = pigment(key)
        assert record.usual_max_wt_pct is not None
        assert content <= record.usual_max_wt_pct
        assert market_status(key, "EU", day).permits(content)
    result = cure(demo, load_lamp("demo_narrow_405"), exposure_s=60.0)
    assert result.bottom_conversion_fraction > 0.8


def test_blends_of_a_white_gel_agree_with_single_cures(white_cure: CureResult) -> None:
    demo, lamp = load_gel("white_colour", packaged=DEMO), load_lamp("demo_narrow_405")
    scene = Scenario(
        lamp=lamp, position=lamp.weakest, thickness_m=demo.thickness_m, exposure_s=60.0, cycles=1
    )
    loading = np.array([[demo.initiators_wt_pct["TPO-L"], demo.initiators_wt_pct["BAPO"]]])
    figures = BlendEvaluator(demo, ["TPO-L", "BAPO"], [], [scene])(loading)
    assert figures.bottom_conversion_fraction[0, 0] == pytest.approx(
        white_cure.bottom_conversion_fraction, abs=1e-6
    )
    assert figures.film_peak_k[0, 0] == pytest.approx(white_cure.film_peak_k, abs=1e-3)
