"""How long does one cure take? Fastest of many runs of the packed core for the demonstration gels in two lamps, 60 s lit.

Run with the package on the path: `python studies/benchmarks/core_speed.py`. Times depend on the machine; compare two versions
of the code in one sitting only.
"""

import time
from pathlib import Path

from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.core_arrays import copy_state
from gelwright.models.cure import CureCase, film_model, schedule
from gelwright.models.gel import load_gel
from gelwright.models.layout import REJECTED, STEPS
from gelwright.models.packing import pack
from gelwright.models.solver import SolverSettings, control_row, segment_rows, solve_packed

GELS = Path(__file__).parents[2] / "optimiser" / "demo" / "gels"
LAMPS = ("demo_arch_365_405", "demo_narrow_405")
REPEATS = 20


def main(folder: Path = Path("benchmark_core_speed")) -> None:
    """Print milliseconds, accepted and rejected steps of each gel and lamp; write them to core_speed.csv."""
    lines = ["gel,lamp,milliseconds,steps,rejected"]
    settings = SolverSettings()
    control, times = control_row(settings), []
    for path in sorted(GELS.glob("*.toml")):
        for lamp in LAMPS:
            case = CureCase(gel=load_gel(str(path)), lamp=load_lamp(lamp), exposure_s=60.0)
            film, state = pack(film_model(case, settings))
            segments = segment_rows(schedule(case)[:1])
            best = float("inf")
            for _ in range(REPEATS):
                start = copy_state(state)
                since = time.perf_counter()
                solution = solve_packed(film, start, segments, control, record=False)
                best = min(best, time.perf_counter() - since)
            times.append(best)
            taken, rejected = solution.totals[STEPS], solution.totals[REJECTED]
            print(
                f"{path.stem:18s} {lamp:20s} {1e3 * best:6.3f} ms {taken:4.0f} steps {rejected:3.0f} rejected"
            )
            lines.append(f"{path.stem},{lamp},{1e3 * best:.4f},{taken:.0f},{rejected:.0f}")
    print(f"mean {1e3 * sum(times) / len(times):.3f} ms")
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "core_speed.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
