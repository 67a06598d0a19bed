"""A set that nobody can meet: which limits of which coats clash, and changes that do, each checked on the changed set."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gelwright.optimiser import set_tune, stack_problem
from gelwright.optimiser.brief import Brief
from gelwright.optimiser.build_log import BuildLog
from gelwright.optimiser.clashing import smallest_clash
from gelwright.optimiser.constraints import Constraint, blend_limits, cure_limits, heat_limits
from gelwright.optimiser.demo_data import DEMO_FOLDER
from gelwright.optimiser.easing import enough, least_factor, thinner_window
from gelwright.optimiser.impossible import Impossible, WayOut, way_out_data, way_out_lines
from gelwright.optimiser.set_brief import read_set
from gelwright.optimiser.set_changes import ChangedSets
from gelwright.optimiser.set_tries import tries
from gelwright.optimiser.set_tune import coat_set, resolve_set
from gelwright.optimiser.set_ways_out import set_ways_out
from gelwright.optimiser.stack_limits import judged_rows
from gelwright.optimiser.stack_parts import CoatSet
from gelwright.optimiser.stack_problem import StackProblem
from gelwright.optimiser.takers import problem_of

HOT = (
    (DEMO_FOLDER / "sets" / "base_and_builder.toml")
    .read_text(encoding="utf-8")
    .replace('allowed = ["BAPO", "TPO-L", "HCPK"]', 'allowed = ["BAPO"]')
    .replace("low_um = 40", "low_um = 60")
    .replace("low_um = 200", "low_um = 300")
    .replace("nail_bed_max_c = 45", "nail_bed_max_c = 42")
    .replace("cem43_max_min = 1", "cem43_max_min = 1\ntotal_initiator_max_wt_pct = 3")
)
NEAREST = {"base: BAPO": 0.18, "builder: BAPO": 0.2}
PLAIN = (
    (DEMO_FOLDER / "sets" / "base_and_builder.toml")
    .read_text(encoding="utf-8")
    .replace("low_um = 40", "low_um = 60")
    .replace("low_um = 200", "low_um = 300")
)
# so little of either that neither cures the builder by itself
LITTLE = (
    PLAIN.replace('allowed = ["BAPO", "TPO-L", "HCPK"]', 'allowed = ["BAPO", "HCPK"]')
    .replace("max_initiators = 2", "max_initiators = 1")
    .replace("wipe = true", "substances = { max_wt_pct = { BAPO = 0.1, HCPK = 0.5 } }")
)
LITTLE_STARTS = [{"base: BAPO": 0.2, "builder: BAPO": 0.1}, {"base: BAPO": 0.2, "builder: HCPK": 0.5}]
# the second builder goes on while the nail bed is still warm of the first
HURRIED = (
    PLAIN.replace('allowed = ["BAPO", "TPO-L", "HCPK"]', 'allowed = ["BAPO"]')
    .replace("rest_seconds = 15", "rest_seconds = 5")
    .replace("wipe = true", "applications = 2")
)


@dataclass(frozen=True)
class Answered:
    coats: CoatSet
    impossible: Impossible
    told: list[str]


_ANSWERED: list[Answered] = []


@pytest.fixture
def answered(tmp_path: Path) -> Answered:
    """One impossible set and its answer, worked out once."""
    if not _ANSWERED:
        file = tmp_path / "set.toml"
        file.write_text(HOT, encoding="utf-8")
        inputs = resolve_set(read_set(file))
        told: list[str] = []
        coats = coat_set(inputs)
        impossible = set_ways_out(
            coats,
            [problem_of(gel, None) for gel in inputs.gels],
            [NEAREST],
            workers=None,
            progress=lambda done, total, words: told.append(f"{done}/{total} {words}"),
            most_cures=6000,
        )
        _ANSWERED.append(Answered(coats, impossible, told))
    return _ANSWERED[0]


def changed(coats: CoatSet, coat: str, **changes: float | str) -> CoatSet:
    parts = tuple(
        replace(part, brief=replace(part.brief, **changes)) if part.name == coat else part  # type: ignore[arg-type]
        for part in coats.parts
    )
    return replace(coats, parts=parts)


def keeps(coats: CoatSet, way: WayOut) -> bool:
    """Whether the blends of a change keep every limit of a set, built afresh."""
    blend = way.blends_wt_pct
    problem = StackProblem(coats=coats.narrowed([tuple(blend[part.name]) for part in coats.parts]))
    return float(problem.point(problem.vector(way.blend_wt_pct)).values.max()) <= 1e-9


@pytest.mark.slow
def test_the_clash_names_coat_and_limit_and_no_member_can_be_spared(answered: Answered) -> None:
    names = {row.limit_name for row in answered.impossible.clash}
    assert names == {"nail bed peak while builder cures", "base conversion of builder"}
    # against a grid over the real stacks: both together never, each without the other somewhere
    problem = StackProblem(coats=answered.coats.narrowed([("BAPO",), ("BAPO",)]))
    labels = [each.row.limit_name for each in judged_rows(answered.coats)]
    columns = {name: np.array([label == name for label in labels]) for name in names}
    values = np.array([problem.point(np.array([0.2, at])).values for at in (0.1, 0.14, 0.18, 0.22, 0.3)])
    kept = {name: values[:, own].max(axis=1) <= 0.0 for name, own in columns.items()}
    assert all(each.any() for each in kept.values())
    assert not np.all(list(kept.values()), axis=0).any()


@pytest.mark.slow
def test_every_change_told_does_in_stacks_built_afresh(answered: Answered) -> None:
    coats, ways = answered.coats, answered.impossible.ways
    assert [way.size for way in ways] == sorted(way.size for way in ways)
    assert {"limit", "thickness"} <= {way.kind for way in ways}
    for way in ways:
        assert not keeps(coats, way)
        match way.kind:
            case "thickness":
                high_um = float(way.words.split("-")[1].split(" ")[0])
                brief = next(part.brief for part in coats.parts if part.name == way.coat)
                low_m = min(
                    brief.thickness_low_m, 1e-6 * high_um * brief.thickness_low_m / brief.thickness_high_m
                )
                assert keeps(
                    changed(coats, way.coat, thickness_low_m=low_m, thickness_high_m=1e-6 * high_um), way
                )
            case "time":
                seconds = float(way.words.split(": ")[1].split(" ")[0])
                assert keeps(changed(coats, way.coat, exposure_s=seconds), way)
            case "programme":
                assert keeps(changed(coats, way.coat, programme=way.words.split(" ")[1]), way)
            case "limit" if way.words.startswith("nail bed peak"):
                enough_c = float(way.words.split("raise to ")[1].split(" ")[0])
                limit_k = 273.15 + enough_c + coats.brief.margins.temperature_k
                limits = replace(coats.brief.limits, nail_bed_max_k=limit_k)
                assert keeps(replace(coats, brief=replace(coats.brief, limits=limits)), way)


@pytest.mark.slow
def test_the_answer_names_the_coats_in_words_and_data(answered: Answered) -> None:
    text = "\n".join(way_out_lines(answered.impossible))
    assert "nail bed peak while builder cures" in text
    assert "base: BAPO" in text
    data = way_out_data(answered.impossible)
    assert all(set(way["blends_wt_pct"]) == {"base", "builder"} for way in data["ways"])  # type: ignore[attr-defined]
    assert answered.told[0].endswith("smallest set of limits that clash")


@pytest.mark.slow
def test_what_is_left_when_the_bound_is_reached_is_told(tmp_path: Path) -> None:
    file = tmp_path / "set.toml"
    file.write_text(HOT, encoding="utf-8")
    inputs = resolve_set(read_set(file))
    impossible = set_ways_out(
        coat_set(inputs), [problem_of(gel, None) for gel in inputs.gels], [NEAREST],
        workers=None, progress=lambda done, total, words: None, most_cures=0,
    )  # fmt: skip
    assert "thinner builder" in impossible.untried
    assert all(way.kind == "limit" for way in impossible.ways)
    assert "not tried" in "\n".join(way_out_lines(impossible))


def changed_sets(tmp_path: Path, text: str, starts: list[dict[str, float]], **options: Any) -> ChangedSets:
    file = tmp_path / "set.toml"
    file.write_text(text, encoding="utf-8")
    inputs = resolve_set(read_set(file))
    return ChangedSets(
        coat_set(inputs),
        [problem_of(gel, None) for gel in inputs.gels],
        starts,
        **{"workers": None, **options},
    )


def clashes(coats: CoatSet, keys: list[list[str]], loadings_wt_pct: list[tuple[float, ...]]) -> bool:
    """Whether none of some loadings keeps every limit."""
    problem = StackProblem(coats=coats.narrowed(keys))
    return min(float(problem.point(np.array(each)).values.max()) for each in loadings_wt_pct) > 1e-3


def test_one_more_initiator_in_one_coat_is_a_way_out(tmp_path: Path) -> None:
    sets = changed_sets(tmp_path, LITTLE, LITTLE_STARTS)
    for key, most in (("BAPO", 0.1), ("HCPK", 0.5)):  # base up to all it may have
        assert clashes(sets.coats, [["BAPO"], [key]], [(base, most) for base in (0.1, 0.2, 0.5, 1.0, 2.0)])
    (way,) = tries(sets, [1], is_heat=False)["one more initiator in the blend of builder"]()
    assert way.words == "2 initiators in the blend of builder in place of 1"
    assert (way.kind, way.coat, way.size) == ("initiators", "builder", 0.3)
    assert way.blends_wt_pct["builder"].keys() == {"BAPO", "HCPK"}
    assert keeps(sets.coats, way)


def test_a_blend_with_room_for_an_initiator_is_not_given_one_as_a_way_out(tmp_path: Path) -> None:
    sets = changed_sets(tmp_path, PLAIN, [NEAREST])  # two are allowed
    assert not [words for words in tries(sets, [0, 1], is_heat=True) if "one more initiator" in words]


@pytest.mark.slow
def test_a_longer_rest_before_a_coat_is_a_way_out_of_heat(tmp_path: Path) -> None:
    sets = changed_sets(tmp_path, HURRIED, [{"base: BAPO": 0.2, "builder: BAPO": 0.18}])
    builders = (0.1, 0.13, 0.15, 0.16, 0.17, 0.18, 0.2)
    assert clashes(sets.coats, [["BAPO"], ["BAPO"]], [(0.2, at) for at in builders])
    kinds = tries(sets, [0, 1], is_heat=True)
    assert "longer rest before base" not in kinds  # nothing lies below it
    assert "longer rest before builder" not in tries(sets, [0, 1], is_heat=False)
    (way,) = kinds["longer rest before builder"]()
    head, seconds = (
        "longer rest before every coat of builder: ",
        float(way.words.split(": ")[1].split(" ")[0]),
    )
    assert way.words == f"{head}{seconds:g} s in place of 5 s after base and 5 s after builder"
    # of all coats that rest, the base has the shorter cure (30 s) and so the larger change
    assert way.size == pytest.approx(np.log((30.0 + seconds) / (30.0 + 5.0)), rel=1e-12)
    both = changed(changed(sets.coats, "base", rest_s=seconds), "builder", rest_s=seconds)
    assert keeps(both, way)
    assert not keeps(sets.coats, way)


class Builds:
    """Counts the builds simulated, and pulls the plug after some."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.count, self.most = 0, 10**9
        self._build = stack_problem.build_with_steps
        monkeypatch.setattr(stack_problem, "build_with_steps", self)

    def __call__(self, *arguments: Any, **options: Any) -> Any:
        if self.count >= self.most:
            raise KeyboardInterrupt
        self.count += 1
        return self._build(*arguments, **options)


