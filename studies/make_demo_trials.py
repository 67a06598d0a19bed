"""Where do the demonstration trials come from? From the model itself, with other rate coefficients than the packaged ones.

Every log in optimiser/demo/trials/ is made here: the film is cured with hidden coefficients, read by a probe with lag, offset,
drift, noise and the logger's rounding, and written in the manner of a common logger. Three logs are spoilt on purpose.
Run without arguments it rewrites the packaged files; `main(folder)` writes them elsewhere and draws what was hidden.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models import layout as at
from gelwright.models.balanced import solve_balanced
from gelwright.models.core_arrays import copy_state
from gelwright.models.cycles import blank_film
from gelwright.models.film import FilmModel, Kinetics
from gelwright.models.gel import Gel
from gelwright.models.heat import Hand
from gelwright.models.packing import pack
from gelwright.models.solver import SolverSettings, segment_rows
from gelwright.models.trial import Exposure, Trial
from gelwright.models.trial_model import predict, trial_film, trial_segments
from gelwright.optimiser.demo_data import load_any_gel

TARGET = Path(__file__).resolve().parents[1] / "optimiser" / "demo" / "trials"
LABEL = "invented demonstration data"
BEFORE_S = 20.0
# a nail tip on foam: polystyrene-like plate and foam, numbers from memory
TIP = Hand(
    start_k=298.15, nail_thickness_m=0.5e-3, nail_conductivity_w_m_k=0.18, nail_density_kg_m3=1050.0,
    nail_heat_capacity_j_kg_k=1400.0, tissue_depth_m=10e-3, tissue_conductivity_w_m_k=0.035,
    tissue_density_kg_m3=30.0, tissue_heat_capacity_j_kg_k=1400.0, perfusion_1_s=0.0,
)  # fmt: skip
TIP_LINES = """[hand]
start_c = 25.0
nail_thickness_m = 0.0005
nail_conductivity_w_m_k = 0.18
nail_density_kg_m3 = 1050.0
nail_heat_capacity_j_kg_k = 1400.0
tissue_depth_m = 0.01
tissue_conductivity_w_m_k = 0.035
tissue_density_kg_m3 = 30.0
tissue_heat_capacity_j_kg_k = 1400.0
perfusion_1_s = 0.0
"""


def hidden(film: FilmModel) -> FilmModel:
    """The coefficients that the demonstration gels really have: what a fit should come nearer to."""
    kinetics = film.kinetics
    assert isinstance(kinetics, Kinetics)
    return replace(
        film,
        kinetics=replace(
            kinetics,
            methacrylate_propagation_m3_mol_s=1.45 * kinetics.methacrylate_propagation_m3_mol_s,
            acrylate_propagation_m3_mol_s=1.45 * kinetics.acrylate_propagation_m3_mol_s,
            termination_m3_mol_s=0.8 * kinetics.termination_m3_mol_s,
        ),
    )


def trial(name: str, gel: Gel, lamp: str, position: str, thickness_um: float, cycles: int, seconds: float, rest: float,
          factor: float = 1.0, **more: object) -> Trial:  # fmt: skip
    """A trial without signals."""
    return Trial(
        trial_id=name, gel=gel, lamp=load_lamp(lamp).with_output(factor), position=position,
        thickness_m=thickness_um * 1e-6, hand=TIP, is_demonstration=True,
        exposures=tuple(Exposure(start_s=n * (seconds + rest), duration_s=seconds) for n in range(cycles)),
        **more,  # type: ignore[arg-type]
    )  # fmt: skip


def temperatures(case: Trial, end_s: float) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """True course of sample, cured blank and lamp air on the trial's clock [s], [K]."""
    settings = SolverSettings()
    segments = segment_rows(trial_segments(case, end_s))
    film, start = pack(trial_film(case, case.gel, settings, hidden))
    sample = solve_balanced(film, copy_state(start), segments, settings, case.trial_id, record=True)
    blank = solve_balanced(
        *blank_film(film, sample.state, start), segments, settings, case.trial_id, record=True
    )
    clock = sample.record[:, at.TIME]
    return {
        "sample": (clock, sample.record[:, at.INTERFACE]),
        "blank": (blank.record[:, at.TIME], blank.record[:, at.INTERFACE]),
        "air": (clock, sample.record[:, at.AIR]),
    }


