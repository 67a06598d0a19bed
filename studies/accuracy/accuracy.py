"""How well does the product meet what others have published? Every outside check, in one table, misses included.

Runs all of tests/reference and writes down what each comparison compared: the published value, the model's, the deviation and
the tolerance argued in the check. A known miss is a check that fails as expected, with its reason; a miss is one that fails
otherwise.

``python studies/accuracy/accuracy.py`` rewrites the tables in README.md beside this script (needs pytest).
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

HERE = Path(__file__).resolve().parent
REPOSITORY = HERE.parents[1]
MARK, END = "<!-- table: written by accuracy.py -->", "<!-- end of table -->"
WORDS = {"passed": "met", "failed": "MISSED", "known miss": "known miss"}


def run_checks(names: Sequence[str]) -> list[dict[str, Any]]:
    """Run checks in a process of their own; every comparison they make, then their verdicts."""
    with tempfile.TemporaryDirectory() as folder:
        answer = Path(folder) / "checks.jsonl"
        path = os.pathsep.join([str(HERE), os.environ.get("PYTHONPATH", "")])
        environment = os.environ | {
            "GELWRIGHT_CHECKS": str(answer),
            "PYTHONPATH": path,
            # compiled tests on disk do not report assertions that hold
            "PYTHONPYCACHEPREFIX": str(Path(folder) / "compiled"),
        }
        files = [str(path) for name in names for path in sorted((REPOSITORY / "tests/reference").glob(name))]
        command = [sys.executable, "-m", "pytest", "-q", "-p", "recording", "-p", "no:cacheprovider"]
        command += ["-o", "enable_assertion_pass_hook=true", *files]
        done = subprocess.run(
            command, cwd=REPOSITORY, env=environment, capture_output=True, text=True, check=False
        )
        if not answer.exists():
            raise RuntimeError(f"the checks did not run:\n{done.stdout[-2000:]}{done.stderr[-2000:]}")
        return [json.loads(line) for line in answer.read_text(encoding="utf-8").splitlines()]


def table_of(rows: Sequence[dict[str, Any]]) -> pd.DataFrame:
    """One line per check: its comparison that used up most of its tolerance, or what it asserts."""
    lines = []
    for verdict in (row for row in rows if "verdict" in row):
        own = [row for row in rows if row["check"] == verdict["check"] and row["file"] == verdict["file"]]
        numbers = [row for row in own if "published" in row]
        line = {
            "file": verdict["file"],
            "check": verdict["check"],
            "source": verdict["source"],
            "verdict": WORDS.get(verdict["verdict"], verdict["verdict"]),
            "reason": verdict["reason"],
        }
        if numbers:
            used = [abs(row["model"] - row["published"]) / max(row["tolerance"], 1e-300) for row in numbers]
            worst = numbers[used.index(max(used))]
            line |= {key: worst[key] for key in ("published", "model", "tolerance")}
            line |= {"deviation": worst["model"] - worst["published"], "compared": len(numbers)}
        else:
            said = [row["values"] for row in own if "values" in row]
            line |= {"statement": said[-1] if said else "", "compared": len(said)}
        lines.append(line)
    return pd.DataFrame(lines)


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return "" if pd.isna(value) else f"{value:.5g}"
    return "" if value is None else str(value).replace("|", "\\|").replace("\n", " ")


def markdown(table: pd.DataFrame, columns: Sequence[str]) -> str:
    """Some columns as a Markdown table."""
    present = [name for name in columns if name in table]
    lines = ["| " + " | ".join(present) + " |", "|" + "---|" * len(present)]
    for _, row in table.iterrows():
        lines.append("| " + " | ".join(_cell(row[name]) for name in present) + " |")
    return "\n".join(lines)


def report(table: pd.DataFrame) -> str:
    """Counts, misses first, then every source with its checks."""
    counts = table["verdict"].value_counts()
    parts = ["**" + ", ".join(f"{number} {word}" for word, number in counts.items()) + "**"]
    missed = table[table["verdict"] != "met"]
    if len(missed):
        columns = ("check", "file", "published", "model", "tolerance", "statement", "verdict", "reason")
        parts += ["## Misses", markdown(missed, columns)]
    for source, part in table.groupby("source", sort=False):
        part = part.dropna(axis=1, how="all")
        columns = ("check", "published", "model", "deviation", "tolerance", "statement", "verdict")
        parts += [f"### {source}", f"`tests/reference/{part['file'].iloc[0]}`", markdown(part, columns)]
    return "\n\n".join(parts)


def main(
    folder: Path, names: Sequence[str] = ("test_propagation_*.py", "test_vitrification_*.py")
) -> pd.DataFrame:
    """Run checks; the table goes into `folder`, the report into its README.md. The default is a few quick files."""
    table = table_of(run_checks(names))
    table.to_csv(folder / "checks.csv", index=False, float_format="%.6g")
    readme = folder / "README.md"
    text = readme.read_text(encoding="utf-8") if readme.exists() else f"# Outside checks\n\n{MARK}\n{END}\n"
    before, rest = text.split(MARK)
    after = rest.split(END)[1]
    readme.write_text(f"{before}{MARK}\n\n{report(table)}\n\n{END}{after}", encoding="utf-8")
    print(table["verdict"].value_counts().to_string())
    for _, row in table[table["verdict"] != "met"].iterrows():
        print(f"{row['verdict']}: {row['file']} {row['check']} {row['reason']}")
    return table


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "names", nargs="*", default=["test_*.py"], help="patterns of files in tests/reference"
    )
    parser.add_argument("--folder", type=Path, default=HERE)
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    main(given.folder, given.names)
