"""Colour of a film over a white floor, against closed forms and an independent colour library."""

import numpy as np
import pytest
from numpy.typing import NDArray

from gelwright.lamp_library.errors import InputError
from gelwright.models.colour import cielab, colour_grid_nm, film_absorbance, tristimulus, yellowness
from gelwright.models.materials import amine, photoinitiator

GRID = colour_grid_nm()


def tint(height: float, centre_nm: float, fwhm_nm: float) -> NDArray[np.float64]:
    return height * np.exp(-4.0 * np.log(2.0) * ((GRID - centre_nm) / fwhm_nm) ** 2)


# computed with colour-science 0.4.7 (sd_to_XYZ by integration, ASTM E313 for D65, Lab against the D65 white of
# the same tables), reflectance 10^(-2A), 380-780 nm in 5 nm steps
INDEPENDENT = [
    ((0.2, 400.0, 60.0), (91.77813, 99.75866, 92.46951), (99.9066, -5.3895, 10.4389), 14.39445),
    ((0.1, 469.0, 50.0), (90.87673, 97.10742, 83.43765), (98.8706, -2.5471, 15.0316), 24.12469),
    ((0.05, 430.0, 120.0), (91.37501, 97.37459, 90.08308), (98.9758, -2.1021, 10.4777), 16.98727),
]


@pytest.mark.parametrize(("film", "xyz", "lab", "index"), INDEPENDENT)
def test_tinted_films_agree_with_an_independent_library(
    film: tuple[float, float, float],
    xyz: tuple[float, float, float],
    lab: tuple[float, float, float],
    index: float,
) -> None:
    # the library sums the tables without scaling to the ASTM white, which moves X and Z by 0.004 %
    absorbance = tint(*film)[np.newaxis]
    assert tristimulus(absorbance, GRID)[0] == pytest.approx(xyz, rel=1e-4)
    assert cielab(absorbance, GRID)[0] == pytest.approx(lab, abs=1e-3)
    assert yellowness(absorbance, GRID)[0] == pytest.approx(index, abs=0.01)


@pytest.mark.parametrize(
    "film", [film for film, *_ in INDEPENDENT] + [(0.02, 410.0, 40.0), (0.6, 385.0, 80.0)]
)
@pytest.mark.filterwarnings("ignore")  # the library's own, about packages it would like to have
def test_tinted_films_agree_with_the_library_itself(film: tuple[float, float, float]) -> None:
    with (
        np.printoptions()
    ):  # importing the library changes how numpy prints, which the examples in docstrings would show
        library = pytest.importorskip(
            "colour", reason="colour-science is not installed: pip install '.[colour]'"
        )
    absorbance, step = tint(*film), library.SpectralShape(380, 780, 5)
    observer = library.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(step)
    daylight = library.SDS_ILLUMINANTS["D65"].copy().align(step)

    def xyz(reflectance: NDArray[np.float64]) -> NDArray[np.float64]:
        spectrum = library.SpectralDistribution(dict(zip(GRID, reflectance, strict=True)))
        return np.asarray(library.sd_to_XYZ(spectrum, observer, daylight, method="Integration"))

    found, white = xyz(10.0 ** (-2.0 * absorbance)), library.XYZ_to_xy(xyz(np.ones(GRID.size)))
    assert cielab(absorbance[np.newaxis], GRID)[0] == pytest.approx(
        library.XYZ_to_Lab(found / 100.0, white), abs=1e-3
    )
    # the library does not scale to the ASTM white: 0.004 % in X and Z
    index = library.colorimetry.yellowness_ASTME313(found)
    assert yellowness(absorbance[np.newaxis], GRID)[0] == pytest.approx(index, abs=0.01)


def test_perfect_white_is_not_yellow() -> None:
    # the coefficients of ASTM E313 give 0 within 0.001
    white = np.zeros((1, GRID.size))
    assert tristimulus(white, GRID)[0] == pytest.approx([95.047, 100.0, 108.883], rel=1e-12)
    assert yellowness(white, GRID)[0] == pytest.approx(0.0, abs=1e-3)
    assert cielab(white, GRID)[0] == pytest.approx([100.0, 0.0, 0.0], abs=1e-9)


