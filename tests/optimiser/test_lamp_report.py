"""The lamp report holds every field, asks for what is missing, and invents nothing."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.lamp import load_lamp
from gelwright.lamp_library.reader import PROVENANCE_FIELDS
from gelwright.optimiser import cli
from gelwright.optimiser.lamp_report import FIELD_WORDS, missing_fields, report_text
from gelwright.optimiser.lamp_view import lamp_figures

LAMP = load_lamp("demo_arch_365_405")


def test_every_field_of_a_lamp_has_words() -> None:
    assert tuple(FIELD_WORDS) == PROVENANCE_FIELDS


def test_what_is_not_recorded_is_asked_for_and_the_rest_is_shown() -> None:
    filled = replace(LAMP, provenance=dict(LAMP.provenance) | {"instrument": "array spectroradiometer"})
    text = report_text(filled, lamp_figures(filled))
    assert "| instrument | array spectroradiometer |" in text
    for key in missing_fields(filled):
        assert f"| {FIELD_WORDS[key]} | **asked for** |" in text
        assert f"(`{key}`)" in text
    assert "instrument" not in missing_fields(filled)
    assert "**Invented demonstration data.**" in text


def test_statistics_are_those_of_the_positions() -> None:
    values = np.array([LAMP.spectrum(each).irradiance_w_m2() / 10.0 for each in LAMP.positions])
    text = report_text(LAMP, lamp_figures(LAMP))
    assert f"| *least* | {values.min():.2f} |" in text
    assert f"| *standard deviation* | {values.std(ddof=1):.2f} |" in text


def test_the_command_writes_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for wanted in (0, 2):
        with pytest.raises(SystemExit) as leaving:
            cli.main(["lamp", "report", "demo_arch_365_405", "--out", str(tmp_path / "r")])
        assert int(leaving.value.code or 0) == wanted
    out = capsys.readouterr()
    assert "fields are not filled in" in out.out
    assert "exists already" in out.err
    assert (tmp_path / "r" / "spectra.png").stat().st_size > 10_000
