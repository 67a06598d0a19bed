"""Absorption spectra: bands, lookups, and a user's own files in CSV and JCAMP-DX."""

import itertools
import pickle
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gelwright.lamp_library.errors import InputError
from gelwright.models.absorption import AbsorptionSpectrum, band_spectrum, band_sum, read_absorption
from gelwright.models.jcamp import read_jcamp

HEAD = """##TITLE= test
##JCAMP-DX= 4.24
##DATA TYPE= UV/VIS SPECTRUM
##XUNITS= NANOMETERS
##YUNITS= ABSORBANCE
##FIRSTX= {first}
##LASTX= {last}
##NPOINTS= {count}
##XFACTOR= 1
##YFACTOR= {factor}
"""
# the same ten ordinates in every form of JCAMP-DX 4.24
ORDINATES = [1, 2, 3, 3, 2, 1, 0, -1, -2, -3]
FORMS = {
    "plain": "400 1 2 3 3 2 1 0 -1 -2 -3",
    "packed": "400+1+2+3+3+2+1+0-1-2-3",
    "squeezed": "400ABCCBA@abc",
    "difference": "400AJJ%jjjjjj",
    "difference with repeats": "400AJJ%jX",
    "squeezed with repeats": "400ABCTBA@abc",
}


def table(lines: str, *, first: float = 400, last: float = 409, count: int = 10, factor: float = 1) -> str:
    head = HEAD.format(first=first, last=last, count=count, factor=factor)
    return f"{head}##XYDATA= (X++(Y..Y))\n{lines}\n##END=\n"


def spectrum() -> AbsorptionSpectrum:
    return AbsorptionSpectrum([350.0, 400.0, 450.0], [40.0, 20.0, 0.0], 350.0, 450.0, "chen_2007", "measured")


def test_lookup_is_linear_and_dark_beyond_the_red_end() -> None:
    assert spectrum().at([350.0, 375.0, 425.0, 450.0, 600.0]).tolist() == [40.0, 30.0, 10.0, 0.0, 0.0]


def test_lookup_below_the_blue_end_is_refused() -> None:
    with pytest.raises(InputError, match="asked at 340 nm; it starts at 350 nm"):
        spectrum().at([340.0, 400.0])


def test_covered_range() -> None:
    assert spectrum().covers(350.0, 450.0)
    assert not spectrum().covers(349.0, 400.0)
    assert not band_spectrum("HCPK").covers(365.0, 405.0)


def test_arrays_are_locked_also_after_pickling() -> None:
    for each in (spectrum(), pickle.loads(pickle.dumps(spectrum()))):
        with pytest.raises(ValueError, match="read-only"):
            each.molar_absorption_coefficient_m2_mol[0] = 1.0


@pytest.mark.parametrize(
    ("wavelengths", "values", "message"),
    [
        ([400.0, 390.0], [1.0, 1.0], "ascend"),
        ([400.0, 410.0], [1.0, -0.1], "at 410 nm is -0.1 m2 mol-1; it must be >= 0"),
        ([400.0, 410.0], [1.0], "2 wavelengths for 1"),
        ([400.0, 410.0], [1.0, float("nan")], "must be >= 0"),
    ],
)
def test_impossible_spectra_are_refused(wavelengths: list[float], values: list[float], message: str) -> None:
    with pytest.raises(InputError, match=message):
        AbsorptionSpectrum(wavelengths, values, 400.0, 410.0, "x", "measured")


def test_one_band_by_hand() -> None:
    assert band_sum([400.0, 410.0, 420.0], [400.0], [20.0], [100.0]) == pytest.approx([100.0, 50.0, 6.25])


def test_a_substance_without_bands_is_named() -> None:
    with pytest.raises(InputError, match=r"absorption_bands\.csv: absorption bands of DMAEMA are missing"):
        band_spectrum("DMAEMA")


