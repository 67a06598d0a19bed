"""`gelwright tune` and `gelwright cure` from the command line, on the real model with thin, quick films."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gelwright.lamp_library.errors import GelwrightError
from gelwright.optimiser import search as search_module
from gelwright.optimiser.cli import main
from gelwright.optimiser.page_html import bound

QUICK = """
title = "Quick top coat"
demonstration = true
seed = 3
[lamp]
names = ["demo_narrow_385"]
cure_seconds = 20
[gel]
resin_parts = { UDMA = 70, HPMA = 30 }
[thickness]
low_um = 60
high_um = 60
[market]
names = ["EU"]
on_date = 2026-01-15
professional_use = true
[substances]
allowed = ["BAPO", "TPO-L", "TPO"]
max_initiators = 2
[limits]
bottom_conversion_min_share = 0.8
[objective]
minimise = "least_cost"
[prices]
currency = "EUR"
per_kg = { BAPO = 120, "TPO-L" = 75, TPO = 70 }
[uncertainty]
draws = 32
"""
REPOSITORY = Path(__file__).resolve().parents[2]
PICTURES = ("light.png", "conversion.png", "temperature.png", "margins.png")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Exit code, standard output and standard error of one command."""

    def go(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as left:
            main([str(each) for each in arguments])
        captured = capsys.readouterr()
        return int(left.value.code or 0), captured.out, captured.err

    return go


@pytest.fixture
def brief(tmp_path: Path) -> Callable[[str, str], Path]:
    """The quick brief with one piece of text replaced."""

    def write(old: str = "", new: str = "") -> Path:
        assert old in QUICK
        file = tmp_path / "brief.toml"
        file.write_text(QUICK.replace(old, new, 1) if old else QUICK, encoding="utf-8")
        return file

    return write


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished run folder of the quick brief."""
    folder = tmp_path_factory.mktemp("tune")
    file = folder / "quick.toml"
    file.write_text(QUICK, encoding="utf-8")
    with pytest.raises(SystemExit) as left:
        main(["tune", str(file), "--out", str(folder / "run")])
    assert left.value.code in (0, None)
    return folder / "run"


def results(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "results.json").read_text(encoding="utf-8"))  # type: ignore[no-any-return]


def test_the_run_folder_holds_inputs_results_and_pictures(finished: Path) -> None:
    names = {path.name for path in finished.iterdir()}
    assert names >= {
        "brief.toml",
        "lamp",
        "gel.toml",
        "results.json",
        "candidates.csv",
        "report.md",
        "journal.log",
    }
    assert names >= set(PICTURES)
    for name in PICTURES:
        assert (finished / name).read_bytes().startswith(b"\x89PNG")
    assert (finished / "brief.toml").read_text(encoding="utf-8") == QUICK


def test_results_are_consistent(finished: Path) -> None:
    data = results(finished)
    assert data["is_feasible"] is True
    best = data["candidates"][0]
    prices = {"BAPO": 120.0, "TPO-L": 75.0}
    cost = sum(prices[key] * load / 100.0 for key, load in best["loadings_wt_pct"].items())
    assert best["objective_per_kg"] == pytest.approx(cost, rel=1e-12)
    assert best["cost_per_kg"] == pytest.approx(cost, rel=1e-12)
    for limit in best["limits"]:
        margin = next(value for key, value in limit.items() if key.startswith("margin_"))
        assert margin >= 0.0, limit["limit"]
    assert best["binding_limits"]
    assert 0.0 <= best["passing"]["low_fraction"] <= best["passing"]["probability_fraction"] <= 1.0
    assert len(best["positions"]) == 5
    objectives = [each["objective_per_kg"] for each in data["candidates"]]
    assert objectives == sorted(objectives)
    assert [out["key"] for out in data["excluded"] if "prohibited" in out["reason"]] == ["TPO", "BP", "DMPT"][
        :1
    ]
    assert len(data["cautions"]) == 8


def test_the_table_of_blends_agrees_with_the_results(finished: Path) -> None:
    with (finished / "candidates.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    best = results(finished)["candidates"][0]["loadings_wt_pct"]
    for key in ("BAPO", "TPO-L"):
        assert float(rows[0][f"{key}_wt_pct"]) == pytest.approx(best.get(key, 0.0), abs=0.0011)
    assert [row["rank"] for row in rows] == [str(i + 1) for i in range(len(rows))]


def test_the_report_says_what_it_must(finished: Path) -> None:
    text = (finished / "report.md").read_text(encoding="utf-8")
    for part in (
        "# Quick top coat", "**Invented demonstration data.**", "## Answer", "Predicted chance of passing",
        "## Ranked blends", "## Every position", "## Limits and margins of the first blend", "limits the blend",
        "prohibited in EU", "2025/877", "## Cautions", "safety report", "## How this was worked out", "seed 3",
        "Read here for 15 January 2026",
    ):  # fmt: skip
        assert part in text, part
    for word in ("fully cured", "hypoallergenic", " approved", "nan", "None", " is safe"):
        assert word not in text, word
    for name in PICTURES:
        assert f"({name})" in text


@pytest.mark.parametrize("name", ["report.html", "customer.html"])
def test_the_pages_say_both_chances_in_their_headline(finished: Path, name: str) -> None:
    best = results(finished)["candidates"][0]
    use, doubted = (best[key]["probability_fraction"] for key in ("passing", "passing_with_data"))
    verdict = (
        (finished / name).read_text(encoding="utf-8").partition('id="verdict-words"')[2].partition("</h2>")[0]
    )
    for words in (
        f"{100 * use:.0f} % of uses if the model is right",
        f"{100 * doubted:.0f} % with its own doubt",
    ):
        assert bound(words) in verdict


def test_a_finished_run_gives_a_batch_sheet(
    finished: Path, run: Callable[..., tuple[int, str, str]], tmp_path: Path
) -> None:
    code, out, _ = run("sheet", finished, "--batch-g", 20, "--balance-g", 0.001, "--out", tmp_path, "--json")
    assert code == 0
    sheet, best = json.loads(out), results(finished)["candidates"][0]
    for line in sheet["lines"]:
        if line["role"] == "initiator":
            assert line["target_wt_pct"] == pytest.approx(best["loadings_wt_pct"][line["key"]], rel=1e-5)
    weakest = sheet["expected"][0]["target"]
    place = next(each for each in best["positions"] if each["position"] == weakest["position"])
    assert weakest["bottom_conversion_fraction"] == pytest.approx(
        place["bottom_conversion_fraction"], abs=2e-3
    )
    assert {path.name for path in tmp_path.iterdir()} == {"batch_sheet.pdf", "batch_sheet.csv"}
    code, _, err = run("sheet", finished, "--batch-g", 20, "--blend", 9)
    assert code == 2
    assert "blend 9 asked for" in err


def test_a_second_run_in_the_folder_reads_back_and_agrees(
    finished: Path, run: Callable[..., tuple[int, str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    before = results(finished)
    monkeypatch.setattr(search_module, "local_search", None)  # nothing may be searched again
    code, out, _ = run("tune", finished.parent / "quick.toml", "--out", finished, "--json")
    assert code == 0
    assert json.loads(out) == before == results(finished)


def test_stopped_and_resumed_gives_the_same_answer(
    finished: Path,
    run: Callable[..., tuple[int, str, str]],
    brief: Callable[..., Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    calls = 0
    whole = search_module.local_search

    def interrupted(*arguments: Any, **options: Any) -> Any:
        nonlocal calls
        calls += 1
        if calls == 2:
            raise KeyboardInterrupt
        return whole(*arguments, **options)

    monkeypatch.setattr(search_module, "local_search", interrupted)
    code, out, err = run("tune", brief(), "--out", tmp_path / "run")
    assert (code, out) == (130, "")
    assert "the same command takes it up again" in err
    assert not (tmp_path / "run" / "results.json").exists()
    code, _, _ = run("tune", brief(), "--out", tmp_path / "run", "--workers", 1)
    assert code == 0
    assert results(tmp_path / "run")["candidates"] == results(finished)["candidates"]


# A process of its own, found as conftest.py does; a job in the background of a shell starts with the signal ignored.
PROCESS = f"""
import importlib.util, signal, sys, types
if importlib.util.find_spec("gelwright") is None:
    package = types.ModuleType("gelwright")
    package.__path__ = [{str(REPOSITORY)!r}]
    sys.modules["gelwright"] = package
signal.signal(signal.SIGINT, signal.default_int_handler)
from gelwright.optimiser.cli import main
main()
"""


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="no such signal between processes")
def test_a_real_ctrl_c_keeps_the_work_and_the_next_run_gives_the_same_answer(
    finished: Path, brief: Callable[..., Path], tmp_path: Path
) -> None:
    units, folder = 3, tmp_path / "run"
    command = [sys.executable, "-c", PROCESS, "tune", str(brief()), "--out", str(folder)]
    journal = folder / "journal.log"

    def lines() -> list[str]:
        return journal.read_text(encoding="utf-8").splitlines() if journal.exists() else []

    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    end = time.monotonic() + 120.0
    while len(lines()) < 1 + units and running.poll() is None and time.monotonic() < end:
        time.sleep(0.002)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert (running.returncode, out) == (130, ""), err
    assert err.splitlines()[-1].startswith("Stopped. Finished work is kept in")
    assert "Traceback" not in err
    kept = lines()
    assert len(kept) >= 1 + units
    assert not (folder / "results.json").exists()
    again = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    assert "1. " in again.stdout
    assert lines()[: len(kept) - 1] == kept[:-1]  # the last line alone may have been cut by the signal
    assert agree(results(folder)["candidates"], results(finished)["candidates"])
    assert results(folder)["search"]["units"] == results(finished)["search"]["units"]


def agree(one: object, other: object) -> bool:
    """Equal, numbers to rounding: two processes may have compiled the solver apart and round their last digits differently."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(agree(value, other[key]) for key, value in one.items())
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(agree(*pair) for pair in zip(one, other, strict=True))
    if isinstance(one, float) and isinstance(other, float):
        return one == pytest.approx(other, rel=1e-7, abs=1e-9)
    return one == other


def test_margins_are_named_and_the_first_blend_is_the_best_as_weighed(
    run: Callable[..., tuple[int, str, str]], brief: Callable[..., Path], tmp_path: Path
) -> None:
    file = brief("[objective]", "[margins]\ntemperature_k = 2\nconversion_fraction = 0.02\n[objective]")
    allowed = file.read_text(encoding="utf-8").replace('"TPO-L", "TPO"]', '"TPO-L", "GE-BMB"]')
    file.write_text(allowed.replace("TPO = 70", '"GE-BMB" = 24'), encoding="utf-8")
    code, out, _ = run("tune", file, "--out", tmp_path / "run")
    assert code == 0
    data = results(tmp_path / "run")
    objectives = [each["objective_per_kg"] for each in data["candidates"]]
    assert objectives == sorted(objectives)
    report = (tmp_path / "run" / "report.md").read_text(encoding="utf-8")
    assert "includes the margins of the brief: 2 K below" in report
    assert "widen `[margins]`" in report
    doubt = "GE-BMB: legal status unknown in EU, allowed by the brief; check before use"
    with_doubt = [each for each in data["candidates"] if "GE-BMB" in each["loadings_wt_pct"]]
    assert with_doubt
    assert out.count(doubt) == len(with_doubt)
    assert report.count(doubt) >= 1


def test_no_blend_is_exit_3_with_the_nearest_and_the_conflict(
    run: Callable[..., tuple[int, str, str]], brief: Callable[..., Path], tmp_path: Path
) -> None:
    file = brief("[limits]", "[limits]\nnail_bed_max_c = 36\nsurface_conversion_min_fraction = 0.9")
    code, out, _ = run("tune", file, "--out", tmp_path / "run")
    assert code == 3
    assert "No blend meets this brief" in out
    assert "What conflicts" in out
    data = results(tmp_path / "run")
    assert data["is_feasible"] is False
    assert any(each["broken"] for each in data["conflicts"])
    assert "## No blend meets this brief" in (tmp_path / "run" / "report.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("cure_seconds = 20", "cure_seconds = 2000", "lamp.cure_seconds: 2000 s"),
        ('"demo_narrow_385"', '"demo_narow_385"', "did you mean 'demo_narrow_385'"),
        ('"demo_narrow_385"', '"none/lamp.toml"', "lamp.toml"),
        ("TPO = 70 }", "TPO = 70 }\n[prices.more]\nx = 1", "prices.more"),
        ("BAPO = 120, ", "", "lacks BAPO"),
        ("UDMA = 70", "UDMAA = 70", "UDMA"),
        ('"EU"', '"XX"', "EU"),
        ('minimise = "least_cost"', 'minimise = "least"', "least_heat"),
    ],
)
def test_bad_briefs_are_one_line_exit_2_and_write_nothing(
    run: Callable[..., tuple[int, str, str]],
    brief: Callable[..., Path],
    tmp_path: Path,
    old: str,
    new: str,
    said: str,
) -> None:
    code, out, err = run("tune", brief(old, new), "--out", tmp_path / "run")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert said in err
    assert not (tmp_path / "run").exists()


