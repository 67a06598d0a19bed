"""Why does the same gel behave differently in two lamps?

The clear builder gel of the demonstration set, 0.5 mm thick, is cured for 60 s at the weakest position of each packaged
lamp: how far it has reacted at each depth, and how warm the nail bed gets. Lamps, gel and their figures are invented
demonstration data; the calculation is the product's own.

Run it with ``python studies/01_one_gel_five_lamps.py``; the picture goes to ``studies/pictures``.
"""

from pathlib import Path

from gelwright.lamp_library.lamp import list_lamps, load_lamp
from gelwright.lamp_library.units import c_from_k, mw_cm2_from_w_m2, um_from_m
from gelwright.models.cure import CureCase, cure_many
from gelwright.optimiser.demo_data import load_any_gel
from gelwright.optimiser.plots import COLOURS, new_figure, save

SECONDS = 60.0
DEFAULT_LIMIT_C = 45.0


def main(folder: Path) -> None:
    """Cure the gel in every lamp and draw depth and heat into `folder`."""
    gel = load_any_gel("clear_builder")
    lamps = [load_lamp(name) for name in list_lamps()]
    results = cure_many([CureCase(gel=gel, lamp=lamp, exposure_s=SECONDS) for lamp in lamps])
    figure, (depth, heat) = new_figure(9.0, 3.8, 1, 2)
    for colour, lamp, result in zip(COLOURS, lamps, results, strict=False):
        light = mw_cm2_from_w_m2(lamp.spectrum(lamp.weakest).irradiance_w_m2())
        label = f"{lamp.lamp_id.removeprefix('demo_').replace('_', ' ')} nm, {light:.0f} mW/cm²"
        depth.plot(100 * result.conversion_fraction, um_from_m(result.depth_m), color=colour, label=label)
        heat.plot(result.time_s, c_from_k(result.nail_bed_k), color=colour)
    depth.invert_yaxis()
    depth.set_xlabel("C=C reacted / %")
    depth.set_ylabel("depth below the air / µm")
    depth.set_title("Cure through the film")
    depth.legend(frameon=False, fontsize=8)
    heat.axhline(DEFAULT_LIMIT_C, color="#888888", lw=1, ls="--")
    heat.annotate("default limit", (2 * SECONDS, DEFAULT_LIMIT_C), ha="right", va="bottom", fontsize=8)
    heat.axvline(SECONDS, color="#888888", lw=1, ls=":")
    heat.annotate("lamp off", (SECONDS, 33.0), xytext=(3, 0), textcoords="offset points", fontsize=8)
    heat.set_xlabel("time / s")
    heat.set_ylabel("nail bed / °C")
    heat.set_title("Heat at the nail bed")
    figure.suptitle(
        f"{gel.name}, {um_from_m(gel.thickness_m):.0f} µm, {SECONDS:.0f} s, weakest finger position"
    )
    save(figure, folder / "one_gel_five_lamps.png")


if __name__ == "__main__":
    main(Path(__file__).parent / "pictures")
