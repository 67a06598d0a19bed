"""Trials: what they refuse, that their folder reads back, and that their prediction is the cure's and the cycles' own."""

import pickle
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import CureCase, cure
from gelwright.models.cycles import repeated_cycles
from gelwright.models.formulation import mix_resins
from gelwright.models.gel import Gel
from gelwright.models.heat import Hand
from gelwright.models.trial import Exposure, Trial, TrialSignal
from gelwright.models.trial_files import load_trial, save_trial
from gelwright.models.trial_model import predict

GEL = Gel(
    name="Test builder",
    coat="builder",
    resin_parts={"UDMA": 70.0, "HPMA": 30.0},
    initiators_wt_pct={"TPO-L": 0.6},
    stabilisers_wt_pct={"MEHQ": 0.02},
    thickness_m=200e-6,
)


def signal(name: str = "rise", kind: str = "reaction_temperature", **changed: object) -> TrialSignal:
    time = np.arange(0.5, 170.0, 0.5)
    fields: dict[str, object] = {
        "name": name,
        "kind": kind,
        "place": {"reaction_temperature": "interface"}.get(kind, "mean"),
        "blank": "cured_sample" if kind == "reaction_temperature" else "none",
        "time_s": time,
        "value": np.zeros(time.size),
        "noise_sd": np.full(time.size, 0.05),
    }
    return TrialSignal(**(fields | changed))  # type: ignore[arg-type]


