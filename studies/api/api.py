"""What can be used from Python? The page of the public interface, written from the docstrings.

The list below is the public interface: everything in it keeps its name and meaning, or works for two releases more with a
warning. Anything else may change without notice.

Run it with ``python studies/api/api.py``; the page goes to ``studies/api/README.md``.
"""

import importlib
import inspect
import re
from pathlib import Path

PUBLIC: dict[str, dict[str, tuple[str, ...]]] = {
    "Lamps": {
        "gelwright.lamp_library.lamp": ("Lamp", "load_lamp", "list_lamps", "save_lamp"),
        "gelwright.lamp_library.spectrum": ("Spectrum",),
        "gelwright.lamp_library.ageing": ("aged", "on_battery"),
    },
    "Gels and what is in them": {
        "gelwright.models.gel": ("Gel", "load_gel", "save_gel"),
        "gelwright.models.materials": ("list_photoinitiators", "list_resins", "photoinitiator", "resin"),
        "gelwright.models.market": ("market_status",),
    },
    "Curing": {
        "gelwright.models.cure": ("cure", "cure_many", "CureCase"),
        "gelwright.models.results": ("CureResult",),
        "gelwright.models.batch": ("BlendEvaluator", "Scenario", "BlendFigures"),
        "gelwright.models.stack": ("build", "build_many"),
        "gelwright.models.stack_results": ("StackResult",),
    },
    "Trials and calibration": {
        "gelwright.models.trial_files": ("load_trial", "save_trial"),
        "gelwright.models.fit_trials": ("fit_trials",),
        "gelwright.models.fit_outcome": ("TrialFit",),
        "gelwright.models.rate_calibration": ("RateCalibration",),
    },
    "Deciding": {
        "gelwright.optimiser.brief": ("Brief", "Limits", "Margins", "Uncertainty"),
        "gelwright.optimiser.brief_reader": ("read_brief",),
        "gelwright.optimiser.tune": ("resolve", "tune", "Outcome"),
        "gelwright.optimiser.grid": ("run_grid", "Grid"),
        "gelwright.optimiser.demo_data": ("load_any_gel", "load_any_schedule"),
    },
    "Pictures (axes in, axes out)": {
        "gelwright.optimiser.plots": (
            "new_figure", "draw_light", "draw_conversion", "draw_film_temperature", "draw_nail_bed_temperature",
            "draw_margins", "save",
        ),
    },
}  # fmt: skip
_SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)
INTRODUCTION = (
    "# The public interface\n\nWritten from the docstrings by `python studies/api/api.py`. Inside everything is SI, and every name "
    "ends in its unit; wavelength stays in nm. Results hand out tidy tables with `to_frame()`; pictures take axes and return "
    "them. What is not on this page may change without notice.\n"
)


def entry(module: str, name: str) -> str:
    """One name with its signature and its docstring, as Markdown."""
    thing = getattr(importlib.import_module(module), name)
    text = inspect.cleandoc(thing.__doc__ or "")
    assert text, f"{module}.{name} has no docstring"
    head = f"### `{name}`\n\n`from {module} import {name}`\n"
    if not inspect.isclass(thing):
        head += f"\n```python\n{name}{_signature(thing)}\n```\n"
    body = _SECTION.sub(r"\1:", text)
    summary, _, rest = body.partition("\n")
    return (
        f"{head}\n{summary}\n"
        + (f"\n```text\n{rest.strip()}\n```\n" if rest.strip() else "")
        + _methods(thing)
    )


def _signature(function: object) -> str:
    """Arguments as they are written, without quotes round the types and without addresses in memory."""
    found = str(inspect.signature(function)).replace("'", "")  # type: ignore[arg-type]
    return re.sub(r"<function (\w+) at 0x[0-9a-f]+>", r"\1", found)


def _methods(thing: object) -> str:
    """Public methods and properties of a class, one line each."""
    if not inspect.isclass(thing):
        return ""
    rows = []
    for name, member in vars(thing).items():
        function = member.fget if isinstance(member, property) else member
        documented = inspect.isfunction(function) and function.__doc__
        if not name.startswith("_") and documented:
            shown = name if isinstance(member, property) else f"{name}()"
            rows.append(f"- `{shown}`: {inspect.cleandoc(function.__doc__ or '').splitlines()[0]}")
    return "\n" + "\n".join(rows) + "\n" if rows else ""


def page() -> str:
    """The whole page as Markdown."""
    parts = [INTRODUCTION]
    for title, modules in PUBLIC.items():
        parts.append(f"\n## {title}\n")
        parts += [entry(module, name) for module, names in modules.items() for name in names]
    return "\n".join(parts)


def main(folder: Path) -> None:
    """Write the page into `folder`."""
    (folder / "README.md").write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main(Path(__file__).parent)
