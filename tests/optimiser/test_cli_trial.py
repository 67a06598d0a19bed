"""Trials from the command line: sound ones give the hidden truth back, faulty ones are noticed, folders keep what they hold."""

import json
from html import escape
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.models.exotherm_cycles import GLASSY_WARNING
from gelwright.models.trial_files import load_trial
from gelwright.optimiser import cli
from gelwright.optimiser.demo_data import DEMO_FOLDER, list_demo_sheets
from gelwright.optimiser.trial_command import list_trials, read_into, run_folder
from gelwright.optimiser.trial_picture import trial_panels
from gelwright.optimiser.trial_run import TrialRun, trial_data, trial_text

# Heat of the second exposure over the first, and start of the exposures, in the hidden truth behind the logs
# (studies/make_demo_trials.py prints them; see its `hidden`).
HIDDEN_SHARES = {"tip_three_cycles": 0.0, "tip_weak_lamp": 0.372}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("trials")


@pytest.fixture(scope="module")
def runs(folder: Path) -> dict[str, TrialRun]:
    return {
        name: read_into(name, folder / name, overwrite=False)
        for name in list_demo_sheets()
        if name != "fault_wrong_unit"
    }


def test_the_packaged_sheets_are_listed() -> None:
    assert len(list_demo_sheets()) == 6


@pytest.mark.parametrize("name", HIDDEN_SHARES)
def test_the_second_exposure_is_found_as_it_was_hidden(runs: dict[str, TrialRun], name: str) -> None:
    analysis = runs[name].reading.temperature
    assert analysis is not None
    assert analysis.cycles is not None
    # 0.015: heat that reaches the probe through plate and foam is not quite that of one cooling constant
    assert analysis.cycles.share[1] == pytest.approx(HIDDEN_SHARES[name], abs=0.015)
    starts = [start for start, _ in analysis.exposures_s]
    assert starts == pytest.approx([20.0, 200.0, 380.0], abs=0.5)
    assert not runs[name].faults
    assert GLASSY_WARNING in trial_text(runs[name])


def test_verdicts_of_the_sound_trials(runs: dict[str, TrialRun]) -> None:
    found = {name: trial_data(runs[name])["cycles"]["verdict"] for name in HIDDEN_SHARES}
    assert found == {"tip_three_cycles": "cured", "tip_weak_lamp": "not cured"}


def test_lag_from_the_plunge_is_the_hidden_one(runs: dict[str, TrialRun]) -> None:
    analysis = runs["tip_weak_lamp"].reading.temperature
    assert analysis is not None
    assert analysis.probe_s == pytest.approx(0.4, rel=0.02)
    assert any("moved by -7." in note for note in runs["tip_weak_lamp"].reading.notes)


def test_spike_gap_and_clock_are_remarked(runs: dict[str, TrialRun]) -> None:
    text = trial_text(runs["tip_three_cycles"])
    assert "1 spike(s) taken out of the sample" in text
    assert "No readings of the sample from 405.5 to 411.0 s" in text
    assert "The clock repeats itself" in text


def test_curves_of_other_instruments_are_read_and_compared(runs: dict[str, TrialRun]) -> None:
    run = runs["thin_film_curves"]
    ftir, dsc = (run.reading.trial.signal(name) for name in ("ftir", "dsc"))
    assert ftir.value[-20:].mean() == pytest.approx(0.737, abs=0.01)
    # heat over the heat of polymerisation of the gel is the conversion: both instruments tell the same
    heat = float(np.trapezoid(dsc.value, dsc.time_s))
    predicted = run.prediction
    per_conversion = (
        float(np.sum(predicted.heat_by_exposure_j_m2)) / predicted.mass_kg_m2 / predicted.conversion_mean[-1]
    )
    assert heat / per_conversion == pytest.approx(float(ftir.value[-20:].mean()), abs=0.02)


@pytest.mark.parametrize(
    ("name", "count"), [("tip_three_cycles", 4), ("thin_film_curves", 2), ("fault_lamp_off", 2)]
)
def test_the_page_of_a_trial_draws_its_pictures_itself(
    runs: dict[str, TrialRun], folder: Path, name: str, count: int
) -> None:
    page = (folder / name / "report.html").read_text(encoding="utf-8")
    pictures = page.split("<svg")[1:]
    assert len(pictures) == count
    assert "data:image" not in page  # a bitmap would stay light in the dark
    assert all("var(--series-" in each for each in pictures)
    for panel in trial_panels(runs[name]):
        assert escape(panel.alt) in page


