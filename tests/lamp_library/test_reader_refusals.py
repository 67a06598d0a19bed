"""Every bad file is refused in one line that names file, place, rule and remedy."""

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gelwright.lamp_library import tables
from gelwright.lamp_library.errors import GelwrightError
from gelwright.lamp_library.reader import read_export


def change(row: int, column: int, text: str) -> Callable:
    def spoil(made) -> None:
        made.rows[row][column] = text

    return spoil


def drop_rows(first: int, last: int) -> Callable:
    def spoil(made) -> None:
        del made.rows[first:last]

    return spoil


def do(action: Callable) -> Callable:
    def spoil(made) -> None:
        action(made)

    return spoil


# name -> (how the good export is spoilt, what the message must say); data rows start in row 2
SPOILT = {
    "gap": (drop_rows(20, 25), r"row 22: gap in the wavelengths between 378 and 390 nm \(usual step 2 nm\)"),
    "unsorted": (do(lambda m: m.rows.insert(3, m.rows.pop(10))), r"row 6: wavelength 346 nm follows 360 nm.*[Ss]ort"),
    "duplicate": (do(lambda m: m.rows.insert(10, m.rows[10])), r"row 13: wavelength 360 nm occurs twice \(also in row 12\)"),
    "duplicate far away": (do(lambda m: m.rows.insert(30, m.rows[4])), r"row 32: .*occurs twice \(also in row 6\)"),
    "negative beyond noise": (change(3, 1, "-0.5"), r"row 5: spectral irradiance at 'thumb' is -0\.5.*dark reading"),
    "nan": (change(4, 2, "NaN"), r"row 6, column 'middle': the value is 'NaN'"),
    "blank": (change(4, 2, ""), r"row 6, column 'middle': the value is blank"),
    "blank wavelength": (change(4, 0, ""), r"row 6, column 'wavelength_nm': the value is blank"),
    "text in a number": (change(7, 1, "0.0l2"), r"row 9, column 'thumb': '0\.0l2' is not a number"),
    "underscore in a number": (change(7, 1, "1_000"), r"'1_000' is not a number"),
    "infinite": (change(7, 1, "inf"), r"'inf' is not a number"),
    "hexadecimal": (change(7, 1, "0x10"), r"'0x10' is not a number"),
    "overflow": (change(7, 1, "1e400"), r"row 9, column 'thumb': '1e400' is too large"),
    "huge": (change(7, 1, "-1e300"), r"row 9, column 'thumb': '-1e300' is too large"),
    "long text": (change(7, 1, "x" * 500), r"'x{37}\.\.\.' is not a number"),
    "few rows": (drop_rows(9, 100), r"9 wavelengths only; at least 10"),
    "no rows": (drop_rows(0, 100), r"no rows below the column heads"),
    "one column": (do(lambda m: (m.head.__delitem__(slice(1, None)), [r.__delitem__(slice(1, None)) for r in m.rows])), r"only one column"),
    "no head": (do(lambda m: m.head.__setitem__(0, "340")), r"no row of column heads with a wavelength"),
    "mixed units": (do(lambda m: m.head.__setitem__(slice(1, None), ["thumb (mW/cm2/nm)", "middle (W/m2/nm)"])), r"several units \(mW/cm2/nm, W/m2/nm\)"),
    "mixed units above": (do(lambda m: m.preamble.extend(["unit: mW/cm2/nm", "unit: uW/cm2/nm"])), r"several units"),
    "heading against option": (do(lambda m: m.preamble.append("unit: mW/cm2/nm")), r"heading says mW/cm2/nm, the option says W/m2/nm"),
    "counts": (do(lambda m: m.head.__setitem__(1, "thumb counts")), r"row 1: the values are counts"),
    "short row": (do(lambda m: m.rows[6].pop()), r"row 8: 2 cells, but 3 column heads \(separator: comma\)"),
    "long row": (do(lambda m: m.rows[6].append("1")), r"row 8: 4 cells, but 3 column heads"),
    "blank row": (do(lambda m: m.rows.insert(6, [])), r"row 8: a blank row inside the table"),
    "same name twice": (do(lambda m: m.head.__setitem__(2, "thumb")), r"row 1: two columns are called 'thumb'"),
    "no name": (do(lambda m: m.head.__setitem__(1, "")), r"row 1: column 2 has no name"),
    "undeclared dark": (do(lambda m: m.head.__setitem__(1, "dark reading")), r"looks like a dark reading; say --dark-column"),
    "micrometres": (do(lambda m: [r.__setitem__(0, str(float(r[0]) / 1000)) for r in m.rows]), r"row 2: wavelength is 0\.34; it must be 200-1100 nm"),
    "odd character": (change(5, 1, "0.5µ"), r"row 7, column 'thumb': '0.5µ' is not a number"),
    "foreign digits": (change(5, 1, "٣"), r"row 7, column 'thumb': '٣' is not a number"),
    "endless row": (change(5, 1, "1" * 200_000), r"row 7: the row has 2000\d\d characters"),
    "second wavelength": (do(lambda m: m.head.__setitem__(1, "Wavelength [nm]")), r"row 1: column 'Wavelength \[nm\]' is no position"),
    "a mean among the positions": (do(lambda m: m.head.__setitem__(2, "Mean")), r"row 1: column 'Mean' is no position"),
    "endless head": (do(lambda m: m.head.__setitem__(2, "m" * 300)), r"row 1: a column head has 300 characters"),
    "all dark": (do(lambda m: [r.__setitem__(1, "0") for r in m.rows]), r"position 'thumb' gives no light"),
    "far too bright": (do(lambda m: [r.__setitem__(1, f"{float(r[1]) * 1e3:g}") for r in m.rows]), r"nail lamps give 1-100 mW/cm2"),
}  # fmt: skip


