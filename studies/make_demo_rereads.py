"""What does a lamp look like that was read again twice? The demonstration lamp aged by a known law, with errors of reading.

Output falls as exp(-alpha t) with an L70 of 4480 h, what a 365 nm diode showed in continuous light at 40 C (Arques-Orobon et
al., Crystals 2020, 10, 1083); the positions differ a little, and every reading has an error of scale. Run without arguments
it rewrites optimiser/demo/rereads/; `main(folder)` writes elsewhere and draws the drift that is found.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from gelwright.lamp_library.ageing import ageing_factor
from gelwright.lamp_library.drift import lamp_drift
from gelwright.lamp_library.lamp import Lamp, load_lamp, save_lamp
from gelwright.lamp_library.spectrum import Spectrum

TARGET = Path(__file__).resolve().parents[1] / "optimiser" / "demo" / "rereads"
HIDDEN_L70_HOURS = 4480.0
SCALE_SD, POSITION_SD, SHIFT_NM_PER_1000_H = 0.008, 0.004, 0.15
READINGS = {
    "arch_new": (0.0, "2025-01-14"),
    "arch_600_h": (600.0, "2025-09-02"),
    "arch_1500_h": (1500.0, "2026-02-20"),
}


def aged_reading(lamp: Lamp, name: str, hours: float, day: str, rng: np.random.Generator) -> Lamp:
    """The lamp as an instrument sees it after some hours of light."""
    level = ageing_factor(hours, HIDDEN_L70_HOURS) * (1.0 + SCALE_SD * rng.standard_normal() * (hours > 0.0))
    spectra = {}
    for position in lamp.positions:
        spectrum = lamp.spectrum(position)
        nm = spectrum.wavelength_nm
        shift = SHIFT_NM_PER_1000_H * hours / 1000.0
        moved = np.interp(nm - shift, nm, spectrum.spectral_irradiance_w_m2_nm)
        own = level * (1.0 + POSITION_SD * rng.standard_normal() * (hours > 0.0))
        spectra[position] = Spectrum(nm, np.round(own * moved, 6))
    provenance = dict(lamp.provenance) | {
        "hours_of_use": f"{hours:g}", "measured_on": day, "expanded_uncertainty_percent": "2",
    }  # fmt: skip
    return replace(lamp, lamp_id=name, spectra=spectra, provenance=provenance)


def write_all(folder: Path) -> list[Lamp]:
    """The readings into a folder each."""
    lamp, rng = load_lamp("demo_arch_365_405"), np.random.default_rng(7)
    found = [aged_reading(lamp, name, hours, day, rng) for name, (hours, day) in READINGS.items()]
    for each in found:
        save_lamp(each, folder / each.lamp_id, overwrite=True)
    return found


def main(folder: Path) -> None:
    """Write the readings into a folder and draw what is found in them."""
    from gelwright.optimiser.lamp_drift_text import drift_picture

    drift_picture(lamp_drift(write_all(folder / "rereads"), repeat_fraction=0.01), (), folder / "drift.png")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        write_all(TARGET)