def test_missing_briefs_and_foreign_folders(
    finished: Path, run: Callable[..., tuple[int, str, str]], brief: Callable[..., Path], tmp_path: Path
) -> None:
    assert run("tune", "demmo", "--out", tmp_path / "run")[0] == 2
    assert run("tune", "none.toml", "--out", tmp_path / "run")[0] == 2
    (tmp_path / "file").write_text("x")
    assert "is a file" in run("tune", brief(), "--out", tmp_path / "file")[2]
    code, _, err = run("tune", brief("cure_seconds = 20", "cure_seconds = 21"), "--out", finished)
    assert code == 2
    assert "record of another brief" in err


def test_cure_prints_verdict_every_position_and_cautions(run: Callable[..., tuple[int, str, str]]) -> None:
    code, out, _ = run("cure", "top_coat", "--lamp", "demo_narrow_385", "--seconds", 20)
    assert code == 0
    assert "Predicted in this lamp:" in out
    for position in ("thumb", "index", "middle", "ring", "little"):
        assert f"{position} " in out
    assert "not a safety assessment" in out


def test_cure_as_json_and_into_a_folder(run: Callable[..., tuple[int, str, str]], tmp_path: Path) -> None:
    code, out, _ = run(
        "cure", "top_coat", "--lamp", "demo_narrow_385", "--seconds", 20, "--position", "thumb", "--cycles", 2,
        "--thickness-um", 50, "--json", "--out", tmp_path / "run", "--plot", tmp_path / "cure.svg",
    )  # fmt: skip
    assert code == 0
    data = json.loads(out)
    assert [each["position"] for each in data["positions"]] == ["thumb"]
    assert data["positions"][0]["thickness_m"] == pytest.approx(50e-6, rel=1e-12)
    assert 0.0 <= data["positions"][0]["second_cycle_heat_ratio"] < 1.0
    assert data == results(tmp_path / "run")
    assert (tmp_path / "cure.svg").read_text(encoding="utf-8").lstrip().startswith("<?xml")
    assert {"depth.csv", "traces.csv", "verdict.txt", "cure.png"} <= {
        p.name for p in (tmp_path / "run").iterdir()
    }


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("cure", "top_coat", "--lamp", "demo_narrow_385", "--seconds", "20", "--position", "toe"), "toe"),
        (("cure", "none", "--lamp", "demo_narrow_385", "--seconds", "20"), "none"),
        (("cure", "top_coat", "--lamp", "demo_narrow_385", "--seconds", "20", "--plot", "a.docx"), ".docx"),
        (("cure", "top_coat", "--lamp", "demo_narrow_385", "--seconds", "20", "--programme", "x"), "steady"),
        (
            ("cure", "top_coat", "--lamp", "demo_narrow_385", "--seconds", "20", "--thickness-um", "0.01"),
            "0.01",
        ),
    ],
)
def test_bad_cures_are_one_line_and_exit_2(
    run: Callable[..., tuple[int, str, str]], arguments: tuple[str, ...], said: str
) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert said in err


def test_every_demonstration_brief_and_gel_can_be_read() -> None:
    from gelwright.optimiser.brief_reader import read_brief
    from gelwright.optimiser.demo_data import brief_path, list_demo_briefs, list_demo_gels, load_any_gel
    from gelwright.optimiser.tune import resolve

    assert {"demo", "impossible", "two_lamps"} <= set(list_demo_briefs())
    for name in list_demo_briefs():
        inputs = resolve(read_brief(brief_path(name)))
        assert inputs.brief.is_demonstration
        assert "invented demonstration data" in inputs.brief.note
        assert "TPO" in [out.key for out in inputs.space.excluded]
    for name in list_demo_gels():
        assert load_any_gel(name).is_demonstration
    with pytest.raises(GelwrightError, match="demo"):
        brief_path("dmo")
