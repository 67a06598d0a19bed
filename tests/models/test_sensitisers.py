"""Energy transfer between initiators: the table, the shares, the books of light, and the gel file."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import CureCase, cure, film_model
from gelwright.models.data_tables import read_sources
from gelwright.models.film import FilmModel
from gelwright.models.gel import Gel, load_gel, save_gel
from gelwright.models.materials import photoinitiator
from gelwright.models.sensitisers import (
    pair_flags,
    pairs_in,
    sensitiser_pairs,
    transferred_shares,
    with_energy_transfer,
)
from gelwright.models.solver import SolverSettings

LAMP = load_lamp("demo_narrow_405")


def made(*, pairs: dict[str, float] | None = None, amine_wt_pct: float = 0.0) -> Gel:
    return Gel(
        name="test",
        coat="builder",
        resin_parts={"UDMA": 70.0, "HEMA": 30.0},
        initiators_wt_pct={"ITX": 0.1, "TPO": 0.3},
        amines_wt_pct={"EDB": amine_wt_pct} if amine_wt_pct else {},
        thickness_m=50e-6,
        sensitiser_pairs=pairs or {},
    )


def model(gel: Gel) -> FilmModel:
    return film_model(CureCase(gel=gel, lamp=LAMP, exposure_s=10.0), SolverSettings())


def absorbed_1_m(film: FilmModel, what: str) -> NDArray[np.float64]:
    return np.asarray(
        sum(np.asarray(getattr(a, what)) * float(np.mean(a.concentration_mol_m3)) for a in film.absorbers)
    )


def test_table_is_complete_and_conservative() -> None:
    pairs = sensitiser_pairs().values()
    assert len(pairs) == 22
    for pair in pairs:
        assert photoinitiator(pair.donor).mechanism == "type_II"
        assert photoinitiator(pair.acceptor).key == pair.acceptor
        assert pair.source in read_sources()
        assert pair.kind in ("estimated", "assumed")
        assert pair.note
        # no yield of any of these pairs is known, so none is counted
        assert pair.efficiency_fraction == 0.0
        assert pair.half_saturation_mol_m3 > 0.0
    uphill = {pair.acceptor for pair in pairs if pair.uphill_j_mol is not None and pair.uphill_j_mol > 10e3}
    assert uphill == {"DMPA", "HCPK", "HMPP"}


def test_shares_by_hand() -> None:
    pair = replace(sensitiser_pairs()["ITX", "TPO"], efficiency_fraction=0.5)
    # Q = h, no amine: half of the triplets meet TPO, half of these count
    assert transferred_shares([pair], [5.0], 0.0, 2.0) == pytest.approx([0.25])
    # amine of nine half saturations: Q/h = 1 of 1 + 9 + 1
    assert transferred_shares([pair], [5.0], 18.0, 2.0) == pytest.approx([0.5 / 11.0])
    # two acceptors share: 1 and 3 of 1 + 1 + 3
    assert transferred_shares([pair, pair], [5.0, 15.0], 0.0, 2.0) == pytest.approx([0.1, 0.3])


def test_no_efficiency_leaves_the_film_alone() -> None:
    film = model(made())
    assert with_energy_transfer(film, made()) is film
    assert with_energy_transfer(film, made(pairs={"ITX > TPO": 0.0})) is film


def test_light_is_only_booked_elsewhere() -> None:
    gel = made(pairs={"ITX > TPO": 0.8}, amine_wt_pct=0.5)
    before, after = model(gel), with_energy_transfer(model(gel), gel)
    assert absorbed_1_m(after, "napierian_m2_mol") == pytest.approx(
        absorbed_1_m(before, "napierian_m2_mol"), rel=1e-12
    )
    # the bleached film: TPO is clear, the thioxanthone as dark as ever, whoever its light is booked to
    assert absorbed_1_m(after, "product_m2_mol") == pytest.approx(
        absorbed_1_m(before, "product_m2_mol"), rel=1e-12
    )
    donor = [float(np.asarray(film.absorbers[0].napierian_m2_mol)[0]) for film in (before, after)]
    assert 0.0 < donor[1] < donor[0]


def test_two_acceptors_of_one_donor_share_its_light() -> None:
    gel = made(pairs={"ITX > TPO": 1.0, "ITX > BAPO": 1.0}).with_initiators(
        {"TPO": 0.3, "BAPO": 0.3, "ITX": 0.1}
    )
    before, after = model(gel), with_energy_transfer(model(gel), gel)
    assert absorbed_1_m(after, "napierian_m2_mol") == pytest.approx(
        absorbed_1_m(before, "napierian_m2_mol"), rel=1e-12
    )
    # no amine: 1 of 1 + Q/h of each is left to the donor
    met = [float(np.mean(each.concentration_mol_m3)) / 5.0 for each in before.absorbers[:2]]
    kept = np.asarray(after.absorbers[2].napierian_m2_mol) / np.asarray(before.absorbers[2].napierian_m2_mol)
    assert kept == pytest.approx(np.full(kept.size, 1.0 / (1.0 + sum(met))), rel=1e-9)


def test_transfer_cures_more_and_uses_up_the_acceptor() -> None:
    plain, helped = (cure(made(pairs={"ITX > TPO": x}), LAMP, exposure_s=10.0) for x in (0.0, 1.0))
    assert helped.mean_conversion_fraction > plain.mean_conversion_fraction + 0.02
    assert helped.residual_initiator_fraction["TPO"] < plain.residual_initiator_fraction["TPO"]
    assert helped.residual_initiator_fraction["ITX"] == pytest.approx(1.0)
    assert helped.balances.worst < 1e-3
    assert helped.absorbed_photon_fraction == pytest.approx(plain.absorbed_photon_fraction, rel=0.05)


def test_amine_takes_the_donor_away_from_the_acceptor() -> None:
    gain = []
    for amine in (0.01, 1.0):
        used = [
            1.0
            - cure(
                made(pairs={"ITX > TPO": x}, amine_wt_pct=amine), LAMP, exposure_s=5.0
            ).residual_initiator_fraction["TPO"]
            for x in (0.0, 1.0)
        ]
        gain.append(used[1] - used[0])
    assert gain[0] > 3.0 * gain[1] > 0.0


def test_flags_name_what_is_counted_and_what_is_not() -> None:
    assert pair_flags(made()) == (
        "Energy transfer from ITX to TPO is possible, its yield unknown; none is counted (sensitiser_pairs).",
    )
    (counted,) = pair_flags(made(pairs={"ITX > TPO": 0.3}))
    assert "ITX is taken to hand energy to TPO with an efficiency of 0.3" in counted
    hydroxyketone = made().with_initiators({"ITX": 0.1, "HCPK": 2.0})
    assert pair_flags(hydroxyketone) == ()
    assert pairs_in(hydroxyketone)[0].uphill_j_mol == pytest.approx(40e3)
    assert any("ITX to TPO" in flag for flag in cure(made(), LAMP, exposure_s=1.0).flags)


def test_pair_outside_the_table_may_be_named() -> None:
    gel = made(pairs={"CQ > TPO": 0.2}).with_initiators({"CQ": 0.3, "TPO": 0.3})
    (pair,) = pairs_in(gel)
    assert (pair.donor, pair.acceptor, pair.efficiency_fraction, pair.uphill_j_mol) == (
        "CQ",
        "TPO",
        0.2,
        None,
    )


def test_gel_file_keeps_its_pairs(tmp_path: Path) -> None:
    save_gel(made(pairs={"ITX > TPO": 0.3}), tmp_path / "gel.toml")
    assert '"ITX > TPO" = 0.3' in (tmp_path / "gel.toml").read_text(encoding="utf-8")
    assert load_gel(tmp_path / "gel.toml").sensitiser_pairs == {"ITX > TPO": 0.3}


@pytest.mark.parametrize(
    ("pairs", "message"),
    [
        ({"TPO > ITX": 0.3}, "TPO cleaves before it can hand on energy"),
        ({"ITX > TPO": 1.5}, "an efficiency lies between 0 and 1"),
        ({"ITX > TPO": float("nan")}, "an efficiency lies between 0 and 1"),
        ({"ITX TPO": 0.3}, "is no pair"),
        ({"ITX > ITX": 0.3}, "is no pair"),
    ],
)
def test_impossible_pairs_are_refused(pairs: dict[str, float], message: str) -> None:
    with pytest.raises(InputError, match=message):
        made(pairs=pairs)


def test_unknown_partner_is_refused() -> None:
    with pytest.raises(UnknownNameError, match="TPP"):
        made(pairs={"ITX > TPP": 0.3})