def test_csv_with_molar_values(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    path.write_text("wavelength_nm,molar_absorption_coefficient_l_mol_cm\n405,218\n385,463\n")
    read = read_absorption(path)
    assert read.wavelength_nm.tolist() == [385.0, 405.0]
    assert read.molar_absorption_coefficient_m2_mol == pytest.approx([46.3, 21.8])
    assert (read.valid_from_nm, read.valid_to_nm, read.source, read.kind) == (
        385.0,
        405.0,
        "own.csv",
        "measured",
    )


@pytest.mark.parametrize("declared_in_file", [True, False])
def test_csv_with_absorbance(tmp_path: Path, declared_in_file: bool) -> None:
    # A 0.5 at 2.26 mmol/L in 1 cm is 221 L/mol/cm
    path = tmp_path / "own.csv"
    preamble = "# concentration_mol_l = 0.00226\n# path_length_cm: 1\n" if declared_in_file else ""
    path.write_text(preamble + "wavelength_nm;absorbance\n400;0,6\n405;0,5\n")
    arguments = {} if declared_in_file else {"concentration_mol_l": 0.00226, "path_length_cm": 1.0}
    read = read_absorption(path, **arguments)
    assert read.at([405.0])[0] * 10 == pytest.approx(221.2, abs=0.1)


def test_absorbance_needs_both_declarations(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    path.write_text("wavelength_nm,absorbance\n400,0.6\n405,0.5\n")
    with pytest.raises(InputError, match=r"own\.csv: .* state concentration_mol_l \[mol/L\]"):
        read_absorption(path, path_length_cm=1.0)
    with pytest.raises(InputError, match=r"state path_length_cm \[cm\]"):
        read_absorption(path, concentration_mol_l=1e-3)
    with pytest.raises(InputError, match=r"path_length_cm is 0 cm; it must be > 0"):
        read_absorption(path, concentration_mol_l=1e-3, path_length_cm=0.0)


def test_csv_without_a_known_column_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    path.write_text("wavelength_nm,extinction\n400,0.6\n405,0.5\n")
    with pytest.raises(InputError, match="columns are wavelength_nm, extinction; give"):
        read_absorption(path)


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS.keys())
def test_every_jcamp_form_holds_the_same_ten_ordinates(form: str) -> None:
    wavelength, values = read_jcamp(table(form, factor=0.5), "x.dx")
    assert wavelength.tolist() == list(range(400, 410))
    assert values.tolist() == [0.5 * each for each in ORDINATES]


def test_a_squeezed_e_is_not_an_exponent() -> None:
    _, values = read_jcamp(table("400E3F4", last=401, count=2), "x.dx")
    assert values.tolist() == [53.0, 64.0]


def test_an_exponent_with_its_sign_is_read() -> None:
    _, values = read_jcamp(table("400 1.5E-2 2.5E+1", last=401, count=2), "x.dx")
    assert values.tolist() == [0.015, 25.0]


def encoded(values: list[int], per_line: int) -> str:
    """Difference form with repeats, written independently of the reader, Y-check values included."""
    digits = {"sqz": "@ABCDEFGHI abcdefghi", "dif": "%JKLMNOPQR jklmnopqr"}

    def symbol(kind: str, value: int) -> str:
        text = str(abs(value))
        positive, negative = digits[kind].split()
        head = positive[int(text[0])] if value >= 0 else negative[int(text[0]) - 1]
        return head + text[1:]

    lines, start = [], 0
    while start < len(values):
        chunk = values[start : start + per_line + 1]
        steps = [b - a for a, b in itertools.pairwise(chunk)]
        line = f"{400 + start}{symbol('sqz', chunk[0])}"
        for step, group in itertools.groupby(steps):
            repeats = str(len(list(group)))
            line += symbol("dif", step)
            if repeats != "1":
                line += "STUVWXYZs"[int(repeats[0]) - 1] + repeats[1:]
        lines.append(line)
        if len(chunk) <= per_line:
            break
        start += per_line
    return "\n".join(lines)


@given(st.lists(st.integers(-5000, 5000), min_size=2, max_size=60), st.integers(1, 12))
def test_any_numbers_survive_the_difference_form(values: list[int], per_line: int) -> None:
    text = table(encoded(values, per_line), last=400 + len(values) - 1, count=len(values))
    assert read_jcamp(text, "x.dx")[1].tolist() == values


def test_x_check_notices_a_lost_point() -> None:
    with pytest.raises(InputError, match=r"x\.dx, row 13: X-check failed \(405 against 404\)"):
        read_jcamp(table("400 1 2 3 4\n405 6 7 8 9 10"), "x.dx")


def test_y_check_notices_a_damaged_line() -> None:
    good = table("400AJJJJ\n404EJJJJJ")
    assert read_jcamp(good, "x.dx")[1].tolist() == list(range(1, 11))
    with pytest.raises(InputError, match=r"row 13: Y-check failed \(5 against 6\)"):
        read_jcamp(good.replace("AJJJJ", "AJJJK"), "x.dx")


def test_points_are_counted() -> None:
    with pytest.raises(InputError, match=r"##NPOINTS= says 10, but 9 points were read"):
        read_jcamp(table("400 1 2 3 4 5 6 7 8 9"), "x.dx")


def test_xypoints_in_descending_order(tmp_path: Path) -> None:
    path = tmp_path / "own.jdx"
    head = HEAD.format(first=405, last=385, count=2, factor=1)
    path.write_text(f"{head}##XYPOINTS= (XY..XY)\n405, 0.218; 385, 0.463\n##END=\n")
    read = read_absorption(path, concentration_mol_l=1e-3, path_length_cm=1.0)
    assert read.wavelength_nm.tolist() == [385.0, 405.0]
    assert read.at([405.0])[0] * 10 == pytest.approx(218.0)


def test_transmittance_and_wavenumbers_are_converted() -> None:
    text = table("25000 10 100", first=25000, last=25100, count=2)
    text = text.replace("NANOMETERS", "1/CM").replace("ABSORBANCE", "PERCENT TRANSMITTANCE")
    wavelength, absorbance = read_jcamp(text, "x.dx")
    assert wavelength == pytest.approx([400.0, 398.406], abs=1e-3)
    assert absorbance == pytest.approx([1.0, 0.0], abs=1e-12)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("##XYDATA", "##PEAKTABLE", "no ##XYDATA or ##XYPOINTS"),
        ("NANOMETERS", "PARSECS", "##XUNITS= is 'PARSECS'; use NANOMETERS"),
        ("ABSORBANCE", "COUNTS", "##YUNITS= is 'COUNTS'; use ABSORBANCE"),
        ("ABSORBANCE", "TRANSMITTANCE", "transmittance runs from -3 to 3"),
        ("##FIRSTX= 400", "##FIRSTX= blue", "##FIRSTX= is 'blue'; a number is needed"),
        ("(X++(Y..Y))", "(X++(R..R))", "only .* is read"),
        ("400 1 2", "400 1 ? 2", "no meaning in JCAMP-DX"),
        ("400 1 2", "400 J 2", "needs a value before it"),
    ],
)
def test_damaged_jcamp_is_refused_in_one_line(old: str, new: str, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        read_jcamp(table(FORMS["plain"]).replace(old, new), "x.dx")
    assert "\n" not in str(caught.value)


@given(
    st.text(alphabet="0123456789.+-,; @ABEJKSTZabjks%?#=$\n", max_size=60),
    st.sampled_from(["##XYDATA= (X++(Y..Y))", "##XYPOINTS= (XY..XY)"]),
)
def test_damage_is_refused_in_one_line_or_the_count_is_right(lines: str, form: str) -> None:
    text = f"{HEAD.format(first=400, last=409, count=10, factor=1)}{form}\n{lines}\n##END=\n"
    message = ""
    try:
        wavelength, values = read_jcamp(text, "x.dx")
    except InputError as error:
        message = str(error)
        wavelength = values = np.zeros(10)
    assert "\n" not in message
    assert wavelength.size == values.size == 10


def test_an_endless_repeat_is_refused() -> None:
    with pytest.raises(InputError, match="repeated 1999999998 times"):
        read_jcamp(table("400AS999999999"), "x.dx")