def test_ways_out_go_on_where_they_were_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    builds = Builds(monkeypatch)

    def told(log: BuildLog | None) -> list[WayOut]:
        sets = changed_sets(tmp_path, LITTLE, LITTLE_STARTS, workers=1, log=log)
        return tries(sets, [1], is_heat=False)["one more initiator in the blend of builder"]()

    whole = told(None)
    of_whole, builds.count, builds.most = builds.count, 0, 20
    assert of_whole > 30  # more than what is done before the plug is pulled
    with pytest.raises(KeyboardInterrupt):
        told(BuildLog(tmp_path, "set a-01", print))
    builds.count, builds.most = 0, 10**9
    assert told(BuildLog(tmp_path, "set a-01", print)) == whole
    assert builds.count < of_whole
    builds.count = 0
    assert told(BuildLog(tmp_path, "set a-01", print)) == whole
    assert builds.count == 0


def test_builds_of_a_changed_set_are_not_taken_for_those_of_the_set_as_asked(tmp_path: Path) -> None:
    log = BuildLog(tmp_path, "set a-01", print)
    sets = changed_sets(tmp_path, LITTLE, LITTLE_STARTS, workers=1, log=log)
    thin = sets.asking({1: {"thickness_low_m": 100e-6, "thickness_high_m": 100e-6}})
    thinner = sets.asking({1: {"thickness_low_m": 80e-6, "thickness_high_m": 80e-6}})
    figures = []
    for coats in (sets.coats, thin, thinner):
        problem = sets.problem(coats, LITTLE_STARTS[0])
        figures.append(problem.point(problem.vector(LITTLE_STARTS[0])).figures)
    assert len(set(figures)) == 3
    again = changed_sets(
        tmp_path, LITTLE, LITTLE_STARTS, workers=1, log=BuildLog(tmp_path, "set a-01", print)
    )
    problem = again.problem(
        again.asking({1: {"thickness_low_m": 100e-6, "thickness_high_m": 100e-6}}), LITTLE_STARTS[0]
    )
    assert problem.point(problem.vector(LITTLE_STARTS[0])).figures == figures[1]
    assert problem._builds == {}  # recalled