def test_grey_film_darkens_without_colour() -> None:
    # A 0.15 twice is 50.1 % reflectance at every wavelength
    grey = np.full((1, GRID.size), 0.15)
    assert tristimulus(grey, GRID)[0, 1] == pytest.approx(100.0 * 10**-0.3, rel=1e-12)
    assert yellowness(grey, GRID)[0] == pytest.approx(0.0, abs=1e-3)


def test_dark_film_uses_the_linear_branch_of_cielab() -> None:
    # below Y/Yn = (6/29)^3: L* = (29/3)^3 Y/Yn
    dark = np.full((1, GRID.size), 1.5)
    assert cielab(dark, GRID)[0, 0] == pytest.approx((29.0 / 3.0) ** 3 * 1e-3, rel=1e-9)


def test_films_are_independent_rows() -> None:
    films = np.stack([tint(height, 430.0, 60.0) for height in (0.0, 0.05, 0.1, 0.2)])
    together = yellowness(films, GRID)
    assert together.shape == (4,)
    assert np.all(np.diff(together) > 0)
    assert together == pytest.approx([yellowness(each, GRID)[0] for each in films])


def test_a_finer_grid_gives_the_same_colour() -> None:
    fine = np.arange(370.0, 791.0, 1.0)
    shape = 0.2 * np.exp(-4.0 * np.log(2.0) * ((fine - 430.0) / 60.0) ** 2)
    assert yellowness(shape, fine)[0] == pytest.approx(yellowness(tint(0.2, 430.0, 60.0), GRID)[0], rel=1e-9)


def test_film_absorbance_adds_residue_product_and_amine() -> None:
    thioxanthone, camphorquinone, edb = photoinitiator("ITX"), photoinitiator("CQ"), amine("EDB")
    films = film_absorbance(
        [405.0, 469.0],
        initiators=[thioxanthone, camphorquinone],
        residual_mol_m3=[[2.0, 30.0], [0.0, 30.0]],
        product_mol_m3=[[1.0, 5.0], [3.0, 5.0]],
        thickness_m=500e-6,
        amines=[edb, amine("DMAEMA")],
        amine_mol_m3=[35.0, 35.0],
    )
    # the product of a thioxanthone absorbs like itself, that of camphorquinone not at all
    assert films[0] == pytest.approx(films[1])
    at_469 = camphorquinone.absorption.at([469.0])[0] * 30.0 * 500e-6
    assert films[0, 1] == pytest.approx(at_469, rel=1e-3)
    assert films.shape == (2, 2)


def test_camphorquinone_film_is_yellower_than_bleached_tpo_l() -> None:
    arguments = {"residual_mol_m3": [20.0], "product_mol_m3": [20.0], "thickness_m": 500e-6}
    camphorquinone = film_absorbance(GRID, initiators=[photoinitiator("CQ")], **arguments)  # type: ignore[arg-type]
    tpo_l = film_absorbance(GRID, initiators=[photoinitiator("TPO-L")], **arguments)  # type: ignore[arg-type]
    assert yellowness(camphorquinone, GRID)[0] > 5 * yellowness(tpo_l, GRID)[0] > 0


def test_wrong_input_is_refused() -> None:
    with pytest.raises(InputError, match="runs from 400 to 780 nm; the colour needs 380 to 780 nm"):
        yellowness(np.zeros((1, 77)), np.arange(400.0, 781.0, 5.0))
    with pytest.raises(InputError, match="negative or not finite"):
        yellowness(np.full((1, GRID.size), -0.1), GRID)
    with pytest.raises(InputError, match="80 absorbances for 81 wavelengths"):
        yellowness(np.zeros((1, 80)), GRID)
    with pytest.raises(InputError, match="2 concentrations for 1 initiators"):
        film_absorbance(
            GRID,
            initiators=[photoinitiator("CQ")],
            residual_mol_m3=[1.0, 2.0],
            product_mol_m3=[0.0, 0.0],
            thickness_m=1e-4,
        )