@pytest.mark.parametrize(
    ("name", "words"),
    [("fault_probe_out", "may not lie in the gel"), ("fault_lamp_off", "the lamp was not on")],
)
def test_faulty_trials_are_noticed_kept_and_left_out(
    runs: dict[str, TrialRun], folder: Path, name: str, words: str
) -> None:
    assert any(words in fault for fault in runs[name].faults)
    kept = load_trial(folder / name)
    assert kept.included == ()
    assert words in kept.signals[0].reason


def test_a_wrong_unit_is_one_line_and_writes_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"As F .* it would be believable"):
        read_into("fault_wrong_unit", tmp_path / "x", overwrite=False)
    assert not (tmp_path / "x").exists()


def test_a_folder_analysed_again_says_the_same(runs: dict[str, TrialRun], folder: Path) -> None:
    again = run_folder(folder / "tip_weak_lamp")
    assert trial_text(again) == trial_text(runs["tip_weak_lamp"])
    stored = load_trial(folder / "tip_weak_lamp")
    assert stored.signals[0].value == pytest.approx(
        runs["tip_weak_lamp"].reading.trial.signals[0].value, rel=1e-6
    )


def test_a_gel_without_calibration_calibrates_nothing(runs: dict[str, TrialRun], folder: Path) -> None:
    assert "not calibrated" in trial_text(runs["tip_weak_lamp"])
    with pytest.raises(InputError, match="holds no calibration"):
        run_folder(folder / "tip_weak_lamp", "clear_builder")


def test_doubt_about_the_switch_on_is_doubt_about_a_steep_rise(runs: dict[str, TrialRun]) -> None:
    run = runs["tip_three_cycles"]
    analysis, signal = run.reading.temperature, run.reading.trial.signals[0]
    assert analysis is not None
    assert abs(analysis.exposures_s[0][0] - 20.0) < 3.0 * analysis.start_sd_s
    assert 0.02 < analysis.start_sd_s < 0.6
    assert signal.noise_sd.max() > 5.0 * float(np.median(signal.noise_sd))


def test_a_damaged_trial_is_named_and_the_rest_opens(
    runs: dict[str, TrialRun], folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = folder / "fault_lamp_off" / "signal_reaction_temperature.csv"
    kept = path.read_text()
    path.write_text(kept.replace("\n", "\n\n", 1))
    try:
        rows = list_trials(folder)
        assert [row.trial_id for row in rows if row.fault] == ["fault_lamp_off"]
        assert len(rows) == len(runs)
        with pytest.raises(SystemExit) as leaving:
            cli.main(["trial", "list", str(folder)])
        assert leaving.value.code == 0
        assert "DAMAGED" in capsys.readouterr().out
    finally:
        path.write_text(kept)


def test_commands_show_compare_and_json(
    runs: dict[str, TrialRun], folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for arguments in (
        ["trial", "show", str(folder / "tip_three_cycles"), "--plot", str(tmp_path / "a.png"), "--json"],
        ["trial", "compare", str(folder / "tip_three_cycles"), str(folder / "tip_weak_lamp")],
    ):
        with pytest.raises(SystemExit) as leaving:
            cli.main(arguments)
        assert leaving.value.code == 0
        out = capsys.readouterr().out
        if "--json" in arguments:
            assert json.loads(out)["trial"] == "tip_three_cycles"
    assert "not cured" in out
    assert "-0.0 " not in out
    assert (tmp_path / "a.png").stat().st_size > 10_000


def test_a_sheet_is_written_from_a_log_and_a_log_alone_is_no_trial(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = DEMO_FOLDER / "trials" / "tip_three_cycles.csv"
    with pytest.raises(SystemExit):
        cli.main(["trial", "sheet", str(log), "--out", str(tmp_path / "s.toml")])
    text = (tmp_path / "s.toml").read_text(encoding="utf-8")
    assert 'sample = "CH1 sample (°C)"' in text
    assert 'unit = "C"' in text
    capsys.readouterr()
    with pytest.raises(SystemExit) as leaving:
        cli.main(["trial", "read", str(log), "--out", str(tmp_path / "x")])
    assert leaving.value.code == 2
    assert "write a sheet" in capsys.readouterr().err
    # the sheet as written is read, once the log lies beside it
    (tmp_path / log.name).write_bytes(log.read_bytes())
    assert read_into(str(tmp_path / "s.toml"), tmp_path / "y", overwrite=False).reading.missing_record