def read_by_probe(
    course: tuple[np.ndarray, np.ndarray],
    times_s: np.ndarray,
    rng: np.random.Generator,
    *,
    lag_s: float,
    offset_k: float,
    noise_k: float,
    drift_k: float,
) -> np.ndarray:
    """What a slow, offset, drifting, noisy probe reads at some times [C]."""
    step = 0.02
    fine = np.arange(-BEFORE_S, times_s[-1] + step, step)
    true = np.interp(fine, *course)
    read = np.empty_like(true)
    read[0], keep = true[0], np.exp(-step / lag_s)
    for i in range(1, true.size):
        read[i] = true[i] + (read[i - 1] - true[i]) * keep
    drift = drift_k * np.clip(times_s + BEFORE_S, 0.0, None) / (times_s[-1] + BEFORE_S)
    at_times = np.interp(times_s, fine, read)
    return at_times - 273.15 + offset_k + drift + noise_k * rng.standard_normal(times_s.size)


def clock_text(seconds: float, whole: bool = False) -> str:
    """A time of day, starting at 10:14:40."""
    total = 10 * 3600 + 14 * 60 + 40 + seconds
    hour, rest = divmod(total, 3600)
    minute, second = divmod(rest, 60)
    return (
        f"{int(hour):02d}:{int(minute):02d}:{int(second):02d}"
        if whole
        else f"{int(hour):02d}:{int(minute):02d}:{second:04.1f}"
    )


def write(folder: Path, name: str, text: str) -> None:
    (folder / name).write_text(text, encoding="utf-8", newline="\n")


def three_cycles(folder: Path) -> Trial:
    """Semicolons, decimal comma, whole-second clock at 2 Hz, junk above, a spike, an open probe; cured sample as blank."""
    gel = load_any_gel("clear_builder").with_initiators({"TPO-L": 0.5, "HCPK": 0.3})
    case = trial("tip_three_cycles", gel, "demo_arch_365_405", "index", 300.0, 3, 60.0, 120.0)
    times, rng = np.arange(-BEFORE_S, 535.0, 0.5), np.random.default_rng(11)
    true = temperatures(case, 540.0)
    sample = read_by_probe(true["sample"], times, rng, lag_s=0.10, offset_k=0.35, noise_k=0.05, drift_k=0.05)
    blank = read_by_probe(true["blank"], times, rng, lag_s=0.10, offset_k=-0.10, noise_k=0.05, drift_k=0.0)
    lines = [
        f"# {LABEL}",
        "Logger 4 channels",
        "Start 02.03.2026 10:14:40",
        "",
        "Uhrzeit/Time;CH1 sample (°C);CH2 cured (°C)",
    ]
    for i, time in enumerate(times):
        shown = [f"{sample[i]:.2f}".replace(".", ","), f"{blank[i]:.2f}".replace(".", ",")]
        if i == 700:
            shown[0] = "87,31"
        if 812 <= i < 822:
            shown[0] = "OL"
        lines.append(";".join([clock_text(time + BEFORE_S, whole=True), *shown]))
    write(folder, "tip_three_cycles.csv", "\n".join(lines) + "\n")
    write(folder, "tip_three_cycles.toml", sheet(
        case, "gel_clear_low.toml", "demo_arch_365_405", "seconds = 60.0\ncount = 3",
        'log = "tip_three_cycles.csv"\nsample = "CH1 sample"\nblank = "CH2 cured"\nblank_kind = "cured_sample"\nprobe_bead_mm = 0.25',
        RECORD,
    ))  # fmt: skip
    return case


RECORD = """[record]
date = "2026-03-02"
operator = "demonstration"
substrate = "nail tip on foam"
probe = "type K, bead 0.25 mm, on the tip under the film"
wet_thickness = "{thickness}, wheel gauge"
room_c = "24"
remark = "invented demonstration data"
"""


