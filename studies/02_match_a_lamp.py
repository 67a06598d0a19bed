"""Which blend fits this lamp, and what happens to it in another one?

A short brief is tuned for the packaged lamp with 365 and 405 nm diodes; the blend found is then cured in every packaged
lamp. The blend passes where it was tuned and need not pass elsewhere: that is the reason for tuning. Brief, lamps and
gel are invented demonstration data; the calculation is the product's own.

Run it with ``python studies/02_match_a_lamp.py``; the picture goes to ``studies/pictures``.
"""

import tempfile
from datetime import date
from pathlib import Path

from gelwright.lamp_library.lamp import list_lamps, load_lamp
from gelwright.optimiser.brief import Brief, Margins, Uncertainty
from gelwright.optimiser.grid import run_grid
from gelwright.optimiser.grid_page import grid_picture
from gelwright.optimiser.tune import blended, resolve, tune

SLOW = True


def quiet(*words: object) -> None:
    """Progress that nobody reads here."""


def main(folder: Path) -> None:
    """Tune for one lamp, cure in all of them, draw the grid into `folder`."""
    brief = Brief(
        title="Clear builder for a lamp with 365 and 405 nm", lamps=("demo_arch_365_405",), gel_file="clear_builder",
        exposure_s=60.0, thickness_low_m=200e-6, thickness_high_m=300e-6, markets=("EU",), on_date=date(2026, 1, 15),
        professional_use=True, objective="least_initiator", allowed=("BAPO", "TPO-L"), max_initiators=2,
        margins=Margins(temperature_k=1.0, conversion_fraction=0.05), uncertainty=Uncertainty(draws=16),
        is_demonstration=True,
    )  # fmt: skip
    inputs = resolve(brief)
    with tempfile.TemporaryDirectory() as run:
        outcome = tune(inputs, Path(run), progress=quiet, say=quiet)
    best = outcome.candidates[0]
    print(f"Tuned for {inputs.lamp.lamp_id}: {best.name}")
    grid = run_grid(
        {"tuned": blended(inputs, best.blend_wt_pct)}, {key: load_lamp(key) for key in list_lamps()}
    )
    for cell in grid.cells:
        print(f"{cell.lamp_id}: {cell.outcome}. {cell.reason} {cell.rescue}")
    grid_picture(grid, folder / "tuned_blend_in_five_lamps.png")


if __name__ == "__main__":
    main(Path(__file__).parent / "pictures")
