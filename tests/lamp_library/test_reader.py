"""Every accepted dialect gives the same lamp."""

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.reader import read_export
from gelwright.lamp_library.unit_text import canonical_unit, declared_units

UNITS = ("W/m2/nm", "mW/m2/nm", "mW/cm2/nm", "uW/cm2/nm")


def assert_is_the_lamp(lamp) -> None:
    """200 W/m2 times 0.6 and 1.4; the exports print six digits and the line's ends are dark."""
    assert lamp.positions == ("thumb", "middle")
    assert lamp.spectrum("thumb").irradiance_w_m2() == pytest.approx(120.0, rel=1e-4)
    assert lamp.spectrum("middle").irradiance_w_m2() == pytest.approx(280.0, rel=1e-4)
    assert lamp.spectrum("thumb").wavelength_nm[[0, -1]].tolist() == [340.0, 460.0]
    assert (lamp.weakest, lamp.strongest) == ("thumb", "middle")
    assert lamp.uniformity_ratio == pytest.approx(0.6, rel=1e-4)


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize(
    ("separator", "decimal"), [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")]
)
def test_separators_decimal_marks_and_units(export, write, unit: str, separator: str, decimal: str) -> None:
    assert_is_the_lamp(read_export(write(export(unit, separator, decimal)), unit=unit))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(export, write, encoding: str, line_end: str) -> None:
    made = export("uW/cm2/nm", ";", ",")
    made.preamble = ["Prüfling;Lampe", "Einheit;µW/cm²/nm", ""]
    assert_is_the_lamp(read_export(write(made.text().replace("\n", line_end), encoding=encoding)))


def test_metadata_comments_and_trailing_blanks_do_not_disturb(export, write) -> None:
    made = export("mW/cm2/nm", ";")
    made.preamble = ["Wavelength range;340;460", "# comment", "Total irradiance: 20 mW/cm2", "Averages;8", ""]
    made.rows.insert(5, ["# integration time changed here"])
    made.rows = [[*cells, ""] if len(cells) > 1 else cells for cells in made.rows]
    made.head.append("")
    made.footer = [";;;", "", ""]
    assert_is_the_lamp(read_export(write(made), unit="mW/cm2/nm"))


@pytest.mark.parametrize(
    "head", ["wavelength", "Wavelength [nm]", "WAVELENGTH (nm)", "nm", "lambda/nm", "λ (nm)", "wl_nm"]
)
def test_wavelength_heads(export, write, head: str) -> None:
    made = export()
    made.head[0] = head
    assert_is_the_lamp(read_export(write(made), unit="W/m2/nm"))


def test_the_head_may_be_a_comment_and_the_wavelength_may_stand_last(export, write) -> None:
    made = export()
    made.head = ["# thumb", "middle", "wavelength_nm"]
    made.rows = [[*cells[1:], cells[0]] for cells in made.rows]
    assert_is_the_lamp(read_export(write(made), unit="W/m2/nm"))


@pytest.mark.parametrize(
    "heads",
    [
        ["thumb (mW/cm2/nm)", "middle (mW/cm2/nm)"],
        ["thumb [mW/cm^2/nm]", "middle [mW/cm^2/nm]"],
        ["thumb mW cm-2 nm-1", "middle mW cm-2 nm-1"],
        ["thumb_mW/cm²/nm", "middle_mW/cm²/nm"],
        ["thumb, mW/(cm2 nm)", "middle, mW/(cm2 nm)"],
    ],
)
def test_units_in_column_heads_are_taken_and_left_out_of_the_names(export, write, heads: list[str]) -> None:
    made = export("mW/cm2/nm", ";")
    made.head[1:] = heads
    assert_is_the_lamp(read_export(write(made)))


def test_units_row_below_the_heads(export, write) -> None:
    made = export("uW/cm2/nm", "\t")
    made.rows.insert(0, ["nm", "µW/cm²/nm", "µW/cm²/nm"])
    assert_is_the_lamp(read_export(write(made)))


def long_text(made, order: str = "pwv") -> str:
    columns = {"p": "position", "w": "wavelength_nm", "v": "E (W/m2/nm)"}
    lines = ["\t".join(columns[c] for c in order)]
    for number, position in enumerate(made.head[1:], start=1):
        for cells in made.rows:
            row = {"p": position, "w": cells[0], "v": cells[number]}
            lines.append("\t".join(row[c] for c in order))
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("order", ["pwv", "wpv", "wvp", "vwp"])
def test_long_form_in_any_column_order(export, write, order: str) -> None:
    assert_is_the_lamp(
        read_export(write(long_text(export()), "lamp.tsv", "utf-8" if order == "pwv" else "utf-8-sig"))
    )
    assert_is_the_lamp(read_export(write(long_text(export(), order))))


def test_descending_wavelengths_are_turned_round_with_a_note(export, write) -> None:
    made = export()
    made.rows.reverse()
    lamp = read_export(write(made), unit="W/m2/nm")
    assert_is_the_lamp(lamp)
    assert any("turned round" in note for note in lamp.notes)


def with_dark(made, offset: float = 0.05):
    made.head.append("dark")
    made.rows = [
        [nm, *(f"{float(v) + offset:.6g}" for v in values), f"{offset}"] for nm, *values in made.rows
    ]
    return made


def test_dark_column_is_subtracted(export, write) -> None:
    lamp = read_export(write(with_dark(export())), unit="W/m2/nm", dark_column="dark")
    assert_is_the_lamp(lamp)
    assert lamp.provenance["dark_subtracted"] == "yes, column dark"


def test_dark_position_of_a_long_file_is_subtracted(export, write) -> None:
    assert_is_the_lamp(read_export(write(long_text(with_dark(export()))), dark_column="dark"))


@pytest.mark.parametrize("per_position", [True, False])
def test_dark_file_is_subtracted(export, write, per_position: bool) -> None:
    made, dark = with_dark(export()), export()
    made.head.pop()
    made.rows = [cells[:-1] for cells in made.rows]
    dark.rows = [[cells[0], "0.05", "0.05"][: 3 if per_position else 2] for cells in dark.rows]
    dark.head = dark.head if per_position else ["nm", "reading"]
    lamp = read_export(write(made), unit="W/m2/nm", dark_file=write(dark, "dark.csv"))
    assert_is_the_lamp(lamp)
    assert lamp.provenance["dark_subtracted"] == "yes, file dark.csv"


def test_small_negative_noise_is_kept_and_told(export, write) -> None:
    made = export()
    made.rows[0][1] = "-0.02"
    lamp = read_export(write(made), unit="W/m2/nm")
    assert lamp.spectrum("thumb").spectral_irradiance_w_m2_nm[0] == -0.02
    assert lamp.spectrum("thumb").light().spectral_irradiance_w_m2_nm[0] == 0.0
    assert any("noise" in note and "thumb 1." in note for note in lamp.notes)


def test_a_coarse_step_is_told(export, write) -> None:
    made = export()
    made.rows = made.rows[::5]  # every 10 nm, width 14 nm
    lamp = read_export(write(made), unit="W/m2/nm")
    assert any("coarser than half" in note for note in lamp.notes)


def test_a_lamp_cut_off_by_the_grid_is_told(export, write) -> None:
    made = export()
    made.rows = made.rows[:28]  # up to 394 nm
    lamp = read_export(write(made), unit="W/m2/nm")
    assert any("still shines at the end" in note and "thumb 394 nm" in note for note in lamp.notes)


def test_a_floor_is_told(export, write) -> None:
    made = with_dark(export(), 0.03)
    made.head.pop()
    made.rows = [cells[:-1] for cells in made.rows]
    # a floor above 1e-4 of the peak joins the line; dips as noise makes them part it
    for cells in made.rows[8::8]:
        cells[1:] = ["0", "0"] if float(cells[1]) < 0.05 else cells[1:]
    lamp = read_export(write(made), unit="W/m2/nm")
    assert any("floor remains" in note for note in lamp.notes)


def test_what_an_export_does_not_tell_is_said(export, write) -> None:
    lamp = read_export(write(export()), unit="W/m2/nm", name="Client A, lamp 3", electrical_power_w=48.0)
    assert (lamp.lamp_id, lamp.name, lamp.electrical_power_w) == ("client_a_lamp_3", "Client A, lamp 3", 48.0)
    assert lamp.provenance["calibration_date"] == "not recorded"
    assert any("constant output and 25 C assumed" in note for note in lamp.notes)
    assert not lamp.is_demonstration


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("uW/cm2/nm", "uW/cm2/nm"), ("µW/cm²/nm", "uW/cm2/nm"), ("μW cm^-2 nm^-1", "uW/cm2/nm"),
        ("mW/(cm²·nm)", "mW/cm2/nm"), ("mW cm-2 nm-1", "mW/cm2/nm"), ("mW·cm⁻²·nm⁻¹", "mW/cm2/nm"),
        ("W/m^2/nm", "W/m2/nm"), ("W m-2 nm-1", "W/m2/nm"), ("w/m2/nm", "W/m2/nm"), ("W/(m2 nm)", "W/m2/nm"),
        ("mW/m²/nm", "mW/m2/nm"), ("mW / m2 / nm", "mW/m2/nm"),
    ],
)  # fmt: skip
def test_spellings_of_units(text: str, unit: str) -> None:
    assert canonical_unit(text) == unit
    assert declared_units([f"Spectral irradiance [{text}]"]) == (unit,)
    assert declared_units([f"Quantity: irradiance {text}; averages 8"]) == (unit,)