def refuse(path: Path, **options) -> str:
    with pytest.raises(GelwrightError) as caught:
        read_export(path, **{"unit": "W/m2/nm", **options})
    message = str(caught.value)
    assert "\n" not in message
    assert len(message) < 400
    return message


@pytest.mark.parametrize("name", SPOILT)
def test_spoilt_file(export, write, name: str) -> None:
    spoil, says = SPOILT[name]
    made = export()
    read_export(write(made), unit="W/m2/nm")  # the good one passes
    spoil(made)
    message = refuse(write(made))
    assert re.search(says, message), message
    assert "lamp" in message


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "the file is empty"),
        (b" \r\n\t\n", "the file is empty"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not plain text"),
        ("wavelength,thumb\n340,1\n".encode("utf-16"), "UTF-16"),
        (b"\x01\x02\x03wavelength,thumb\n", "not plain text"),
        (b"hello world\n", "no row of column heads"),
        (b"wavelength\n340\n350\n", "only one column"),
        (b"wavelength,\n340,1\n", "only one column"),
        (b"wavelength,thumb\n", "no rows below"),
    ],
)
def test_files_that_are_no_export(write, content: bytes, says: str) -> None:
    message = refuse(write(content))
    assert says in message
    assert message.startswith("lamp.csv")


def test_missing_file_and_folder(tmp_path: Path) -> None:
    assert "no such file" in refuse(tmp_path / "none.csv")
    assert "not a file" in refuse(tmp_path)


def test_half_a_gigabyte_is_refused_without_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "huge.csv"
    with path.open("wb") as file:
        os.truncate(file.fileno(), 500_000_000)  # sparse: takes no room

    def read(self: Path) -> bytes:
        raise AssertionError("the file was read")

    monkeypatch.setattr(Path, "read_bytes", read)
    assert "500 MB; at most 50 MB" in refuse(path)


