"""The drift command: the hidden life comes back, a gel's margin is the dimmest lamp's, and pictures are drawn."""

import json
import math
from pathlib import Path

import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.optimiser import cli
from gelwright.optimiser.demo_data import DEMO_FOLDER, reread_path

READINGS = ("arch_new", "arch_600_h", "arch_1500_h")
HIDDEN_L70_HOURS = 4480.0  # see studies/make_demo_rereads.py


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as leaving:
        cli.main(["lamp", "drift", *arguments])
    out = capsys.readouterr()
    return int(leaving.value.code or 0), out.out, out.err


def test_the_hidden_life_lies_in_the_interval(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, _ = run(capsys, *READINGS, "--json", "--plot", str(tmp_path / "drift.png"))
    data = json.loads(out)
    assert code == 0
    assert data["l70_low_hours"] < HIDDEN_L70_HOURS < data["l70_high_hours"]
    assert data["is_demonstration"]
    assert (tmp_path / "drift.png").stat().st_size > 10_000


def test_the_margin_of_a_gel_is_used_up_when_the_lamp_is_as_dim_as_it_bears(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code, out, _ = run(capsys, *READINGS, "--gel", "sheer_pink", "--seconds", "15", "--json")
    assert code == 0
    data = json.loads(out)
    gel = data["gels"][0]
    assert 0.05 <= gel["lowest_ratio"] < 1.0
    assert gel["hours"] == pytest.approx(math.log(1.0 / gel["lowest_ratio"]) / data["rate_1_hours"])
    assert gel["low_hours"] < gel["hours"] < gel["high_hours"]


def test_what_is_missing_is_asked_for_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments, words in (
        ((*READINGS, "--gel", "sheer_pink"), "--seconds"),
        (("demo_arch_365_405", "arch_600_h"), "hours of use are not recorded"),
        (("arch_new", "arch_600_h", "--hours", "a,b"), "numbers separated by commas"),
        (("arch_600_h", "arch_new"), "must ascend"),
    ):
        code, out, err = run(capsys, *arguments)
        assert (code, out) == (2, "")
        assert words in err
        assert err.count("\n") == 1


def test_packaged_rereads_are_invented_and_load() -> None:
    for name in READINGS:
        path = reread_path(name)
        assert path is not None
        assert load_lamp(path).is_demonstration
    assert reread_path("clear_builder") is None
    assert len(list((DEMO_FOLDER / "rereads").iterdir())) == len(READINGS)