def weak_lamp(folder: Path) -> Trial:
    """Commas, Fahrenheit, minutes, uneven sampling; the blank is a run of its own, started at another time."""
    gel = load_any_gel("clear_builder").with_initiators({"TPO-L": 0.5})
    case = trial("tip_weak_lamp", gel, "demo_narrow_385", "thumb", 400.0, 3, 30.0, 150.0, factor=0.5)
    rng = np.random.default_rng(12)
    true = temperatures(case, 540.0)
    for name, course, late in (("sample", true["sample"], 0.0), ("blank", true["blank"], 7.3)):
        times = np.sort(np.arange(-BEFORE_S, 538.0, 0.6) + rng.uniform(-0.15, 0.15, 930))
        read = read_by_probe(course, times, rng, lag_s=0.4, offset_k=0.2, noise_k=0.03, drift_k=0.03)
        lines = [f"# {LABEL}", "sep=,", "Elapsed (min),T1 (°F)"]
        lines += [
            f"{(time + BEFORE_S + late) / 60.0:.5f},{value * 1.8 + 32.0:.2f}"
            for time, value in zip(times, read, strict=True)
        ]
        write(folder, f"tip_weak_lamp_{name}.csv", "\n".join(lines) + "\n")
    step = np.arange(0.0, 12.0, 0.05)
    plunge = (
        24.0
        + 16.0 * (1.0 - np.exp(-np.maximum(step - 3.0, 0.0) / 0.4))
        + 0.03 * rng.standard_normal(step.size)
    )
    lines = [f"# {LABEL}: probe from air into warm gel", "Elapsed (s),T1 (°F)"]
    lines += [f"{time:.2f},{value * 1.8 + 32.0:.2f}" for time, value in zip(step, plunge, strict=True)]
    write(folder, "tip_weak_lamp_plunge.csv", "\n".join(lines) + "\n")
    write(folder, "tip_weak_lamp.toml", sheet(
        case, "gel_clear_weak.toml", "lamp_weak_385", "seconds = 30.0\ncount = 3",
        'log = "tip_weak_lamp_sample.csv"\nsample = "T1"\nblank_log = "tip_weak_lamp_blank.csv"\nblank = "T1"\n'
        'blank_kind = "cured_sample"\nprobe_step_log = "tip_weak_lamp_plunge.csv"\nprobe_step_channel = "T1"',
        RECORD,
    ))  # fmt: skip
    return case


def curves(folder: Path) -> Trial:
    """A conversion curve from band areas and a photocalorimeter run, both in nitrogen at a held temperature."""
    from gelwright.models.trial import TrialSignal

    gel = load_any_gel("clear_builder").with_initiators({"TPO-L": 0.5})
    rng, time = np.random.default_rng(13), np.arange(0.5, 120.0, 0.5)
    zeros, ones = np.zeros(time.size), np.ones(time.size)
    case = trial("thin_film_curves", gel, "demo_narrow_385", "index", 30.0, 1, 60.0, 60.0, factor=0.1,
                 atmosphere="nitrogen", isothermal=True, signals=(
        TrialSignal(name="ftir", kind="conversion", place="mean", time_s=time, value=zeros, noise_sd=ones),
        TrialSignal(name="dsc", kind="heat_flow", place="mean", time_s=time, value=zeros, noise_sd=ones),
    ))  # fmt: skip
    values = predict(case, change=hidden).values
    clock = np.concatenate([np.arange(-10.0, 0.5, 0.5), time])
    quiet = np.zeros(clock.size - time.size)
    conversion = np.concatenate([quiet, values["ftir"]])
    reference = 1.31 + 0.004 * rng.standard_normal(clock.size)
    area = 0.842 * reference * (1.0 - conversion) + 0.004 * rng.standard_normal(clock.size)
    lines = [f"# {LABEL}", "time (s)\tC=C band area\tC=O band area"]
    lines += [f"{t + 10.0:.1f}\t{a:.4f}\t{r:.4f}" for t, a, r in zip(clock, area, reference, strict=True)]
    write(folder, "thin_film_ftir.csv", "\n".join(lines) + "\n")
    flow = np.concatenate([quiet, values["dsc"]]) / 1000.0
    light = 0.9 * ((clock >= 0.0) & (clock < 60.0))
    for name, course in (("first", flow + light), ("second", light)):
        noisy = -2.1 * course + 0.15 + 0.02 * rng.standard_normal(clock.size)  # 2.1 mg, heat drawn downwards
        lines = [f"# {LABEL}", "time (s);heat flow (mW)"]
        lines += [f"{t + 10.0:.1f};{v:.4f}" for t, v in zip(clock, noisy, strict=True)]
        write(folder, f"thin_film_dsc_{name}.csv", "\n".join(lines) + "\n")
    text = head(case, "gel_clear_thin.toml", "lamp_tenth_385", "seconds = 60.0")
    text = text.replace(
        "thickness_um = 30.0", 'thickness_um = 30.0\natmosphere = "nitrogen"\nisothermal = true'
    )
    text += """
[conversion.ftir]
log = "thin_film_ftir.csv"
value = "C=C band area"
reference = "C=O band area"
quantity = "peak_area"
light_on_s = 10.0

[heat_flow.dsc]
log = "thin_film_dsc_first.csv"
baseline_log = "thin_film_dsc_second.csv"
value = "heat flow"
unit = "mW"
exothermic = "down"
mass_mg = 2.1
light_on_s = 10.0

"""
    write(folder, "thin_film_curves.toml", text + TIP_LINES + "\n" + RECORD.replace("{thickness}", "30 um"))
    return case


