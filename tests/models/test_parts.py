"""Parts of a film are chosen by name; what each must give is in studies/replaceable_parts, which the tests run too."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.models.film import DiBenedetto, FilmModel, Kinetics, Oxygen
from gelwright.models.packing import pack
from gelwright.models.parts import PARTS, Slab, layers_of, with_part

STUDY = Path(__file__).resolve().parents[2] / "studies" / "replaceable_parts"
WIDTH = np.full(4, 25e-6)
KINETICS = Kinetics(methacrylate_propagation_m3_mol_s=0.4, termination_m3_mol_s=2.0e3)
SLAB = Slab(thickness_m=1e-4, conductivity_w_m_k=0.2, capacity_j_m3_k=2.0e6)
FILM = FilmModel(width_m=WIDTH, methacrylate_mol_m3=5000.0, kinetics=KINETICS, layers=layers_of(WIDTH, SLAB))
GLASS = DiBenedetto(tg_monomer_k=200.0, tg_polymer_k=400.0, lambda_ratio=0.5, half_width_k=40.0)
VALUES: dict[tuple[str, str], dict[str, object]] = {
    ("initiation", "fixed"): {"rate_mol_m3_s": 0.1},
    ("conversion", "fixed"): {"conversion_fraction": 0.5},
    ("rates", "own"): {"kinetics": KINETICS},
    ("vitrification", "dibenedetto"): {"vitrification": GLASS},
    ("vitrification", "linear"): {"conversion_fraction": 0.7},
    ("heat", "prescribed"): {"source_w_m3": 1e6},
    ("temperature", "isothermal"): {"temperature_k": 300.0},
    ("layers", "own"): {"layers": layers_of(WIDTH, SLAB)},
    ("top", "transfer"): {"transfer_w_m2_k": 8.0},
    ("top", "fixed"): {"temperature_k": 300.0},
    ("top", "flux"): {"flux_w_m2": 100.0},
    ("bottom", "fixed"): {"temperature_k": 300.0},
}
EVERY = [(part, choice) for part, choices in PARTS.items() for choice in choices]


@pytest.mark.parametrize(("part", "choice"), EVERY)
def test_every_choice_gives_a_film_that_packs(part: str, choice: str) -> None:
    pack(with_part(FILM, part, choice, **VALUES.get((part, choice), {})))


@pytest.mark.parametrize(("part", "choice"), EVERY)
def test_a_missing_or_surplus_value_is_one_line(part: str, choice: str) -> None:
    with pytest.raises(InputError, match=f"film part '{part}', choice '{choice}'") as found:
        with_part(FILM, part, choice, colour="red")
    assert "\n" not in str(found.value)


def test_unknown_names_list_the_known_ones() -> None:
    with pytest.raises(UnknownNameError, match="initiation"):
        with_part(FILM, "radicals", "fixed")
    with pytest.raises(UnknownNameError, match="nitrogen"):
        with_part(FILM, "oxygen", "argon")


@pytest.mark.parametrize("part", ["top", "bottom", "heat", "temperature"])
def test_thermal_parts_need_layers(part: str) -> None:
    bare = replace(FILM, layers=None)
    choice = {"top": "insulated", "bottom": "insulated", "heat": "prescribed", "temperature": "conduction"}[
        part
    ]
    with pytest.raises(InputError, match="no thermal layers"):
        with_part(bare, part, choice, **VALUES.get((part, choice), {}))


def test_choices_of_a_face_exclude_each_other() -> None:
    film = with_part(FILM, "top", "fixed", temperature_k=300.0)
    assert film.layers is not None
    assert film.layers.top_fixed_k == 300.0
    film = with_part(film, "top", "flux", flux_w_m2=5.0)
    assert film.layers is not None
    assert film.layers.top_fixed_k is None
    assert film.layers.top_flux_w_m2 == 5.0


def test_a_choice_holds_for_every_layer() -> None:
    two = replace(
        FILM, kinetics=[KINETICS, KINETICS], oxygen=[Oxygen(), Oxygen()], layer_of_cell=[0, 0, 1, 1]
    )
    film = with_part(with_part(two, "oxygen", "nitrogen"), "vitrification", "linear", conversion_fraction=0.6)
    assert isinstance(film.oxygen, list)
    assert [each.atmosphere for each in film.oxygen] == ["nitrogen", "nitrogen"]
    assert isinstance(film.kinetics, list)
    assert all(each.vitrification is not None for each in film.kinetics)


def test_start_conversion_is_counted_from_no_cure() -> None:
    film, state = pack(replace(FILM, initial_conversion_fraction=[0.0, 0.2, 0.4, 0.6]))
    assert state.bonds[1] == pytest.approx(5000.0 * np.array([1.0, 0.8, 0.6, 0.4]))
    assert film.initial[1] == pytest.approx(np.full(4, 5000.0))
    with pytest.raises(InputError, match="between 0 and 1"):
        pack(replace(FILM, initial_conversion_fraction=1.2))


def test_the_page_names_every_part_and_choice() -> None:
    rows = re.findall(
        r"^\| (\w+) \| (.*?) \|", (STUDY / "README.md").read_text(encoding="utf-8"), flags=re.MULTILINE
    )
    page = dict(rows[1:]) if rows[0][0] == "part" else dict(rows)
    for part, choices in PARTS.items():
        assert all(f"`{choice}`" in page[part] for choice in choices), part