@pytest.mark.parametrize(
    "text", ["mW/cm2", "counts", "W/nm", "flow/m2/nm", "Spectral irradiance", "1000 W, 5 m2, 3 nm"]
)
def test_what_is_no_spectral_irradiance_unit(text: str) -> None:
    assert declared_units([text]) == ()
    with pytest.raises(LookupError, match="unknown unit"):
        canonical_unit(text)


def test_unit_of_heading_and_option_may_agree_in_different_spelling(export, write) -> None:
    made = export("uW/cm2/nm")
    made.preamble = ["# unit: µW/cm²/nm"]
    assert_is_the_lamp(read_export(write(made), unit="uW/cm^2/nm"))


def test_power_below_the_electrical_one_passes_and_above_is_refused(export, write) -> None:
    path = write(export())
    # mean 200 W/m2 over 0.02 m2 are 4 W
    assert (
        read_export(path, unit="W/m2/nm", electrical_power_w=4.1, opening_area_m2=0.02).electrical_power_w
        == 4.1
    )
    with pytest.raises(InputError, match=r"4 W of light, above the rated electrical 3\.9 W"):
        read_export(path, unit="W/m2/nm", electrical_power_w=3.9, opening_area_m2=0.02)


@pytest.mark.parametrize(
    ("true", "declared", "remedy"),
    [
        ("W/m2/nm", "mW/cm2/nm", "as W/m2/nm (10 times less: 20 mW/cm2)"),
        ("W/m2/nm", "mW/m2/nm", "as W/m2/nm (1000 times as much: 20 mW/cm2)"),
        ("uW/cm2/nm", "W/m2/nm", "as uW/cm2/nm (100 times less: 20 mW/cm2)"),
        ("mW/m2/nm", "mW/cm2/nm", "as mW/m2/nm (10000 times less: 20 mW/cm2)"),
        ("mW/cm2/nm", "mW/m2/nm", "as mW/cm2/nm (10000 times as much: 20 mW/cm2)"),
        ("uW/cm2/nm", "mW/cm2/nm", "as uW/cm2/nm (1000 times less: 20 mW/cm2)"),
    ],
)
def test_a_wrong_unit_is_caught_and_the_believable_one_named(
    export, write, true: str, declared: str, remedy: str
) -> None:
    with pytest.raises(InputError) as caught:
        read_export(write(export(true)), unit=declared)
    assert remedy in str(caught.value)
    assert "lamp.csv" in str(caught.value)
    assert f"read as {declared}" in str(caught.value)


def test_no_unit_helps(export, write) -> None:
    made = export()
    made.rows = [[nm, *(f"{1e8 * float(v):.6g}" for v in values)] for nm, *values in made.rows]
    with pytest.raises(InputError, match="no known unit"):
        read_export(write(made), unit="W/m2/nm")


def test_values_pass_through_unchanged(export, write) -> None:
    made = export("mW/cm2/nm")
    lamp = read_export(write(made), unit="mW/cm2/nm")
    written = np.array([float(cells[1]) for cells in made.rows])
    assert np.array_equal(lamp.spectrum("thumb").spectral_irradiance_w_m2_nm, written * 10.0)