@pytest.mark.slow
def test_a_run_taken_up_again_does_not_build_its_ways_out_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "set.toml"
    file.write_text(LITTLE, encoding="utf-8")
    builds, counts = Builds(monkeypatch), []

    def counted(*arguments: Any, **options: Any) -> Impossible:
        before = builds.count
        found = set_ways_out(*arguments, **options, most_cures=0)
        counts.append(builds.count - before)
        return found

    monkeypatch.setattr(set_tune, "set_ways_out", counted)
    answers = [
        set_tune.tune_set(
            resolve_set(read_set(file)), tmp_path, workers=1, progress=lambda *told: None, say=print
        ).impossible
        for _ in range(2)
    ]
    assert counts[0] > 50
    assert counts[1] == 0
    assert answers[0] == answers[1] is not None


def row(brief: Brief, figure: str) -> Constraint:
    specs = [*heat_limits(brief), *cure_limits(brief, 0.7), *blend_limits(brief)]
    spec = next(each for each in specs if each["figure"] == figure)
    return Constraint(name=spec["limit_name"], scenario=0, **spec)


@pytest.mark.parametrize(
    ("figure", "value", "shown"),
    [
        ("nail_bed_peak_k", 273.15 + 43.31, "43.4 °C"),
        ("nail_bed_peak_k", 273.15 + 43.4, "43.4 °C"),
        ("bottom_conversion_fraction", 0.6126, "0.612"),
        ("cem43_min", 1.234, "1.24 min"),
    ],
)
def test_a_limit_told_to_be_enough_is_rounded_to_the_side_that_keeps(
    make_brief: Callable[..., Brief], figure: str, value: float, shown: str
) -> None:
    limit = row(make_brief(), figure)
    assert limit.shown(enough(limit, value)) == shown
    assert limit.sense * (enough(limit, value) - value) >= -1e-6


