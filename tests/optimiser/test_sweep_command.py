"""`gelwright sweep`: the figures of `cure`, whatever the executor, kept through a kill, and refused in one line."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError, SolverError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure
from gelwright.optimiser import cli, sweep
from gelwright.optimiser.brief import Limits
from gelwright.optimiser.conditions import hand_in_use
from gelwright.optimiser.cure_run import verdict_of
from gelwright.optimiser.demo_data import load_any_gel
from gelwright.optimiser.sweep_axes import read_axis
from gelwright.optimiser.sweep_effects import by_effect, ranges_of, ranked
from gelwright.optimiser.sweep_films import SweepFigures, SweepFilms
from gelwright.optimiser.sweep_log import FILE, SweepLog
from gelwright.optimiser.sweep_plan import SweepPlan, sweep_plan
from gelwright.optimiser.sweep_run import Swept, run_plan, table_of, write_table

REPOSITORY = Path(__file__).resolve().parents[2]
LAMP, OTHER = load_lamp("demo_narrow_405"), load_lamp("demo_strong_395")
GEL = load_any_gel("top_coat")

# a bare checkout makes the package inside this process alone
installed = pytest.mark.skipif(
    sys.modules["gelwright"].__spec__ is None,
    reason="child processes cannot import a bare checkout: pip install .",
)
SMALL = (
    "top_coat",
    "--lamp",
    LAMP.lamp_id,
    "--seconds",
    "10",
    "--vary",
    "TPO-L=0.2,0.6,1",
    "--vary",
    "thickness=30,80um",
)
COMMAND = f"""
import importlib.util, signal, sys, types
if importlib.util.find_spec("gelwright") is None:
    package = types.ModuleType("gelwright")
    package.__path__ = [{str(REPOSITORY)!r}]
    sys.modules["gelwright"] = package
signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored in a background job of a shell
from gelwright.optimiser.cli import main
main(sys.argv[1:])
"""


def plan_of(*vary: str, **fixed: Any) -> SweepPlan:
    return sweep_plan(GEL, fixed.pop("lamps", {LAMP.lamp_id: LAMP}), vary, **{"seconds": 10.0, **fixed})


def swept_by(plan: SweepPlan, workers: int = 1) -> Swept:
    with ThreadPoolExecutor(workers) as threads:
        return run_plan(plan, threads, workers=workers)


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """Exit code, output and error of the command."""
    with pytest.raises(SystemExit) as leaving:
        cli.main(["sweep", *arguments])
    told = capsys.readouterr()
    return int(leaving.value.code or 0), told.out, told.err


@pytest.fixture(scope="module")
def small() -> Swept:
    return swept_by(plan_of("TPO-L=0.2,0.6,1", "thickness=30,80um"))


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("TPO-L=0.5:3:6", (0.5, 1.0, 1.5, 2.0, 2.5, 3.0)),
        ("TPO-L=0.1:0.7:7 wt%", (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7)),
        ("BAPO=0,0.02:2:3:log", (0.0, 0.02, 0.2, 2.0)),
        ("EDB=1,0.5", (1.0, 0.5)),
        ("thickness=50,100 µm", (5e-5, 1e-4)),
        ("thickness=0.05:0.15:3mm", (5e-5, 1e-4, 1.5e-4)),
        ("thickness-um=50,100", (5e-5, 1e-4)),
        ("seconds=20:60:3s", (20.0, 40.0, 60.0)),
        ("position=all", LAMP.positions),
        ("position=thumb,ring", ("thumb", "ring")),
        ("hand=cold,warm", ("cold", "warm")),
        ("nail=all", ("thin", "usual", "thick")),
    ],
)
def test_what_is_varied_is_read(text: str, values: tuple[Any, ...]) -> None:
    found = read_axis(text, [LAMP]).values
    assert found == values if isinstance(values[0], str) else found == pytest.approx(values, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("TPO-L", "write NAME=START:STOP:COUNT"),
        ("TPO-L=1:2", "neither a number nor START:STOP:COUNT"),
        ("TPO-L=1:2:1", "a count from 2 to"),
        ("TPO-L=0:2:3:log", "ends above 0"),
        ("TPO-L=1,1", "stands twice"),
        ("TPO-L=-1,1", "between 0 and 100 wt%"),
        ("TPO-L=1,2um", "unit 'um' is not known here. Use wt%"),
        ("thickness=50,100", "the unit is missing. Say um or mm: thickness=50,100um"),
        ("thickness=2,50um", "between 5 and 3000 um"),
        ("seconds=60,4000", "between 0.1 and 3600 s"),
        ("lamp=a,b", "lamps are given with --lamp"),
        ("tpo-l=1,2", "did you mean 'TPO-L'"),
        ("position=thump", "did you mean 'thumb'"),
        ("hand=hot", "Known: cold, usual, warm"),
    ],
)
def test_what_cannot_be_varied_is_said_in_one_line(text: str, words: str) -> None:
    with pytest.raises((InputError, UnknownNameError)) as refused:
        read_axis(text, [LAMP])
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("vary", "fixed", "words"),
    [
        ((), {}, "nothing is varied"),
        (("TPO-L=0.5:3:101", "BAPO=0.1:1:50"), {}, "101 of TPO-L x 50 of BAPO are 5050 combinations; at most 5000 are cured"),
        (("TPO-L=0.5:3:101", "BAPO=0.1:1:50"), {}, "--most 5050"),
        (("TPO-L=1,2", "TPO-L=3,4"), {}, "given twice"),
        (("seconds=10,20",), {}, "--seconds 10 and --vary seconds are both given"),
        (("hand=cold,warm",), {"hand": "warm"}, "--hand warm and --vary hand are both given"),
        (("TPO-L=1,2",), {"seconds": None}, "--seconds 60"),
        (("TPO-L=0,1", "BAPO=0,1", "HCPK=0"), {}, "there is no photoinitiator"),
        (("TPO-L=40,60", "BAPO=40"), {}, "must stay below 100 wt%"),
        (("TPO-L=1,2",), {"programme": "gentle"}, "unknown programme"),
    ],
)  # fmt: skip
def test_a_sweep_that_cannot_be_is_said_in_one_line(
    vary: tuple[str, ...], fixed: dict[str, Any], words: str
) -> None:
    gel = replace(GEL.with_initiators({"TPO-L": 1.0}, {}), cure_s=None)
    with pytest.raises((InputError, UnknownNameError)) as refused:
        sweep_plan(gel, {LAMP.lamp_id: LAMP}, vary, **{"seconds": 10.0, **fixed})
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


def test_the_last_thing_named_runs_fastest_and_lamps_come_first() -> None:
    plan = plan_of("TPO-L=1,2", "hand=cold,warm", lamps={LAMP.lamp_id: LAMP, OTHER.lamp_id: OTHER})
    assert [axis.key for axis in plan.axes] == ["lamp", "TPO-L", "hand"]
    assert plan.count == 8
    assert [tuple(plan.values_of(number).values()) for number in (0, 1, 2, 7)] == [
        (LAMP.lamp_id, 1.0, "cold"),
        (LAMP.lamp_id, 1.0, "warm"),
        (LAMP.lamp_id, 2.0, "cold"),
        (OTHER.lamp_id, 2.0, "warm"),
    ]


@pytest.mark.parametrize("number", [0, 3, 6, 11])
def test_the_figures_are_those_of_cure(number: int) -> None:
    plan = plan_of("TPO-L=0,1.2", "thickness=40,150um", "nail=thin,usual,thick", hand="warm")
    each = plan.combination(number)
    found = swept_by(plan).found[number]
    assert isinstance(found, SweepFigures)
    assert dict(each.loadings_wt_pct)["TPO-L"] == plan.values_of(number)["TPO-L"]
    if not plan.values_of(number)["TPO-L"]:
        gel = GEL.with_initiators({k: v for k, v in GEL.initiators_wt_pct.items() if k != "TPO-L"})
    else:
        gel = GEL.with_initiators({**GEL.initiators_wt_pct, "TPO-L": float(plan.values_of(number)["TPO-L"])})
    nail = str(plan.values_of(number)["nail"])
    results = [
        cure(gel, LAMP, exposure_s=10.0, position=place, thickness_m=each.thickness_m, hand=hand_in_use(each.hand, "warm", nail))
        for place in LAMP.positions
    ]  # fmt: skip
    verdict = verdict_of(results, Limits())
    assert (found.cures, found.stays_cool) == (verdict.cures, verdict.stays_cool)
    lowest = min(results, key=lambda result: result.bottom_conversion_fraction)
    hottest = max(results, key=lambda result: result.nail_bed_peak_k)
    assert (found.least_cured_position, found.hottest_position) == (lowest.position, hottest.position)
    expected = {
        "bottom_conversion_fraction": lowest.bottom_conversion_fraction,
        "surface_conversion_fraction": min(result.surface_conversion_fraction for result in results),
        "uncured_layer_m": max(result.uncured_layer_m for result in results),
        "film_peak_k": max(result.film_peak_k for result in results),
        "nail_bed_peak_k": hottest.nail_bed_peak_k,
        "cem43_min": hottest.cem43_min,
        "yellowness_ratio": max(result.after_cure.tint.yellowness_index for result in results),
        "residual_initiator_wt_pct": max(
            sum(gel.initiators_wt_pct[key] * left for key, left in result.residual_initiator_fraction.items())
            for result in results
        ),
    }
    assert {name: getattr(found, name) for name in expected} == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_a_second_cycle_gives_the_heat_share_of_cure(small: Swept) -> None:
    each = small.plan.combination(3)
    result = cure(
        each.gel(GEL), LAMP, exposure_s=10.0, position=LAMP.weakest, thickness_m=each.thickness_m, cycles=2
    )
    found = small.found[3]
    assert isinstance(found, SweepFigures)
    # the second cycle starts its time steps afresh: the two agree to the error of a run, two thousandths of a heat
    assert found.second_cycle_heat_ratio == pytest.approx(result.second_cycle_heat_ratio, rel=2e-3)


def test_a_position_that_varies_is_judged_by_itself() -> None:
    found = swept_by(plan_of("position=all", "TPO-L=0.3")).found
    for place, each in zip(LAMP.positions, found, strict=True):
        assert isinstance(each, SweepFigures)
        assert each.least_cured_position == each.hottest_position == place


def test_room_tells_what_passes(small: Swept) -> None:
    plan = plan_of("TPO-L=0.01,0.3,3", "thickness=30,600um", "seconds=2,60", seconds=None)
    found = [each for _, each in swept_by(plan).cured()]
    assert {each.passes for each in found} == {True, False}
    assert {each.stays_cool for each in found} == {True, False}
    assert all((each.room_to_limit_ratio >= 0.0) == each.passes for each in found)


def test_ranges_and_effects_are_those_of_the_table(small: Swept) -> None:
    table = np.array([each.nail_bed_peak_k for _, each in small.cured()]).reshape(3, 2)
    found = next(each for each in ranges_of(small) if each.figure == "nail_bed_peak_k")
    assert (found.lowest, found.highest) == (table.min(), table.max())
    moved = dict(found.moved_by)
    assert moved["TPO-L"] == pytest.approx(np.mean(table.max(axis=0) - table.min(axis=0)))
    assert moved["thickness"] == pytest.approx(np.mean(table.max(axis=1) - table.min(axis=1)))
    assert [key for key, _ in found.moved_by] == sorted(moved, key=lambda key: -moved[key])
    assert {axis.key for axis in by_effect(small)} == {"TPO-L", "thickness"}


def test_the_best_has_the_most_room(small: Swept) -> None:
    order = ranked(small)
    assert len(order) == 6
    rooms = [each.room_to_limit_ratio for _, each in order]
    assert rooms == sorted(rooms, reverse=True)


@installed
def test_processes_write_the_table_of_threads(small: Swept, tmp_path: Path) -> None:
    run = started(tmp_path, "--executor", "processes", "--workers", "2")
    out, err = run.communicate(timeout=240)
    assert run.returncode == 0, err
    assert "Predicted in this lamp" in out
    assert (tmp_path / "sweep.csv").read_text() == write_table(small, tmp_path / "threads.csv").read_text()


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """A Dask cluster of two workers in processes of their own."""
    dask = pytest.importorskip("distributed", reason="an extra: pip install 'gelwright[cluster]'")
    with dask.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as found:
        yield found


@installed
@pytest.mark.filterwarnings("default")  # a cluster that shuts down warns of its own sockets
def test_a_running_scheduler_gives_the_table_of_threads(
    small: Swept, cluster: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = said(capsys, *SMALL, "--out", str(tmp_path), "--scheduler", cluster.scheduler_address)
    assert code == 0, err
    assert (tmp_path / "sweep.csv").read_text() == write_table(small, tmp_path / "threads.csv").read_text()


@installed
@pytest.mark.filterwarnings("default")
def test_workers_that_lack_gelwright_are_refused_before_they_are_given_work(
    cluster: Any, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sweep, "VERSION_FUNCTION", "gelwright.no_such_room:code_version")
    code, _, err = said(capsys, *SMALL, "--scheduler", cluster.scheduler_address)
    assert code == 2
    assert "2 of 2 Dask workers have no gelwright" in err.splitlines()[-1]


@pytest.mark.filterwarnings("default")
def test_a_scheduler_that_does_not_answer_is_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed", reason="an extra: pip install 'gelwright[cluster]'")
    monkeypatch.setattr(sweep, "SCHEDULER_TIMEOUT_S", 1)
    code, _, err = said(capsys, *SMALL, "--scheduler", "tcp://127.0.0.1:1")
    assert code == 2
    assert err.startswith("gelwright: sweep: no Dask scheduler answers at tcp://127.0.0.1:1")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--executor", "thread"), "did you mean 'threads'"),
        (("--executor", "threads", "--scheduler", "tcp://a:1"), "needs Dask, not --executor threads"),
        (("--most", "5"), "6 combinations; at most 5 are cured"),
    ],
)
def test_options_that_cannot_be_are_one_line(
    options: tuple[str, ...], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = said(capsys, *SMALL, "--out", str(tmp_path / "new"), *options)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert words in err
    assert not (tmp_path / "new").exists()


def started(
    folder: Path, *options: str, vary: tuple[str, ...] = ("TPO-L=0.2,0.6,1", "thickness=30,80um")
) -> Any:
    """The command in a process of its own."""
    varied = [word for each in vary for word in ("--vary", each)]
    return subprocess.Popen(
        [sys.executable, "-c", COMMAND, "sweep", "top_coat", "--lamp", LAMP.lamp_id, "--seconds", "10", *varied,
         "--out", str(folder), *options],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


@pytest.mark.skipif(os.name == "nt", reason="no such signal")
@pytest.mark.parametrize("kind", ["threads", pytest.param("processes", marks=installed)])
def test_killed_in_the_middle_it_goes_on_to_the_same_table(kind: str, tmp_path: Path) -> None:
    vary = ("TPO-L=0.1:2:20", "thickness=30,50,70,90um")
    log = tmp_path / "cut" / FILE
    killed = started(tmp_path / "cut", "--workers", "2", "--executor", kind, vary=vary)
    end = time.monotonic() + 240.0
    while not log.exists() or log.read_text().count("\n") < 2:
        assert killed.poll() is None, killed.communicate()[1]
        assert time.monotonic() < end
        time.sleep(0.005)
    killed.send_signal(signal.SIGKILL)
    killed.communicate(timeout=30)  # ends only when no worker of it is left to hold the pipe
    kept = log.read_text()
    assert 2 <= kept.count("\n") < 81
    assert not (tmp_path / "cut" / "sweep.csv").exists()
    again = started(tmp_path / "cut", "--workers", "1", vary=vary)
    _, err = again.communicate(timeout=240)
    assert again.returncode == 0, err
    assert "of 80 combinations were cured before" in err
    assert log.read_text().startswith(kept[: kept.rfind("\n") + 1])
    whole = write_table(swept_by(plan_of(*vary)), tmp_path / "whole.csv")
    assert (tmp_path / "cut" / "sweep.csv").read_bytes() == whole.read_bytes()


@pytest.mark.skipif(os.name == "nt", reason="no such signal")
@pytest.mark.parametrize("kind", ["threads", pytest.param("processes", marks=installed)])
def test_stopped_it_says_what_is_kept(kind: str, tmp_path: Path) -> None:
    run = started(
        tmp_path, "--workers", "2", "--executor", kind, vary=("TPO-L=0.1:2:100", "thickness=30,50,70,90um")
    )
    end = time.monotonic() + 240.0
    while not (tmp_path / FILE).exists() or (tmp_path / FILE).read_text().count("\n") < 2:
        assert run.poll() is None, run.communicate()[1]
        assert time.monotonic() < end
        time.sleep(0.005)
    run.send_signal(signal.SIGINT)
    _, err = run.communicate(timeout=60)
    assert run.returncode == 130
    assert err.splitlines()[-1].startswith("Stopped. Finished combinations are kept in")
    assert "Traceback" not in err


def test_a_finished_folder_answers_again_without_curing(
    small: Swept, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, text, _ = said(capsys, *SMALL, "--out", str(tmp_path))
    assert code == 0
    before = (tmp_path / "sweep.csv").read_bytes()
    monkeypatch.setattr(SweepFilms, "__call__", None)
    assert {path.name for path in tmp_path.iterdir()} == {
        "best.toml", FILE, "report.html", "results.json", "sweep.csv", "sweep.png", "sweep.svg", "sweep.txt",
    }  # fmt: skip
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    kept = sum(each.passes for _, each in small.cured())
    assert f"{kept} of 6 combinations keep the limits" in page
    assert page.count("<svg") == 2
    assert "lasts for life" in page  # the cautions
    code, again, err = said(capsys, *SMALL, "--out", str(tmp_path), "--json")
    assert code == 0
    assert "6 of 6 combinations were cured before" in err
    assert (tmp_path / "sweep.csv").read_bytes() == before
    data = json.loads(again)
    assert [each["nail_bed_peak_k"] for each in data["combinations"]] == [
        each.nail_bed_peak_k for _, each in small.cured()
    ]
    assert data["best"]["verdict_text"] in text
    assert data["cautions"]
    code, _, err = said(capsys, *SMALL[:-1], "thickness=30,90um", "--out", str(tmp_path))
    assert code == 2
    assert "holds another sweep" in err
    assert err.count("\n") == 1


def test_the_table_has_a_row_for_each_combination_and_units_in_its_heading(
    small: Swept, tmp_path: Path
) -> None:
    with write_table(small, tmp_path / "sweep.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [(float(row["TPO-L_wt_pct"]), float(row["thickness_m"])) for row in rows] == [
        (loading, film) for loading in (0.2, 0.6, 1.0) for film in (30e-6, 80e-6)
    ]
    for row, (_, each) in zip(rows, small.cured(), strict=True):
        assert float(row["nail_bed_peak_k"]) == pytest.approx(each.nail_bed_peak_k, rel=1e-6)
        assert row["passes"] == str(each.passes)
        assert (row["exposure_s"], row["lamp"], row["position"], row["fault"]) == (
            "10",
            LAMP.lamp_id,
            "all",
            "",
        )


def test_the_best_gel_gives_the_figures_told(
    small: Swept, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, text, _ = said(capsys, *SMALL, "--out", str(tmp_path))
    look = next(line for line in text.splitlines() if line.startswith("Look closer: gelwright "))
    with pytest.raises(SystemExit) as leaving:
        cli.main(look.removeprefix("Look closer: gelwright ").split())
    assert leaving.value.code == 0
    predicted = next(line for line in text.splitlines() if line.startswith("Predicted"))
    assert predicted in capsys.readouterr().out.splitlines()


def test_a_film_that_cannot_be_balanced_leaves_a_row_that_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    inner = SweepFilms._cured

    def stubborn(self: SweepFilms, group: Any) -> Any:
        if any(dict(each.loadings_wt_pct)["TPO-L"] == 0.6 for each in group):
            raise SolverError("the balance of oxygen stays open")
        return inner(self, group)

    monkeypatch.setattr(SweepFilms, "_cured", stubborn)
    swept = swept_by(plan_of("TPO-L=0.2,0.6,1"))
    assert [isinstance(each, str) for each in swept.found] == [False, True, False]
    head, rows = table_of(swept)
    assert rows[1][-1] == "the balance of oxygen stays open"
    assert rows[1][head.index("nail_bed_peak_k")] == rows[1][head.index("passes")] == ""
    assert ranges_of(swept)[0].lowest < ranges_of(swept)[0].highest


def test_a_worker_of_another_version_is_refused() -> None:
    films = SweepFilms(gel=GEL, lamps={LAMP.lamp_id: LAMP}, programme="steady", limits=Limits(), version="0")
    with pytest.raises(InputError, match="another version"):
        films([plan_of("TPO-L=1,2").combination(0)])


def test_rows_of_another_version_stay_unused(small: Swept, tmp_path: Path) -> None:
    heard: list[str] = []
    SweepLog(tmp_path, "abc-1", heard.append).keep([(0, small.found[0])])
    assert SweepLog(tmp_path, "abc-1", heard.append).found == {0: small.found[0]}
    assert heard == []
    assert SweepLog(tmp_path, "abc-2", heard.append).found == {}
    assert "another version" in heard[0]
    with pytest.raises(InputError, match="holds another sweep"):
        SweepLog(tmp_path, "xyz-1", heard.append)


def test_a_folder_of_another_command_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "results.json").write_text("{}")
    with pytest.raises(InputError, match="holds a run of another command"):
        SweepLog(tmp_path, "abc-1", print)
    assert [path.name for path in tmp_path.iterdir()] == ["results.json"]


@pytest.mark.parametrize("lamps", ["demo_strong_395,demo_narrow_405", "demo"])
def test_the_next_step_names_the_lamp_of_the_best(
    lamps: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, text, _ = said(capsys, "top_coat", "--lamp", lamps, "--seconds", "10", "--out", str(tmp_path))
    assert code == 0
    best = json.loads((tmp_path / "results.json").read_text())["best"]["lamp"]
    assert f"best.toml --lamp {best} --seconds 10" in text


def test_a_torn_line_is_cut_away_and_a_damaged_one_named(small: Swept, tmp_path: Path) -> None:
    log = SweepLog(tmp_path, "abc-1", print)
    log.keep([(0, small.found[0]), (1, small.found[1])])
    whole = log.path.read_bytes()
    log.path.write_bytes(whole[:-9])
    heard: list[str] = []
    assert set(SweepLog(tmp_path, "abc-1", heard.append).found) == {0}
    assert "cut short" in heard[0]
    log.path.write_bytes(whole.replace(b'{"number": 0', b'{"number": '))
    with pytest.raises(InputError, match="line 2: is damaged"):
        SweepLog(tmp_path, "abc-1", heard.append)


def test_the_fingerprint_follows_what_is_asked() -> None:
    plans = [
        plan_of("TPO-L=1,2"),
        plan_of("TPO-L=1,3"),
        plan_of("TPO-L=1,2", thickness_um=31.0),
        plan_of("TPO-L=1,2", seconds=11.0),
        plan_of("TPO-L=1,2", hand="cold"),
        plan_of("TPO-L=1,2", lamps={OTHER.lamp_id: OTHER}),
    ]
    assert len({plan.fingerprint for plan in plans}) == len(plans)
    assert plans[0].fingerprint == plan_of("TPO-L=1,2").fingerprint
