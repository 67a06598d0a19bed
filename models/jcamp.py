"""Read spectra in JCAMP-DX 4.24: plain numbers and the compressed SQZ, DIF and DUP forms.

Compressed tables carry two checks: the abscissa at the start of each line, and in DIF form the
last ordinate of a line repeated as the first of the next. Both are verified, since a single lost
character would otherwise shift the rest of the spectrum unnoticed.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.errors import InputError

FloatArray = NDArray[np.float64]

_SQZ = {c: d for d, c in enumerate("@ABCDEFGHI")} | {c: -d for d, c in enumerate("abcdefghi", start=1)}
_DIF = {c: d for d, c in enumerate("%JKLMNOPQR")} | {c: -d for d, c in enumerate("jklmnopqr", start=1)}
_DUP = {c: d for d, c in enumerate("STUVWXYZs", start=1)}
_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
# one symbol of the compressed forms: a coded digit and more digits, or a plain signed number
_TOKEN = re.compile(r"([@A-Ia-i%J-Rj-rS-Zs])(\d{0,15})|([+-]?(?:\d{1,15}\.?\d{0,15}|\.\d{1,15}))")
_MOST_POINTS = 1_000_000
_X_TOLERANCE_STEPS = 0.5
_NM_TIMES_PER_CM = 1e7
_NM_PER_UM = 1e3


@dataclass(slots=True)
class _Line:
    """Ordinates decoded so far within one line, and what the last symbol was."""

    values: list[float]
    last_difference: float | None = None


def read_jcamp(text: str, file: str) -> tuple[FloatArray, FloatArray]:
    """Wavelengths and decadic absorbances of a JCAMP-DX spectrum.

    Parameters
    ----------
    text : str
        Content of the file.
    file : str
        File name for messages.

    Returns
    -------
    wavelength_nm, absorbance : ndarray, shape (n_point,)
        In the order of the file; transmittance is turned into absorbance.

    Raises
    ------
    InputError
        If a label is missing, a unit is unknown, or the X-check or Y-check fails.

    Notes
    -----
    A plain number in exponent form needs the sign of its exponent (1.5E-2, 2.5E+1): without it the E is
    a compressed digit.

    References
    ----------
    McDonald, Wilks, JCAMP-DX: a standard form for exchange of infrared spectra, Appl. Spectrosc. 1988,
    42, 151 (version 4.24).
    """
    labels, form, rows = _split(text, file)
    if form == "XYPOINTS":
        x, y = _points(rows, labels, file)
    else:
        x, y = _ordinates(rows, labels, file)
    _check_count(labels, x, file)
    return _to_nm(x, labels, file), _to_absorbance(y, labels, file)


def _split(text: str, file: str) -> tuple[dict[str, str], str, list[tuple[int, str]]]:
    """Labels, form of the table, and its lines with their row numbers."""
    labels: dict[str, str] = {}
    rows: list[tuple[int, str]] = []
    form = ""
    for number, raw in enumerate(text.splitlines(), start=1):
        line = raw.split("$$")[0].strip()
        if line.startswith("##"):
            name, _, value = line[2:].partition("=")
            name = re.sub(r"[\s_/-]", "", name).upper()
            if name == "END":
                break
            if name in ("XYDATA", "XYPOINTS"):
                if form:
                    raise InputError(f"{file}, row {number}: a second spectrum; give a file with one.")
                form, labels["FORM"] = name, value.strip()
            elif form and rows:
                break
            else:
                labels[name] = value.strip()
        elif form and line:
            rows.append((number, line))
    if not form or not rows:
        raise InputError(f"{file}: no ##XYDATA or ##XYPOINTS table was found; export as JCAMP-DX 4.24.")
    return labels, form, rows


def _label(labels: Mapping[str, str], name: str, file: str, default: float | None = None) -> float:
    text = labels.get(name, "")
    if not text and default is not None:
        return default
    if _PLAIN.fullmatch(text) is None or not math.isfinite(float(text)):
        raise InputError(f"{file}: ##{name}= is '{text}'; a number is needed there.")
    return float(text)


def _points(
    rows: list[tuple[int, str]], labels: Mapping[str, str], file: str
) -> tuple[FloatArray, FloatArray]:
    pairs: list[tuple[float, float]] = []
    for number, line in rows:
        for pair in filter(None, (part.strip() for part in line.split(";"))):
            cells = re.split(r"\s*,\s*|\s+", pair)
            # pairs may also stand one after the other on a line: x,y x,y
            if len(cells) % 2 or not all(_PLAIN.fullmatch(cell) for cell in cells):
                raise InputError(f"{file}, row {number}: '{pair[:40]}' is not a list of x, y pairs.")
            pairs += [(float(a), float(b)) for a, b in zip(cells[::2], cells[1::2], strict=True)]
    table = np.array(pairs, dtype=np.float64)
    return table[:, 0] * _label(labels, "XFACTOR", file, 1.0), table[:, 1] * _label(
        labels, "YFACTOR", file, 1.0
    )


def _ordinates(
    rows: list[tuple[int, str]], labels: Mapping[str, str], file: str
) -> tuple[FloatArray, FloatArray]:
    if re.sub(r"\s", "", labels["FORM"]).upper() != "(X++(Y..Y))":
        raise InputError(f"{file}: the table form is '{labels['FORM']}'; only (X++(Y..Y)) is read.")
    first, last = _label(labels, "FIRSTX", file), _label(labels, "LASTX", file)
    count = int(_label(labels, "NPOINTS", file))
    if count < 2 or first == last:
        raise InputError(
            f"{file}: ##NPOINTS= is {count}, ##FIRSTX= {first:g}; at least two points are needed."
        )
    step = (last - first) / (count - 1)
    x_factor, y_factor = _label(labels, "XFACTOR", file, 1.0), _label(labels, "YFACTOR", file, 1.0)
    values: list[float] = []
    ends_in_difference = False
    for number, line in rows:
        start, decoded = _decode_line(line, f"{file}, row {number}")
        if ends_in_difference:
            if abs(decoded.values[0] - values[-1]) > 1e-6 * max(1.0, abs(values[-1])):
                raise InputError(
                    f"{file}, row {number}: Y-check failed ({decoded.values[0]:g} against {values[-1]:g}); "
                    "the file is damaged, export it again."
                )
            values.pop()
        expected = first + step * len(values)
        if abs(start * x_factor - expected) > _X_TOLERANCE_STEPS * abs(step) + 1e-9 * abs(expected):
            raise InputError(
                f"{file}, row {number}: X-check failed ({start * x_factor:g} against {expected:g}); "
                "points are missing, export it again."
            )
        values += decoded.values
        ends_in_difference = decoded.last_difference is not None
    x = first + step * np.arange(len(values), dtype=np.float64)
    return x, np.array(values, dtype=np.float64) * y_factor


def _decode_line(line: str, where: str) -> tuple[float, _Line]:
    """Abscissa at the start of a line, and its ordinates."""
    match = _PLAIN.match(line)
    if match is None:
        raise InputError(f"{where}: the line does not start with a number; export it again.")
    # an exponent would swallow the SQZ digits E and e, so the abscissa is read without one
    plain = re.match(r"[+-]?(?:\d+\.?\d*|\.\d+)", line)
    head = plain.group(0) if plain is not None and _compressed(line) else match.group(0)
    rest = line[len(head) :]
    decoded = _Line([])
    if not _compressed(line):
        cells = re.findall(_PLAIN, rest)
        if re.sub(_PLAIN, "", rest).strip(" \t,;"):
            raise InputError(f"{where}: '{rest.strip()[:40]}' holds something that is no number.")
        decoded.values = [float(cell) for cell in cells]
    else:
        _decode_symbols(rest, decoded, where)
    if not decoded.values:
        raise InputError(f"{where}: no ordinates on the line; export it again.")
    return float(head), decoded


def _compressed(line: str) -> bool:
    """Whether a line holds symbols other than those of plain numbers."""
    return re.sub(_PLAIN, "", line).strip(" \t,;+-") != "" or re.search(r"\d[Ee]\d", line) is not None


def _decode_symbols(rest: str, decoded: _Line, where: str) -> None:
    position = 0
    while position < len(rest):
        if rest[position] in " \t,":
            position += 1
            continue
        match = _TOKEN.match(rest, position)
        if match is None:
            raise InputError(f"{where}: character '{rest[position]}' has no meaning in JCAMP-DX.")
        position = match.end()
        if match.group(3) is not None:
            decoded.values.append(float(match.group(3)))
            decoded.last_difference = None
        else:
            _apply(match.group(1), match.group(2), decoded, where)


def _apply(symbol: str, digits: str, decoded: _Line, where: str) -> None:
    """Take one symbol of the compressed form into the line."""
    values = decoded.values
    if symbol in _SQZ:
        values.append(float(_leading(_SQZ, symbol, digits)))
        decoded.last_difference = None
        return
    if not values:
        raise InputError(f"{where}: the line starts with '{symbol}', which needs a value before it.")
    if symbol in _DUP:
        repeats = int(_leading(_DUP, symbol, digits)) - 1
        if repeats > _MOST_POINTS:
            raise InputError(
                f"{where}: a value is repeated {repeats} times; the file is damaged, export it again."
            )
        for _ in range(repeats):
            values.append(values[-1] + (decoded.last_difference or 0.0))
    else:
        decoded.last_difference = float(_leading(_DIF, symbol, digits))
        values.append(values[-1] + decoded.last_difference)


def _leading(code: Mapping[str, int], symbol: str, digits: str) -> str:
    return f"{code[symbol]}{digits}"


def _check_count(labels: Mapping[str, str], x: FloatArray, file: str) -> None:
    if "NPOINTS" in labels and int(_label(labels, "NPOINTS", file)) != x.size:
        raise InputError(f"{file}: ##NPOINTS= says {labels['NPOINTS']}, but {x.size} points were read.")


def _to_nm(x: FloatArray, labels: Mapping[str, str], file: str) -> FloatArray:
    unit = labels.get("XUNITS", "").upper()
    if not np.all(x > 0):
        raise InputError(f"{file}: the abscissa reaches {x.min():g}; wavelengths must be > 0.")
    if unit in ("NANOMETERS", "NANOMETRES", "NM"):
        return x
    if unit in ("1/CM", "CM-1", "CM^-1"):
        return np.asarray(_NM_TIMES_PER_CM / x)
    if unit in ("MICROMETERS", "MICROMETRES", "UM"):
        return np.asarray(x * _NM_PER_UM)
    raise InputError(f"{file}: ##XUNITS= is '{unit}'; use NANOMETERS, MICROMETERS or 1/CM.")


def _to_absorbance(y: FloatArray, labels: Mapping[str, str], file: str) -> FloatArray:
    unit = labels.get("YUNITS", "").upper()
    if unit in ("ABSORBANCE", "ABSORBANCE UNITS", "A"):
        return y
    if unit not in ("TRANSMITTANCE", "PERCENT TRANSMITTANCE", "% TRANSMITTANCE", "%T", "T"):
        raise InputError(f"{file}: ##YUNITS= is '{unit}'; use ABSORBANCE or TRANSMITTANCE.")
    fraction = y / 100.0 if unit.startswith(("%", "PERCENT")) else y
    if not (np.all(fraction > 0) and np.all(fraction <= 1.0)):
        raise InputError(
            f"{file}: transmittance runs from {fraction.min():g} to {fraction.max():g}; it must lie above 0 and "
            "up to 1 (or 100 with PERCENT TRANSMITTANCE)."
        )
    return np.asarray(-np.log10(fraction))
