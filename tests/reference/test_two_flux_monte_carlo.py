"""Two-flux light in a scattering film against photons followed one by one, against closed forms, and against itself.

The Monte Carlo shares nothing with the two-flux form: photons fly straight for an exponential path, are partly absorbed and
scattered isotropically with mu_s' (similarity: the same reduced coefficient stands for any particle), leave at the floor or
meet the surface under Fresnel's law at their own angle. 2e5 photons leave a statistical error of 0.001 (one standard
deviation) on reflected and transmitted light.

What the two-flux form gives away: it lets scattered light be equally bright over each half space from the start, while
the true light is steeper near the surface and flatter around absorbers. Found here, over films from sheer to black: reflected
light at most 0.014 too high, transmitted at most 0.012 off, absorbed at most 0.018 too low; absorption in the uppermost tenth
up to 16 % too low (white films), elsewhere within 13 %. The tolerances below are those findings plus three statistical
standard deviations, no more: 0.02 on the shares of the incident light, 20 % on the tenths.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gelwright.models.formulation import pigment_optics
from gelwright.models.fresnel import diffuse_reflectance_inside
from gelwright.models.gel import Gel
from gelwright.models.optics import layer_reflection, light_in_film, light_two_flux

PHOTONS = 200_000
TENTHS = 10
CELLS = 100
# mu_a, mu_s' [1/m] and thickness [m], orders of the pigments of this set with 1.5 wt% of an initiator
FILMS = {
    "sheer": (1.5e3, 7.5e3, 50e-6),
    "white, 3 wt%, 405 nm": (7.0e2, 6.9e4, 30e-6),
    "white, 8 wt%, 405 nm": (1.7e3, 1.6e5, 50e-6),
    "white, 8 wt%, thick": (5.0e3, 1.6e5, 100e-6),
    "white, 8 wt%, 385 nm": (2.7e4, 1.35e5, 30e-6),
    "white, 8 wt%, 365 nm": (8.0e4, 8.8e4, 30e-6),
    "black": (7.35e4, 3.5e3, 30e-6),
    "red": (5.6e4, 1.3e4, 50e-6),
    "yellow": (3.5e4, 1.5e4, 50e-6),
}
# floor reflectance and refractive index of the film
SURROUNDINGS = {"black floor, no surface": (0.0, 1.0), "nail and air": (0.3, 1.5)}
TRANSMITTANCE_NM = (365.0, 385.0, 395.0, 405.0, 420.0)
# Diffuse transmittance of white films on black, tabulated beforehand with another programme to three decimals.
WHITE_TRANSMITTANCE = {
    (3.0, 30e-6): (0.073, 0.207, 0.307, 0.369, 0.381),
    (3.0, 50e-6): (0.013, 0.080, 0.170, 0.249, 0.270),
    (3.0, 100e-6): (0.0, 0.008, 0.042, 0.120, 0.155),
    (10.0, 30e-6): (0.0, 0.009, 0.048, 0.134, 0.173),
    (10.0, 50e-6): (0.0, 0.0, 0.008, 0.061, 0.111),
    (20.0, 50e-6): (0.0, 0.0, 0.0, 0.011, 0.062),
}


class MonteCarlo:
    """Photons through a slab, all at once."""

    def __init__(self, absorption: float, scattering: float, thickness: float, floor: float, index: float):
        self.total, self.albedo = absorption + scattering, scattering / (absorption + scattering)
        self.thickness, self.floor, self.index = thickness, floor, index
        self.random = np.random.default_rng(20_260_101)
        self.depth, self.cosine, self.weight = np.zeros(PHOTONS), np.ones(PHOTONS), np.ones(PHOTONS)
        self.reflected = self.transmitted = 0.0
        self.absorbed = np.zeros(TENTHS)
        while self.depth.size:
            self.depth = self.depth + self.flight(self.cosine)
            while np.any(outside := (self.depth < 0.0) | (self.depth > self.thickness)):
                self.at_the_faces(outside)
            self.collide()

    def flight(self, cosine: np.ndarray) -> np.ndarray:
        return cosine * -np.log(1.0 - self.random.random(cosine.size)) / self.total

    def at_the_faces(self, outside: np.ndarray) -> None:
        up = outside & (self.depth < 0.0)
        turned = np.zeros(outside.size, dtype=bool)
        chance = np.where(up, self.fresnel(-self.cosine), self.floor)
        turned[outside] = self.random.random(np.count_nonzero(outside)) < chance[outside]
        self.reflected += self.weight[up & ~turned].sum()
        self.transmitted += self.weight[outside & ~up & ~turned].sum()
        self.cosine = np.where(turned & up, -self.cosine, self.cosine)
        from_floor = turned & ~up
        self.cosine[from_floor] = -np.sqrt(1.0 - self.random.random(np.count_nonzero(from_floor)))
        # an exponential path has no memory: a new one starts at the face
        face = np.where(up, 0.0, self.thickness)
        self.depth[turned] = face[turned] + self.flight(self.cosine[turned])
        stay = turned | ~outside
        self.depth, self.cosine, self.weight = self.depth[stay], self.cosine[stay], self.weight[stay]

    def fresnel(self, inside: np.ndarray) -> np.ndarray:
        sine_squared = self.index**2 * (1.0 - inside**2)
        outside = np.sqrt(np.maximum(1.0 - sine_squared, 0.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            crosswise = (self.index * inside - outside) / (self.index * inside + outside)
            parallel = (inside - self.index * outside) / (inside + self.index * outside)
        return np.where(sine_squared >= 1.0, 1.0, 0.5 * (crosswise**2 + parallel**2))

    def collide(self) -> None:
        if not self.depth.size:
            return
        tenth = np.minimum((self.depth / self.thickness * TENTHS).astype(int), TENTHS - 1)
        self.absorbed += np.bincount(tenth, self.weight * (1.0 - self.albedo), minlength=TENTHS)
        self.weight = self.weight * self.albedo
        self.cosine = 2.0 * self.random.random(self.weight.size) - 1.0
        # one in ten faint photons goes on with ten times the weight: nothing is lost on average
        faint = self.weight < 1e-3
        goes_on = ~faint | (self.random.random(faint.size) < 0.1)
        self.weight = np.where(faint, 10.0 * self.weight, self.weight)[goes_on]
        self.depth, self.cosine = self.depth[goes_on], self.cosine[goes_on]


class TwoFlux:
    """One bin of light of one photon per second through `light_two_flux`."""

    def __init__(
        self,
        absorption: float,
        scattering: float,
        thickness: float,
        floor: float = 0.0,
        surface: float = 0.0,
        cells: int = CELLS,
    ):
        width = np.full(cells, thickness / cells)
        self.per_cell, leaving, back = np.zeros(cells), np.zeros(1), np.zeros(1)
        self.uptake = np.zeros((1, cells))
        self.absorbed = light_two_flux(
            width, np.ones((1, cells)), np.zeros((1, cells)), np.array([[absorption]]), np.zeros((1, 1)),
            np.zeros((1, cells)), np.full((1, cells), scattering), np.array([floor]), surface,
            np.ones(1), np.ones(1), self.uptake, self.per_cell, leaving, back, np.zeros((6, cells + 1)),
        )  # fmt: skip
        self.transmitted, self.reflected = leaving[0], back[0]
        self.tenths = self.per_cell.reshape(TENTHS, -1).sum(axis=1)


@pytest.fixture(scope="module", params=[(film, around) for film in FILMS for around in SURROUNDINGS], ids=str)
def pair(request: pytest.FixtureRequest) -> tuple[TwoFlux, MonteCarlo]:
    film, (floor, index) = FILMS[request.param[0]], SURROUNDINGS[request.param[1]]
    surface = diffuse_reflectance_inside(index) if index > 1.0 else 0.0
    return TwoFlux(*film, floor, surface), MonteCarlo(*film, floor, index)


def test_shares_of_the_light(pair: tuple[TwoFlux, MonteCarlo]) -> None:
    two_flux, photons = pair
    assert two_flux.reflected == pytest.approx(photons.reflected / PHOTONS, abs=0.02)
    assert two_flux.transmitted == pytest.approx(photons.transmitted / PHOTONS, abs=0.02)
    assert two_flux.absorbed == pytest.approx(photons.absorbed.sum() / PHOTONS, abs=0.02)


def test_absorption_with_depth(pair: tuple[TwoFlux, MonteCarlo]) -> None:
    two_flux, photons = pair
    # 0.001 of the light in a tenth is the statistical error of the photons
    assert two_flux.tenths == pytest.approx(photons.absorbed / PHOTONS, rel=0.20, abs=0.001)


def test_photons_of_the_monte_carlo_are_all_accounted_for(pair: tuple[TwoFlux, MonteCarlo]) -> None:
    _, photons = pair
    found = photons.reflected + photons.transmitted + photons.absorbed.sum()
    assert found / PHOTONS == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("film", ["white, 3 wt%, 405 nm", "white, 8 wt%, 405 nm", "white, 8 wt%, 385 nm"])
def test_light_under_the_surface_of_a_white_film_is_underestimated(film: str) -> None:
    # the known weakness of the form, kept in sight: 5 to 15 % too little in the uppermost tenth
    ratio = TwoFlux(*FILMS[film]).tenths[0] / (MonteCarlo(*FILMS[film], 0.0, 1.0).absorbed[0] / PHOTONS)
    assert 0.85 < ratio < 0.95


@pytest.mark.parametrize(("k", "s", "thickness"), [(400.0, 5e4, 30e-6), (2e4, 2e4, 50e-6), (1e5, 1e3, 20e-6)])
def test_kubelka_munk_closed_forms(k: float, s: float, thickness: float) -> None:
    # Kubelka 1948, black base: R = 1/(a + b coth bSX), T = b/(a sinh bSX + b cosh bSX)
    a = (s + k) / s
    b = np.sqrt(a * a - 1.0)
    x = b * s * thickness
    reflectance, transmittance = layer_reflection(k, s, thickness)
    assert reflectance == pytest.approx(1.0 / (a + b / np.tanh(x)), rel=1e-10)
    assert transmittance == pytest.approx(b / (a * np.sinh(x) + b * np.cosh(x)), rel=1e-10)


@pytest.mark.parametrize(("content", "thickness"), WHITE_TRANSMITTANCE, ids=str)
def test_diffuse_transmittance_of_white_films(content: float, thickness: float) -> None:
    gel = Gel(
        name="white",
        coat="colour",
        resin_parts={"UDMA": 93.0, "IBOA": 7.0},  # 1100 kg/m3, as in the table
        initiators_wt_pct={},
        pigments_wt_pct={"CI-77891": content},
        thickness_m=thickness,
    )
    absorption, scattering = pigment_optics(gel, TRANSMITTANCE_NM)
    found = [
        layer_reflection(2.0 * a, 0.75 * s, thickness)[1] for a, s in zip(absorption, scattering, strict=True)
    ]
    # half a unit of the last digit of the table, and as much for K and S kept to three digits
    assert found == pytest.approx(WHITE_TRANSMITTANCE[content, thickness], abs=1e-3)


@given(
    absorption=st.floats(0.0, 2e5),
    scattering=st.floats(0.0, 3e5),
    thickness=st.floats(5e-6, 500e-6),
    floor=st.floats(0.0, 0.95),
    surface=st.floats(0.0, 0.7),
)
def test_no_light_is_lost_or_made(
    absorption: float, scattering: float, thickness: float, floor: float, surface: float
) -> None:
    light = TwoFlux(absorption, scattering, thickness, floor, surface)
    assert light.absorbed + light.reflected + light.transmitted == pytest.approx(1.0, abs=1e-12)
    assert light.per_cell.sum() == pytest.approx(light.absorbed, abs=1e-12)
    assert light.per_cell.min() >= -1e-15


@given(absorption=st.floats(1e2, 2e5), thickness=st.floats(5e-6, 500e-6))
def test_without_scattering_over_black_it_is_beer_lambert(absorption: float, thickness: float) -> None:
    light = TwoFlux(absorption, 0.0, thickness, 0.0, 0.6)
    width = np.full(CELLS, thickness / CELLS)
    uptake, heat, leaving = np.zeros((1, CELLS)), np.zeros(CELLS), np.zeros(1)
    straight = light_in_film(
        width, np.ones((1, CELLS)), np.zeros((1, CELLS)), np.array([[absorption]]), np.zeros((1, 1)),
        np.zeros((1, CELLS)), np.ones(1), np.ones(1), uptake, heat, leaving,
    )  # fmt: skip
    assert light.reflected == pytest.approx(0.0, abs=1e-15)
    assert light.absorbed == pytest.approx(straight, rel=1e-6)
    assert light.transmitted == pytest.approx(np.exp(-absorption * thickness), rel=1e-6, abs=1e-15)
    assert light.uptake == pytest.approx(uptake, rel=1e-6, abs=1e-9)


def test_deviation_does_not_depend_on_the_cells() -> None:
    film = FILMS["white, 8 wt%, 405 nm"]
    coarse, fine = TwoFlux(*film, 0.3, 0.596, cells=50), TwoFlux(*film, 0.3, 0.596, cells=800)
    assert coarse.absorbed == pytest.approx(fine.absorbed, rel=0.02)
    assert coarse.transmitted == pytest.approx(fine.transmitted, rel=0.02)