def trial(**changed: object) -> Trial:
    fields: dict[str, object] = {
        "trial_id": "t1",
        "gel": GEL,
        "lamp": load_lamp("demo_arch_365_405"),
        "position": "thumb",
        "thickness_m": 200e-6,
        "exposures": (
            Exposure(start_s=0.0, duration_s=30.0),
            Exposure(start_s=90.0, duration_s=30.0),
        ),
        "signals": (signal(),),
        "is_demonstration": True,
    }
    return Trial(**(fields | changed))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"blank": "none"}, "names what was taken off"),
        ({"include": False}, "without a reason"),
        ({"noise_sd": np.zeros(339)}, "noise_sd must be above 0"),
        ({"time_s": np.linspace(-1.0, 5.0, 339)}, "increase from 0 s"),
        ({"value": np.full(339, 400.0)}, "Check unit"),
        ({"value": np.zeros(3)}, "columns of one length"),
        ({"value": np.full(339, np.nan)}, "no finite number"),
    ],
)
def test_an_impossible_signal_is_refused(changed: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        signal(**changed)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"exposures": ()}, "0 exposures"),
        ({"exposures": (Exposure(start_s=1.0, duration_s=5.0),)}, "clock starts with it"),
        (
            {"exposures": (Exposure(start_s=0.0, duration_s=5.0), Exposure(start_s=4.0, duration_s=5.0))},
            "before the one before ends",
        ),
        ({"signals": (signal(), signal())}, "two signals"),
        ({"thickness_m": 1.0}, "thickness"),
    ],
)
def test_an_impossible_trial_is_refused(changed: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        trial(**changed)


def test_unknown_names_are_refused() -> None:
    with pytest.raises(UnknownNameError):
        trial(position="toe")
    with pytest.raises(UnknownNameError):
        signal(place="ceiling")


def test_a_folder_reads_back_as_it_was_written(tmp_path: Path) -> None:
    first = trial(hand=Hand(start_k=298.15, tissue_conductivity_w_m_k=1.0), record={"operator": "A. Tester"})
    log = tmp_path / "raw.csv"
    log.write_text("time,a\n1,2\n")
    save_trial(first, tmp_path / "t1", logs=[log])
    back = load_trial(tmp_path / "t1")
    assert back.gel == first.gel
    assert back.exposures == first.exposures
    assert back.hand == first.hand
    assert back.record == first.record
    assert np.array_equal(back.signals[0].time_s, first.signals[0].time_s)
    assert (tmp_path / "t1/logs/raw.csv").read_text() == log.read_text()


@pytest.mark.parametrize("name", ["signal_rise.csv", "logs/raw.csv"])
def test_a_changed_file_is_named(tmp_path: Path, name: str) -> None:
    log = tmp_path / "raw.csv"
    log.write_text("time,a\n1,2\n")
    save_trial(trial(), tmp_path / "t1", logs=[log])
    path = tmp_path / "t1" / name
    path.write_text(path.read_text().replace("2", "3"))
    with pytest.raises(InputError, match=f"{path.name}.*has changed"):
        load_trial(tmp_path / "t1")


def test_a_trial_is_not_replaced_unasked(tmp_path: Path) -> None:
    save_trial(trial(), tmp_path / "t1")
    with pytest.raises(InputError, match="holds a trial already"):
        save_trial(trial(), tmp_path / "t1")
    save_trial(trial(), tmp_path / "t1", overwrite=True)


def test_pickled_copies_stay_locked() -> None:
    copy = pickle.loads(pickle.dumps(trial()))
    assert not copy.signals[0].value.flags.writeable
    assert copy.gel == GEL


def test_prediction_against_a_cured_sample_is_that_of_repeated_cycles() -> None:
    case = CureCase(
        gel=GEL, lamp=load_lamp("demo_arch_365_405"), exposure_s=30.0, position="thumb",
        thickness_m=200e-6, cycles=2, rest_s=60.0,
    )  # fmt: skip
    cycles = repeated_cycles(case)
    predicted = predict(trial())
    assert predicted.heat_by_exposure_j_m2[:2] == pytest.approx(cycles.heat_by_cycle_j_m2, rel=1e-3)
    time = trial().signals[0].time_s
    want = np.interp(time, cycles.time_s, cycles.interface_rise_k)
    assert predicted.values["rise"] == pytest.approx(want, abs=0.05)
    assert want.max() > 2.0


def test_conversion_and_heat_flow_are_those_of_the_cure() -> None:
    lamp = load_lamp("demo_arch_365_405")
    result = cure(GEL, lamp, exposure_s=30.0, position="thumb", thickness_m=200e-6, rest_s=60.0)
    case = trial(
        exposures=(Exposure(start_s=0.0, duration_s=30.0),),
        signals=(signal("base", "conversion", place="bottom"), signal("dsc", "heat_flow")),
    )
    predicted = predict(case)
    time = case.signals[0].time_s
    lit = time < 90.0
    assert predicted.values["base"][lit] == pytest.approx(
        np.interp(time, result.time_s, result.bottom_conversion_trace)[lit], abs=1e-3
    )
    heat = float(np.trapezoid(predicted.values["dsc"], time)) * predicted.mass_kg_m2
    assert heat == pytest.approx(float(result.heat_by_cycle_j_m2[0]), rel=0.02)
    assert predicted.mass_kg_m2 == pytest.approx(200e-6 * mix_resins(GEL.resin_parts).density_kg_m3, rel=0.02)


def test_nitrogen_and_a_held_temperature_are_obeyed() -> None:
    case = trial(
        atmosphere="nitrogen", isothermal=True, signals=(signal("top", "conversion", place="surface"),)
    )
    held = predict(case)
    in_air = predict(replace(case, atmosphere="air"))
    covered = predict(replace(case, atmosphere="closed"))
    assert in_air.values["top"][-1] + 0.01 < covered.values["top"][-1] <= held.values["top"][-1] + 1e-3
    assert held.values["top"][-1] > in_air.values["top"][-1] + 0.01


def test_the_blank_decides_how_much_of_the_lamp_stays_in_the_reading() -> None:
    # bare ground: a clear film lets nearly all light through to the nail, which it heats as it heats a bare one;
    # lamp air: the light's heat in film and nail stays in, the air's own rise goes out
    against = {
        blank: predict(trial(signals=(signal(blank=blank),))).values["rise"]
        for blank in ("cured_sample", "empty_run", "lamp_interior")
    }
    lit = signal().time_s < 30.0
    assert against["empty_run"][lit] == pytest.approx(against["cured_sample"][lit], abs=0.5)
    difference = against["lamp_interior"][lit] - against["cured_sample"][lit]
    assert 0.2 < np.abs(difference).max() < 3.0


def test_a_fit_can_change_the_film() -> None:
    slow = predict(
        trial(),
        change=lambda film: replace(
            film,
            kinetics=replace(film.kinetics, methacrylate_propagation_m3_mol_s=1e-3),  # type: ignore[type-var]
        ),
    )
    assert slow.conversion_mean[-1] < 0.5 * predict(trial()).conversion_mean[-1]