def test_the_size_limit_itself(export, write, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(export())
    monkeypatch.setattr(tables, "MAX_BYTES", path.stat().st_size)
    read_export(path, unit="W/m2/nm")
    monkeypatch.setattr(tables, "MAX_BYTES", path.stat().st_size - 1)
    refuse(path)


def test_decimal_marks_may_not_mix(export, write) -> None:
    made = export("W/m2/nm", ";", ",")
    made.rows[5][1] = "0.5"
    assert re.search(r"row 7: decimal comma and decimal point are mixed", refuse(write(made)))


def test_decimal_comma_with_comma_as_separator(export, write) -> None:
    made = export("W/m2/nm", ",", ",")
    assert "separate the columns by semicolon or tab" in refuse(write(made))


def test_thousands_separators_are_refused(export, write) -> None:
    made = export("W/m2/nm", ";", ",")
    made.rows[5][1] = "1.234,5"
    assert "thousands" in refuse(write(made))


def test_no_unit_anywhere(export, write) -> None:
    assert "no unit is declared; say which with --unit" in refuse(write(export()), unit=None)


def test_unknown_unit(export, write) -> None:
    assert "unknown unit of spectral irradiance 'lux'" in refuse(write(export()), unit="lux")


def test_long_form_refusals(write) -> None:
    rows = [f"{position};{340 + 5 * i};{1 + i % 3}" for position in ("thumb", "index") for i in range(20)]
    head = "position;wavelength_nm;value"

    def text(lines: list[str], first: str = head) -> Path:
        return write("\n".join([first, *lines]) + "\n")

    read_export(text(rows), unit="W/m2/nm")
    assert "other wavelengths than the first position" in refuse(text(rows[:-1]))
    assert "row 2: the position is blank" in refuse(text([rows[0].replace("thumb", ""), *rows[1:]]))
    extra = [f"{row};1" for row in rows]
    assert "exactly three columns" in refuse(text(extra, head + ";comment"))


def test_dark_refusals(export, write) -> None:
    path = write(export())
    assert "unknown dark column in lamp.csv 'dark'" in refuse(path, dark_column="dark")
    assert "both given" in refuse(path, dark_column="thumb", dark_file=path)
    one = export()
    one.head.pop()
    one.rows = [cells[:2] for cells in one.rows]
    assert "needs at least one position" in refuse(write(one, "one.csv"), dark_column="thumb")
    shorter = export()
    shorter.rows = shorter.rows[:-1]
    assert "other wavelengths" in refuse(path, dark_file=write(shorter, "dark.csv"))
    other = export()
    other.head[1:] = ["ring", "little"]
    assert "no dark reading for position 'thumb'" in refuse(path, dark_file=write(other, "dark.csv"))
    unit = export()
    unit.preamble = ["unit: mW/cm2/nm"]
    assert refuse(path, dark_file=write(unit, "dark.csv")).startswith(
        "dark.csv: the file's heading says mW/cm2/nm"
    )


def test_over_subtracted_dark_is_no_noise(export, write) -> None:
    dark = export()
    dark.rows = [[cells[0], "2.0"] for cells in dark.rows]
    dark.head = ["nm", "dark"]
    assert "below -1 % of the peak is no noise" in refuse(write(export()), dark_file=write(dark, "dark.csv"))


@pytest.mark.parametrize("area", [0.0, -1.0, 5.0])
def test_opening_area_out_of_range(export, write, area: float) -> None:
    message = refuse(write(export()), electrical_power_w=48.0, opening_area_m2=area)
    assert "1-10000 cm2" in message


def test_opening_area_without_power_checks_nothing_and_is_refused(export, write) -> None:
    assert "give both, or neither" in refuse(write(export()), opening_area_m2=0.02)


@given(data=st.data())
def test_no_damage_to_a_file_gets_past_the_one_line_refusal(export, tmp_path_factory, data) -> None:
    """Cut, double or overwrite any stretch: the file is read as before or refused, never a crash."""
    raw = export("uW/cm2/nm", ";", ",").text().encode()
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(raw)))
        stop = min(len(raw), start + data.draw(st.integers(0, 60)))
        raw = (
            raw[:start]
            + data.draw(st.one_of(st.binary(max_size=8), st.just(raw[start:stop] * 2)))
            + raw[stop:]
        )
    path = tmp_path_factory.mktemp("damaged") / "lamp.csv"
    path.write_bytes(raw)
    try:
        message = read_export(path, unit="uW/cm2/nm").lamp_id
    except GelwrightError as refusal:
        message = str(refusal)
    assert message.isprintable()


@pytest.mark.parametrize("power", [0.0, -5.0, 1e5])
def test_electrical_power_out_of_range(export, write, power: float) -> None:
    assert "electrical power" in refuse(write(export()), electrical_power_w=power)
