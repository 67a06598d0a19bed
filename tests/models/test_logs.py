"""Logs as loggers write them, and what is refused, each in one line that names the remedy."""

from pathlib import Path

import numpy as np
import pytest

from gelwright.lamp_library.errors import GelwrightError, InputError
from gelwright.models.curve_log import conversion_from_residual_heat, read_conversion, read_heat_flow
from gelwright.models.log_table import read_log_table
from gelwright.models.log_time import seconds, time_column
from gelwright.models.temperature_log import kelvin, read_temperature_log


def written(folder: Path, text: str) -> Path:
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


def rows(*lines: str) -> str:
    return "\n".join(lines) + "\n"


CLOCKS = {
    "plain seconds": ("time_s,a,b", [f"{i * 0.5},2{i % 9}.1,25.0" for i in range(12)], 5.5),
    "minutes": ("Elapsed (min);a;b", [f"{i / 60:.6f};21,5;22,5" for i in range(12)], 11.0),
    "clock": (
        "Time\ta\tb",
        [f"10:59:{50 + i:02d}\t21.5\t22.5" for i in range(10)] + ["11:00:00\t21\t22"],
        10.0,
    ),
    "past midnight": ("time;a;b", [f"23:59:{56 + i}.0;21;22" for i in range(4)] + ["00:00:00.0;21;22"], 4.0),
    "half days": (
        "Time,a,b",
        [f"12:59:{55 + i} PM,21.0,22.0" for i in range(5)] + ["01:00:00 PM,21.0,22.0"],
        5.0,
    ),
    "date and time": ("timestamp,a,b", [f"2026-03-02T10:15:{i:02d}.250Z,21.0,22.0" for i in range(8)], 7.0),
    "two columns": ("Date;Time;a;b", [f"02.03.2026;10:15:{i:02d};21,0;22,0" for i in range(8)], 7.0),
    "milliseconds": ("t (ms),a,b", [f"{250 * i},21.0,22.0" for i in range(9)], 2.0),
}


@pytest.mark.parametrize("name", CLOCKS)
def test_every_kind_of_time_is_read(tmp_path: Path, name: str) -> None:
    head, lines, last = CLOCKS[name]
    table = read_log_table(written(tmp_path, rows("Logger X", "", "serial;12", head, *lines, "end of log")))
    time, _ = seconds(table, time_column(table, None))
    assert time[-1] - time[0] == pytest.approx(last, abs=1e-4)
    assert np.all(np.diff(time) > 0.0)


def test_a_clock_of_whole_seconds_is_spread(tmp_path: Path) -> None:
    lines = [f"10:00:{i // 4:02d},2{i % 7}.0" for i in range(40)]
    table = read_log_table(written(tmp_path, rows("Time,a", *lines)))
    time, notes = seconds(table, 0)
    assert np.diff(time) == pytest.approx(np.full(39, 0.25))
    assert "repeats itself" in notes[0]


def test_open_probes_are_gaps_and_remarks_are_skipped(tmp_path: Path) -> None:
    lines = [
        f"{i};{'OL' if i == 4 else 20 + i % 3};---" if i == 6 else f"{i};{'OL' if i == 4 else 21.5};22.0"
        for i in range(9)
    ]
    log = read_temperature_log(
        written(tmp_path, rows("time (s);a (°C);b (°C)", *lines[:5], "*** battery low ***", *lines[5:])),
        ("a", "b"),
    )
    assert np.flatnonzero(np.isnan(log.channels["a"])).tolist() == [4]
    assert np.flatnonzero(np.isnan(log.channels["b"])).tolist() == [6]
    assert "1 row(s) without readings were skipped: 7" in log.notes[0]


def test_fahrenheit_and_units_below_the_heads(tmp_path: Path) -> None:
    text = rows("time,a,b", "s,°F,°F", *(f"{i},77.0,68.0" for i in range(8)))
    log = read_temperature_log(written(tmp_path, text), ("a",))
    assert log.unit == "F"
    assert log.channels["a"] == pytest.approx(np.full(8, 298.15))
    assert kelvin(np.array([-40.0]), "F") == pytest.approx(kelvin(np.array([-40.0]), "C"))


GOOD = [f"{i},21.0,22.0" for i in range(8)]


