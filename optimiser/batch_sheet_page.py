"""A batch sheet as one printed page with fields for lots, masses, checks and signatures.

The fields follow what good manufacturing practice for cosmetics asks a batch record to hold (ISO 22716:2007): identified
lots, documented formula and process, checked balances, in-process controls, deviations, decisions with signatures.
"""

from __future__ import annotations

from pathlib import Path

from .batch_sheet import Sheet, version_text
from .batch_sheet_text import (
    BAND,
    PRACTICE,
    REFERENCE,
    carrier_sentence,
    error_text,
    expected_cells,
    light_sentence,
    mass,
    names_of,
    premix_dose,
    premix_name,
    premix_parts,
    rounding_sentences,
    settling_sentence,
    trial_sentence,
    warning_sentences,
)
from .cautions import short_cautions
from .page_layout import Column, Page, one_page
from .weighing import Line

TINY = 5.6
WARN = "#A40000"
RELEASE = (
    ("viscosity / Pa s", "±15 % (common practice)"), ("colour, appearance", "as reference, no specks"), ("density", "as reference"),
    ("cure in the client's lamp", "figures above"), ("yield / g, label text", ""), ("retained sample / g, place", ""),
)  # fmt: skip
IN_PROCESS = (
    ("dissolved clear, by eye", ""), ("temperature / °C, highest", "50"), ("mixer speed, time", ""),
    ("fineness of grind / µm", ""), ("filter / µm", ""), ("de-air, rest / h", ""),
)  # fmt: skip


def write_page(sheet: Sheet, file: Path, paper: str) -> Path:
    """Write a batch sheet as one page.

    Parameters
    ----------
    sheet : Sheet
        What to show.
    file : Path
        ``.pdf``, ``.png`` or ``.svg``.
    paper : str
        ``a4`` or ``letter``.

    Returns
    -------
    Path
        The file.
    """
    return one_page(lambda page: _draw(sheet, page), paper, file)


def _draw(sheet: Sheet, page: Page) -> None:
    _head(sheet, page)
    _lines(sheet, page)
    _premixes(sheet, page)
    _controls(page)
    _trial(sheet, page)
    _release(page)
    page.heading("Cautions")
    page.paragraph(" ".join([*sheet.law, *short_cautions()]), size_pt=TINY)


def _head(sheet: Sheet, page: Page) -> None:
    recipe, weighing = sheet.recipe, sheet.weighing
    page.paragraph(f"Batch sheet for a trial: {recipe.title}", size_pt=11.5, bold=True)
    if recipe.is_demonstration:
        page.paragraph("Invented demonstration data.", bold=True, colour=WARN)
    page.paragraph(f"Coat: {recipe.gel.coat}. From {recipe.origin}; {version_text()}.", size_pt=TINY)
    page.gap(0.8)
    fields = (
        "batch no.", f"batch size {mass(sheet, weighing.batch_g)} g", "date, start and end",
        "operator", f"balance, {weighing.resolution_g:g} g; checked on", "checker",
    )  # fmt: skip
    columns = [Column(head="", share=share) for share in (0.18, 0.153) * 3]
    rows = [[cell for name in fields[i : i + 3] for cell in (name, "")] for i in (0, 3)]
    page.table(columns, rows, least_mm=5.0)


def _lines(sheet: Sheet, page: Page) -> None:
    page.heading("Weighing, in this order")
    columns = [
        Column(head="", share=0.03, right=True), Column(head="raw material", share=0.2), Column(head="CAS", share=0.088),
        Column(head="wt%", share=0.057, right=True), Column(head="target / g", share=0.077, right=True),
        Column(head="weigh / g", share=0.079, right=True, bold=True), Column(head="error / %", share=0.069, right=True),
        Column(head="supplier lot, expiry", share=0.15), Column(head="weighed / g", share=0.09),
        Column(head="dev. / %", share=0.07), Column(head="initials", share=0.09),
    ]  # fmt: skip
    rows: list[list[str] | str] = []
    number = 0
    for letter, step in zip("ABCDEFGH", sheet.steps, strict=False):
        amber = "  [amber light]" if step.needs_dark else ""
        rows.append(f"{letter}  {step.words}: {step.reason}{amber}")
        for key in step.keys:
            number += 1
            rows.append(_line(sheet, number, sheet.weighing.line(key)))
    rows.append(["", "sum", "", "100", "", mass(sheet, sheet.weighing.batch_g), "", "", "", "", ""])
    page.table(columns, rows)
    page.gap(0.5)
    error = "Error: rounding, and twice the least repeatability of such a balance (0.41 d, USP <41>)."
    page.paragraph(f"{settling_sentence(sheet)} {error} {PRACTICE} {light_sentence(sheet)}", size_pt=TINY)


