"""How do loading and thickness trade cure against heat?

One initiator, BAPO, in the clear builder base, cured for 60 s in the lamp with 365 and 405 nm diodes: every pair of
loading and film thickness is simulated at the weakest position for cure and at the strongest for heat. Too little
initiator leaves the base soft; more of it heats the nail bed sooner, and a thick film narrows the window until it closes.
Gel and lamp are invented demonstration data; the calculation is the product's own.

Run it with ``python studies/03_trade_offs.py``; picture and table go to ``studies/pictures``.
"""

from pathlib import Path

import numpy as np
import pandas as pd

from gelwright.lamp_library.lamp import load_lamp
from gelwright.lamp_library.units import c_from_k, m_from_um
from gelwright.models.batch import BlendEvaluator, Scenario
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.demo_data import load_any_gel
from gelwright.optimiser.plots import new_figure, save

LOADINGS_WT_PCT = np.geomspace(0.02, 2.0, 15)
THICKNESSES_UM = np.linspace(50.0, 500.0, 10)


def sweep() -> pd.DataFrame:
    """One row per loading and thickness: share of the possible conversion at the base, peak at the nail bed."""
    gel, lamp = load_any_gel("clear_builder"), load_lamp("demo_arch_365_405")
    scenarios = [
        Scenario(lamp=lamp, position=place, thickness_m=m_from_um(float(film)), exposure_s=60.0, cycles=1)
        for film in THICKNESSES_UM
        for place in (lamp.weakest, lamp.strongest)
    ]
    found = BlendEvaluator(gel, ["BAPO"], [], scenarios)(LOADINGS_WT_PCT[:, np.newaxis])
    share = found.bottom_conversion_fraction / found.conversion_ceiling_fraction
    return pd.DataFrame(
        {
            "loading_wt_pct": np.repeat(LOADINGS_WT_PCT, len(THICKNESSES_UM)),
            "thickness_um": np.tile(THICKNESSES_UM, len(LOADINGS_WT_PCT)),
            "base_share_of_possible": share[:, 0::2].ravel(),
            "nail_bed_peak_c": c_from_k(found.nail_bed_peak_k[:, 1::2]).ravel(),
        }
    )


def main(folder: Path) -> None:
    """Sweep loading and thickness and draw the window between soft and hot into `folder`."""
    table, limits = sweep(), Limits()
    table.to_csv(folder / "loading_and_thickness.csv", index=False, float_format="%.4g")
    least, hottest = limits.bottom_conversion_min_share or 0.0, c_from_k(limits.nail_bed_max_k)

    def grid(column: str) -> np.ndarray:
        return table.pivot(index="thickness_um", columns="loading_wt_pct", values=column).to_numpy()

    cure, heat = grid("base_share_of_possible"), grid("nail_bed_peak_c")
    figure, (axes,) = new_figure(6.4, 4.4)
    room = np.minimum((cure - least) / 0.1, (hottest - heat) / 5.0)  # the nearer limit, scaled alike
    axes.contourf(LOADINGS_WT_PCT, THICKNESSES_UM, room, levels=[0.0, np.inf], colors=["#009E73"], alpha=0.25)
    soft = axes.contour(
        LOADINGS_WT_PCT, THICKNESSES_UM, cure, levels=[0.5, least], colors="#0072B2", linestyles=["--", "-"]
    )
    hot = axes.contour(
        LOADINGS_WT_PCT,
        THICKNESSES_UM,
        heat,
        levels=[42.0, hottest, 50.0],
        colors="#D55E00",
        linestyles=["--", "-", ":"],
    )
    axes.clabel(soft, fmt=lambda value: f"{100 * value:.0f} % of possible", fontsize=8)
    axes.clabel(hot, fmt=lambda value: f"{value:.0f} °C", fontsize=8)
    axes.set_xscale("log")
    axes.set_xlabel("BAPO / wt%")
    axes.set_ylabel("wet film / µm")
    axes.set_title("Shaded: cures through and stays cool", loc="left", fontsize=10, fontweight="bold")
    save(figure, folder / "loading_and_thickness.png")


if __name__ == "__main__":
    main(Path(__file__).parent / "pictures")
