"""What a whole build leaves behind: the same as a single coat where it is one, and coat by coat where it is not."""

from dataclasses import asdict

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure
from gelwright.models.gel import Gel
from gelwright.models.heat import Hand
from gelwright.models.schedule import Apply, Event, Expose, Rest, Schedule, Wipe
from gelwright.models.stack import build
from gelwright.models.stack_results import StackResult

LAMP = load_lamp("demo_arch_365_405")
HAND = Hand()
BASE = Gel(
    name="base",
    coat="base",
    resin_parts={"UDMA": 60.0, "HEMA": 40.0},
    initiators_wt_pct={"TPO-L": 1.0, "BAPO": 0.5, "BP": 1.0},
    amines_wt_pct={"EDB": 1.0},
    stabilisers_wt_pct={"MEHQ": 0.03, "BHT": 0.1},
    thickness_m=100e-6,
)
TOP = Gel(
    name="top",
    coat="top",
    resin_parts={"UDMA": 50.0, "TPGDA": 50.0},
    initiators_wt_pct={"BAPO": 1.0},
    thickness_m=50e-6,
)


def on(gel: Gel) -> Apply:
    return Apply(gel=gel, arrives_k=HAND.start_k)


def run(*events: Event) -> StackResult:
    return build(Schedule(title="test", events=events), LAMP)


@pytest.fixture(scope="module")
def two_coats() -> StackResult:
    return run(
        on(BASE),
        Expose(seconds=30.0),
        Rest(seconds=20.0),
        on(TOP),
        Expose(seconds=30.0),
        Rest(seconds=20.0),
        Wipe(),
    )


def test_one_coat_leaves_what_a_single_film_leaves() -> None:
    single = cure(BASE, LAMP, exposure_s=30.0, rest_s=20.0).after_cure
    built = run(on(BASE), Expose(seconds=30.0), Rest(seconds=20.0))
    (coat,) = built.after_cure
    for kind in ("initiators", "photoproducts", "amines", "stabilisers"):
        for key, amount in getattr(single, kind).items():
            assert asdict(getattr(coat, kind)[key]) == pytest.approx(asdict(amount), rel=0.02, abs=1e-4)
    for key, free in single.free_monomers.items():
        assert asdict(coat.free_monomers[key].amount) == pytest.approx(
            asdict(free.amount), rel=0.02, abs=1e-3
        )
    assert asdict(coat.shrinkage) == pytest.approx(asdict(single.shrinkage), rel=0.01)
    assert asdict(built.tint) == pytest.approx(asdict(single.tint), rel=0.01, abs=0.01)
    assert coat.setting.lag_s == pytest.approx(single.setting.lag_s, abs=0.2)


def test_every_coat_has_its_own_substances(two_coats: StackResult) -> None:
    base, top = two_coats.after_cure
    assert set(base.initiators) == set(BASE.initiators_wt_pct)
    assert set(base.free_monomers) == set(BASE.resin_parts)
    assert set(top.initiators) == set(TOP.initiators_wt_pct)
    assert top.amines == {}
    assert set(base.stabilisers) == {"MEHQ", "BHT"}
    assert top.stabilisers == {}
    # taken to be used up alike
    assert base.stabilisers["MEHQ"].mean_wt_pct / 0.03 == pytest.approx(
        base.stabilisers["BHT"].mean_wt_pct / 0.1
    )
    assert 0.0 < base.stabilisers["MEHQ"].mean_wt_pct < 0.03
    for found, gel in ((base, BASE), (top, TOP)):
        for key, wt_pct in gel.initiators_wt_pct.items():
            assert found.initiators[key].mean_wt_pct + found.photoproducts[key].mean_wt_pct == pytest.approx(
                wt_pct
            )


def test_shrinkage_of_each_coat_follows_its_conversion(two_coats: StackResult) -> None:
    frame = two_coats.to_frame().assign(width_m=two_coats.width_m)
    for coat, found in zip(two_coats.coats, two_coats.after_cure, strict=True):
        part = frame[frame["coat_number"] == coat.number]
        mean = np.average(part["conversion_fraction"], weights=part["width_m"])
        per_conversion = found.shrinkage.mean_volume_fraction / mean
        # 22 cm3/mol times the C=C of these resins, about 5 mol/L
        assert 0.08 < per_conversion < 0.16
        assert found.shrinkage.mean_linear_fraction == pytest.approx(
            found.shrinkage.mean_volume_fraction / 3.0
        )


def test_two_coats_are_yellower_than_one(two_coats: StackResult) -> None:
    own = [found.tint.yellowness_index for found in two_coats.after_cure]
    assert two_coats.tint.yellowness_index > max(own)
    assert two_coats.tint.yellowness_index == pytest.approx(sum(own), rel=0.25)


def test_a_coat_wiped_since_still_tells_when_it_set(two_coats: StackResult) -> None:
    top = two_coats.after_cure[1]
    assert two_coats.coats[1].thickness_m < TOP.thickness_m
    assert top.setting.skin_gel_time_s is not None
    assert top.setting.skin_gel_time_s > 50.0


def test_sensitisers_left_are_one_sentence_with_their_coats(two_coats: StackResult) -> None:
    said = [flag for flag in two_coats.flags if flag.startswith("Known skin sensitisers")]
    assert len(said) == 1
    assert "coat 1: " in said[0]
    assert "HEMA" in said[0]


def test_a_coat_that_was_never_lit_has_everything_left() -> None:
    fresh = run(on(BASE), Expose(seconds=30.0), on(TOP)).after_cure[1]
    assert fresh.initiators["BAPO"].mean_wt_pct == pytest.approx(1.0)
    assert fresh.shrinkage.mean_volume_fraction == pytest.approx(0.0, abs=1e-12)
    assert fresh.setting.skin_gel_time_s is None