def _line(sheet: Sheet, number: int, line: Line) -> list[str]:
    names = names_of(line)
    known = names.inci_name not in ("", "not verified") and names.inci_name.lower() != line.key.lower()
    mark = " !" if line.error_pct > sheet.largest_error_pct else ""
    return [
        str(number), f"{line.key} ({names.inci_name})" if known else line.key, names.cas, f"{line.target_wt_pct:.4g}",
        f"{line.target_g:.5g}", mass(sheet, line.weighed_g), f"{error_text(line.error_pct)}{mark}", "", "", "", "",
    ]  # fmt: skip


def _premixes(sheet: Sheet, page: Page) -> None:
    if sheet.advice is None:
        return
    page.gap(0.6)
    for sentence in warning_sentences(sheet):
        page.paragraph(f"! {sentence}", colour=WARN)
    if not sheet.advice.premixes:
        return
    page.gap(0.5)
    columns = [
        Column(head="premix (recommended)", share=0.2), Column(head="weigh together", share=0.27),
        Column(head="dose for this batch", share=0.26), Column(head="lots, weighed / g", share=0.18),
        Column(head="initials", share=0.09),
    ]  # fmt: skip
    page.table(
        columns,
        [
            [premix_name(sheet, each), premix_parts(sheet, each), premix_dose(sheet, each), "", ""]
            for each in sheet.advice.premixes
        ],
        size_pt=6.2,
    )
    page.gap(0.5)
    page.paragraph(
        f"{carrier_sentence(sheet)} Keep premixes dark, labelled with date and contents.", size_pt=TINY
    )


def _controls(page: Page) -> None:
    page.heading("In process")
    columns = [Column(head="", share=share) for share in (0.17, 0.05, 0.1133) * 3]
    columns[-1].share = 1.0 - sum(column.share for column in columns[:-1])
    rows = [[cell for name, limit in IN_PROCESS[i : i + 3] for cell in (name, limit, "")] for i in (0, 3)]
    page.table(columns, rows)


def _trial(sheet: Sheet, page: Page) -> None:
    page.heading("Trial in the client's lamp: expected figures")
    page.paragraph(f"{trial_sentence(sheet)}. Peak rise: sample less blank, first cycle.")
    page.gap(0.4)
    columns = [
        Column(head="position", share=0.12), Column(head="base conversion", share=0.18),
        Column(head="peak rise at the base / K", share=0.17), Column(head="peak rise in the film / K", share=0.17),
        Column(head="second cycle / % of first", share=0.17), Column(head="measured", share=0.12), Column(head="initials", share=0.07),
    ]  # fmt: skip
    page.table(columns, [[*expected_cells(each), "", ""] for each in sheet.expected])
    page.gap(0.4)
    page.paragraph(" ".join([BAND, REFERENCE, *rounding_sentences(sheet)]), size_pt=TINY)


def _release(page: Page) -> None:
    page.heading("After mixing")
    columns = [Column(head="", share=share) for share in (0.16, 0.15, 0.19, 0.16, 0.15, 0.19)]
    rows = [[cell for name, limit in RELEASE[i : i + 2] for cell in (name, limit, "")] for i in (0, 2, 4)]
    page.table(columns, rows)
    signing = [Column(head="", share=share) for share in (0.26, 0.74)]
    page.table(signing, [["deviations, actions", ""]], least_mm=8.0)
    names = [Column(head="", share=share) for share in (0.16, 0.16, 0.12, 0.21, 0.12, 0.23)]
    page.table(
        names, [["decision, with reason", "", "made by, date", "", "checked by, date", ""]], least_mm=6.5
    )