@pytest.mark.parametrize(
    ("text", "more", "words"),
    [
        (rows("time_s,a,b", *GOOD), {}, "no unit of temperature is declared"),
        (rows("time_s,a C,b C", *GOOD), {"unit": "F"}, "heads say C, the sheet says F"),
        (rows("time_s,a C,b F", *GOOD), {}, "several units"),
        (rows("time,a,b", *GOOD), {"unit": "C"}, "no unit of time is declared"),
        (rows("time_s,a,b", *[f"{i},0.8,0.8" for i in range(8)]), {"unit": "C"}, "millivolts"),
        (rows("time_s,a,b", *[f"{i},294.2,294.1" for i in range(8)]), {"unit": "C"}, r"As K \(21.0 C\)"),
        (rows("time_s,a,b", *[f"{i},72.0,72.0" for i in range(8)]), {"unit": "C"}, r"As F \(22.2 C\)"),
        (rows("time_s,a,b", *[f"{i},22.0,22.0" for i in range(8)]), {"unit": "F"}, r"As C \(22.0 C\)"),
        (
            rows("time_s,a,b", *[f"{i},{'OL' if i else 21},22.0" for i in range(8)]),
            {"unit": "C"},
            "the probe was open",
        ),
        (rows("time_s,a,b", *GOOD, "3,21.0,22.0"), {"unit": "C"}, "runs backwards"),
        (rows("time_s,a,b", *GOOD, "9,21.0,22.0,23.0"), {"unit": "C"}, "4 cells, but 3 column heads"),
        (rows("time_s,a,a", *GOOD), {"unit": "C"}, "two columns are called 'a'"),
        (rows("time_s,a,b", *GOOD[:3]), {"unit": "C"}, "3 rows"),
        (rows(*GOOD), {"unit": "C"}, "no column heads"),
        (rows("nothing here", "at all"), {"unit": "C"}, "no table of readings"),
        (rows("time_s,c,d", *GOOD), {"unit": "C"}, "no column is called 'a'"),
        (
            rows("time_s,a,b", *[f"{i},21,22" for i in range(7)], "8,250,22"),
            {"unit": "C"},
            "runs from",
        ),
    ],
)
def test_bad_logs_are_one_line(tmp_path: Path, text: str, more: dict[str, str], words: str) -> None:
    with pytest.raises(GelwrightError, match=words) as caught:
        read_temperature_log(written(tmp_path, text), ("a", "b"), **more)
    assert "\n" not in str(caught.value)


def test_degree_of_cure_by_residual_heat_as_published() -> None:
    # a glossary of an instrument maker: 242.35 and 203.92 J/g give 15.9 %; its note TA389: 320 J/g in all, 79.33 and
    # 145.4 J/g left give 75.2 and 54.6 %
    for total, left, percent in ((242.35, 203.92, 15.9), (320.0, 79.33, 75.2), (320.0, 145.4, 54.6)):
        assert 100.0 * conversion_from_residual_heat(total, left) == pytest.approx(percent, abs=0.06)
    with pytest.raises(InputError, match="between 0 and the total"):
        conversion_from_residual_heat(100.0, 120.0)


def test_conversion_from_areas_needs_the_uncured_gel(tmp_path: Path) -> None:
    text = rows("time (s),cc,co", *[f"{i},{1.0 - 0.05 * max(i - 3, 0)},2.0" for i in range(12)])
    curve = read_conversion(written(tmp_path, text), "cc", "peak_area", reference="co", light_on_s=3.0)
    assert curve.value == pytest.approx(0.05 * np.arange(9.0), abs=1e-9)
    with pytest.raises(InputError, match="uncured gel is not known"):
        read_conversion(written(tmp_path, text), "cc", "peak_area", reference="co")
    percent = rows("time (s),x", *[f"{i},{7 * i}" for i in range(12)])
    with pytest.raises(InputError, match="As conversion_percent"):
        read_conversion(written(tmp_path, percent), "x", "conversion_fraction")


def test_heat_flow_direction_and_mass_are_never_guessed(tmp_path: Path) -> None:
    flow = [0.0] * 5 + [-8.0, -6.0, -4.0, -2.0, -1.0, -0.5, -0.2]
    path = written(tmp_path, rows("time (s),q", *[f"{i},{v}" for i, v in enumerate(flow)]))
    curve = read_heat_flow(path, "q", "mW", "down", mass_mg=2.0, light_on_s=5.0)
    assert curve.value[0] == pytest.approx(4000.0)
    assert read_heat_flow(path, "q", "W/g", "down", light_on_s=5.0).value[0] == pytest.approx(8000.0)
    with pytest.raises(InputError, match="turn the direction round"):
        read_heat_flow(path, "q", "mW", "up", mass_mg=2.0, light_on_s=5.0)
    with pytest.raises(InputError, match="needs the sample mass"):
        read_heat_flow(path, "q", "mW", "down", light_on_s=5.0)