def test_the_deletion_filter_leaves_a_set_without_which_nothing_clashes(
    make_brief: Callable[..., Brief],
) -> None:
    rows = [
        replace(row(make_brief(), "nail_bed_peak_k"), limit_name=name) for name in ("a", "b", "c", "d", "a")
    ]

    def can_keep(names: object) -> bool:
        return not {"b", "d"} <= set(names)  # type: ignore[call-overload]

    assert {each.limit_name for each in smallest_clash(rows, (0.1, 0.3, -0.2, -1.0, 0.5), can_keep)} == {
        "b",
        "d",
    }


def test_a_thinner_window_of_one_thickness_stays_one(make_brief: Callable[..., Brief]) -> None:
    brief = make_brief(thickness_low_m=300e-6, thickness_high_m=300e-6)
    for factor in np.linspace(0.1, 0.99, 90):
        window = thinner_window(brief, float(factor))
        assert window["thickness_low_m"] == window["thickness_high_m"]
        assert replace(brief, **window).thicknesses_m == (window["thickness_high_m"],)  # type: ignore[arg-type]


def test_the_least_factor_is_found_to_within_the_halvings() -> None:
    found = least_factor(lambda factor, _: factor if factor <= 0.63 else None, 0.1, 8)
    assert found is not None
    assert found[0] == found[1]
    assert 0.62 < found[0] <= 0.63
    assert least_factor(lambda factor, _: None, 0.1) is None
