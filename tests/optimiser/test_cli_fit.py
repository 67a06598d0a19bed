"""`gelwright fit` as its user runs it: report, calibrated gel, pictures, one-line errors."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure
from gelwright.models.gel import load_gel
from gelwright.models.heat import Hand
from gelwright.models.priors import prior_of
from gelwright.models.trial import Exposure, Trial, TrialSignal
from gelwright.models.trial_files import save_trial
from gelwright.models.trial_fit import TrialSet
from gelwright.optimiser.cli import app
from gelwright.optimiser.demo_data import load_any_gel

FREE = "k_p0,X_v"
TRUE_RATIO = np.array([1.3, 0.95])


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Two trials of the demonstration builder whose k_p0 and X_v are not the packaged ones."""
    place, rng = tmp_path_factory.mktemp("trials"), np.random.default_rng(4)
    lamp, time = load_lamp("demo_narrow_405"), np.arange(2.0, 61.0, 2.0)
    signal = TrialSignal(
        name="conversion", kind="conversion", place="mean", time_s=time, value=0.0 * time, noise_sd=0.01 + 0.0 * time
    )  # fmt: skip
    plain = Trial(
        trial_id="bright", gel=load_any_gel("clear_builder"), lamp=lamp, position=lamp.weakest, thickness_m=50e-6,
        exposures=(Exposure(start_s=0.0, duration_s=60.0),), hand=Hand(start_k=298.15), atmosphere="nitrogen",
        isothermal=True, signals=(signal,), is_demonstration=True,
    )  # fmt: skip
    names, written = tuple(FREE.split(",")), []
    for each in (plain, replace(plain, trial_id="dim", lamp=lamp.with_output(0.3))):
        data = TrialSet([each], names)
        run = data.predict(prior_of(each.gel, names).mean + np.log(TRUE_RATIO))[0]
        shown = replace(signal, value=run.values["conversion"] + 0.01 * rng.standard_normal(time.size))
        save_trial(replace(each, signals=(shown,)), place / each.trial_id)
        written.append(str(place / each.trial_id))
    return written


def test_report_gel_and_pictures(folders: list[str], tmp_path: Path) -> None:
    out, pictures = tmp_path / "fitted.toml", tmp_path / "pictures"
    found = CliRunner().invoke(
        app, ["fit", *folders, "--free", FREE, "--out", str(out), "--plots", str(pictures)]
    )
    assert found.exit_code == 0, found.output
    for words in (
        "Clear builder: 2 parameters fitted to 60 readings of 2 trials (bright, dim).",
        "Invented demonstration data.",
        "propagation: determined by the data",
        "all trials together",
        "from the others",
        "not a safety assessment",
    ):
        assert words in found.stdout
    assert sorted(path.name for path in pictures.iterdir()) == [
        "fit_bright.png", "fit_dim.png", "parameters.png"
    ]  # fmt: skip
    gel = load_gel(out)
    assert gel.calibration is not None
    assert gel.calibration.trials == ("bright", "dim")
    plain = load_any_gel("clear_builder")
    assert replace(gel, calibration=None) == plain
    result = cure(gel, load_lamp("demo_narrow_405"), exposure_s=20.0)
    assert any(flag.startswith("Calibrated on bright, dim: k_p0, X_v") for flag in result.flags)


def test_json_brings_the_true_values_back(folders: list[str]) -> None:
    found = CliRunner().invoke(app, ["fit", *folders, "--free", FREE, "--no-profile", "--json"])
    data = json.loads(found.stdout)
    for row, ratio in zip(data["parameters"], TRUE_RATIO, strict=True):
        assert row["log_value"] - row["prior_log"] == pytest.approx(
            np.log(ratio), abs=3.5 * row["log_standard_error"]
        )
        assert row["verdict"] == "determined"
    assert data["information"][-1]["is_done"] is False
    assert data["cautions"]


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        (["--free", "kp"], "--free: 'kp' is no parameter"),
        (["--free", " , "], "no name at all"),
        (["--out", "fitted.txt"], r"ending in \.toml"),
        (["--out", "/no/such/place/fitted.toml"], "does not exist"),
        (["--gel", "colour_coat"], "its resin base is not that of trial bright"),
    ],
)
def test_bad_options_are_one_line(folders: list[str], extra: list[str], words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        CliRunner().invoke(app, ["fit", *folders, *extra], catch_exceptions=False)
    assert "\n" not in str(caught.value)


def test_folder_without_a_trial(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no trial here"):
        CliRunner().invoke(app, ["fit", str(tmp_path)], catch_exceptions=False)


def test_existing_file_is_not_overwritten(folders: list[str], tmp_path: Path) -> None:
    kept = tmp_path / "kept.toml"
    kept.write_text("mine")
    with pytest.raises(InputError, match="exists already"):
        CliRunner().invoke(app, ["fit", *folders, "--out", str(kept)], catch_exceptions=False)
    assert kept.read_text() == "mine"