def faults(folder: Path) -> None:
    """Three trials that must be noticed: probe not in the gel, lamp not on, wrong unit."""
    gel = load_any_gel("clear_builder").with_initiators({"TPO-L": 0.5, "HCPK": 0.3})
    rng, times = np.random.default_rng(14), np.arange(-BEFORE_S, 225.0, 0.5)
    for name in ("fault_probe_out", "fault_lamp_off", "fault_wrong_unit"):
        case = trial(name, gel, "demo_arch_365_405", "index", 300.0, 2, 30.0, 90.0)
        true = temperatures(case, 240.0)
        quiet = (true["air"][0], np.full(true["air"][0].size, 298.15))
        course = {"fault_probe_out": "blank", "fault_wrong_unit": "sample"}.get(name)
        shape = {"lag_s": 0.3, "noise_k": 0.05, "drift_k": 0.05}
        sample = read_by_probe(true[course] if course else quiet, times, rng, offset_k=0.3, **shape)
        blank = read_by_probe(true["blank"] if course else quiet, times, rng, offset_k=0.0, **shape)
        if name == "fault_wrong_unit":
            sample, blank = sample * 1.8 + 32.0, blank * 1.8 + 32.0
        lines = [f"# {LABEL}: spoilt on purpose", "time_s,sample,blank"]
        lines += [f"{t + BEFORE_S:.1f},{a:.2f},{b:.2f}" for t, a, b in zip(times, sample, blank, strict=True)]
        write(folder, f"{name}.csv", "\n".join(lines) + "\n")
        starts = (
            "seconds = 30.0\nstarts_s = [20.0, 140.0]"
            if name == "fault_lamp_off"
            else "seconds = 30.0\ncount = 2"
        )
        plan = f'log = "{name}.csv"\nunit = "C"\nsample = "sample"\nblank = "blank"\nblank_kind = "cured_sample"\nprobe_time_constant_s = 0.3'
        write(
            folder,
            f"{name}.toml",
            sheet(case, "gel_clear_low.toml", "demo_arch_365_405", starts, plan, RECORD),
        )


def head(case: Trial, gel: str, lamp: str, exposures: str) -> str:
    shown = lamp if lamp.startswith("demo_") else f"./{lamp}"
    return f"""# {LABEL}
format = "gelwright trial sheet 1"
id = "{case.trial_id}"
demonstration = true

[cured]
gel = "{gel}"
lamp = "{shown}"
position = "{case.position}"
thickness_um = {case.thickness_m * 1e6:.1f}

[exposures]
{exposures}
"""


def sheet(case: Trial, gel: str, lamp: str, exposures: str, temperature: str, record: str) -> str:
    shown = record.replace("{thickness}", f"{case.thickness_m * 1e6:.0f} um")
    return f"{head(case, gel, lamp, exposures)}\n[temperature]\n{temperature}\n\n{TIP_LINES}\n{shown}"


def write_all(folder: Path) -> list[Trial]:
    """All files into a folder; returns the sound trials."""
    from gelwright.lamp_library.lamp import save_lamp
    from gelwright.models.gel import save_gel

    folder.mkdir(parents=True, exist_ok=True)
    cases = [three_cycles(folder), weak_lamp(folder), curves(folder)]
    names = ("gel_clear_low.toml", "gel_clear_weak.toml", "gel_clear_thin.toml")
    for case, name in zip(cases, names, strict=True):
        save_gel(case.gel, folder / name)
    for case, name in ((cases[1], "lamp_weak_385"), (cases[2], "lamp_tenth_385")):
        save_lamp(replace(case.lamp, lamp_id=name), folder / name, overwrite=True)
    faults(folder)
    return cases


def main(folder: Path) -> None:
    """Write the demonstration trials into a folder and draw the hidden truth beside the packaged coefficients."""
    from gelwright.optimiser.plots import new_figure, save

    cases = write_all(folder / "trials")
    figure, axes = new_figure(9.0, 3.6, columns=2)
    for axis, case in zip(axes, cases[:2], strict=True):
        for label, change in (("hidden coefficients", hidden), ("packaged coefficients", None)):
            found = predict(case, change=change)
            axis.plot(found.time_s, found.reaction_heat_w_m2 / 1000.0, label=label, lw=1.4)
        axis.set_title(case.trial_id.replace("_", " "), loc="left", fontsize=10)
        axis.set_xlabel("time / s")
        axis.set_ylabel("heat of reaction / kW m$^{-2}$")
        axis.set_xlim(-2.0, 60.0)
        axis.legend(frameon=False, fontsize=8)
    save(figure, folder / "demo_trials.png")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        write_all(TARGET)
