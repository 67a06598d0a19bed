"""A first project folder: brief, gel and lamp with comments, ready to be tuned and then to be edited."""

from __future__ import annotations

import shutil
from pathlib import Path

from ..lamp_library.errors import InputError
from ..lamp_library.lamp import LAMPS_FOLDER
from .demo_data import DEMO_FOLDER

LAMP = "demo_arch_365_405"
GEL = "clear_builder"
BRIEF = """# What the blend has to do. Lines that begin with # are comments; change a value, save, tune again.
title = "Clear builder for the client's lamp"
note = "invented demonstration data; replace lamp, gel, prices and limits by your own"
demonstration = true               # set to false once nothing invented is left
seed = 1

[lamp]
names = ["lamp/lamp.toml"]         # from: gelwright lamp read EXPORT --unit mW/cm2/nm --out lamp
cure_seconds = 60                  # the client's cure time
programme = "steady"               # one of the lamp's programmes: gelwright lamp show lamp/

[gel]
file = "gel.toml"                  # its resin base is used; its initiators are searched anew

[thickness]                        # thinnest and thickest wet film on a nail, micrometres
low_um = 200
high_um = 300

[market]
names = ["EU"]                     # EU, GB, US: the law of all of them is kept
on_date = 2026-01-15               # the day the law is read for
professional_use = true

[substances]
max_initiators = 3
smallest_loading_wt_pct = 0.1      # what your balance can weigh into a trial batch
# allowed = ["BAPO", "TPO-L"]      # only these; leave out to search all of known legal status
# forbidden = ["MBF"]
# allow_unknown_status = true      # also those of which no list says whether they are allowed: check before use

[limits]                           # a blend outside any of these is no answer
bottom_conversion_min_share = 0.9  # at the base of the coat, share of what is possible
nail_bed_max_c = 45                # never raise this to make a brief pass
cem43_max_min = 1

[margins]                          # distance kept from the limits on purpose
temperature_k = 1.0
conversion_fraction = 0.05

[objective]
minimise = "least_initiator"       # least_heat, least_initiator, least_cost (needs [prices]) or least_yellowing

# [prices]                         # of every allowed substance; needed for least_cost and for fronts of cost
# currency = "EUR"
# per_kg = { BAPO = 120, TPO-L = 75, HCPK = 22, HMPP = 20, MBF = 35 }
"""
NOTES = """First steps. All data here are invented demonstration data.

1. gelwright lamp show lamp
   What light the lamp gives, finger by finger, and which initiators can use it.
2. gelwright cure gel.toml --lamp lamp/ --seconds 60 --out cure
   How the gel you have cures in it. Open cure/report.html. This one gets much too hot at 500 um: step 3 looks for a blend
   that does not, in the thinner film of brief.toml.
3. gelwright tune brief.toml --out run
   Which blend of initiators does it best. Open run/report.html, and run/customer.html for the client.
4. gelwright sheet run --batch-g 100
   Grams for a trial batch, in the order to weigh them: run/batch_sheet.pdf.

Then with your own data:

5. The client's lamp: gelwright lamp read EXPORT.csv --unit mW/cm2/nm --out client_lamp
   (the unit is the one your instrument writes; lamp/export_semicolon.csv shows what an export looks like), then
   names = ["client_lamp/lamp.toml"] in brief.toml.
6. Your resin base in gel.toml, your film and cure time in brief.toml; then tune again.
7. After the trial in the laboratory: gelwright trial --help, and gelwright fit --help to calibrate the gel with it.

A prediction is a starting point for a trial, never a release. Keep uncured gel off the skin; never raise a tissue limit to
make a brief pass; local law, a qualified safety assessor and licensed practice come first.
"""


def start_project(folder: Path) -> list[Path]:
    """Make a project folder.

    Parameters
    ----------
    folder : Path
        New or empty.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    InputError
        If the folder holds anything already, or is a file.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(f"{folder}: exists and is not an empty folder. Name a new one; nothing was written.")
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copytree(LAMPS_FOLDER / LAMP, folder / "lamp")
    shutil.copyfile(DEMO_FOLDER / "gels" / f"{GEL}.toml", folder / "gel.toml")
    (folder / "brief.toml").write_text(BRIEF, encoding="utf-8")
    (folder / "FIRST_STEPS.txt").write_text(NOTES, encoding="utf-8")
    return [folder / name for name in ("FIRST_STEPS.txt", "brief.toml", "gel.toml", "lamp")]
