"""Cure time, programme and coats as choices: which combinations are tried, and which of them wins."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.optimiser.brief import Brief, Choices
from gelwright.optimiser.brief_reader import read_brief
from gelwright.optimiser.choices import Choice, ChoicesOutcome, brief_of, combinations_of, tune_choices
from gelwright.optimiser.choices_report import choices_data, choices_report, first_screen, why
from gelwright.optimiser.demo_data import brief_path


def quiet(done: int, total: int, words: str) -> None:
    pass


@pytest.fixture
def chosen(make_brief: Callable[..., Brief], stand_in: type, tmp_path: Path) -> Callable[..., ChoicesOutcome]:
    def run(choices: Choices, **changes: Any) -> ChoicesOutcome:
        brief = make_brief(
            choices=choices,
            thickness_low_m=150e-6,
            thickness_high_m=200e-6,
            allowed=("BAPO", "TPO-L"),
            **changes,
        )
        return tune_choices(brief, tmp_path, progress=quiet, say=print, make_evaluator=stand_in)

    return run


def test_every_combination_is_listed_once_and_the_briefs_own_comes_first(
    make_brief: Callable[..., Brief],
) -> None:
    brief = make_brief(
        choices=Choices(exposures_s=(30.0, 60.0), programmes=("low_heat", "steady"), coats=(2, 1))
    )
    found = combinations_of(brief)
    assert len(found) == len(set(found)) == 8
    assert found[0] == Choice(exposure_s=60.0, programme="steady", coats=1)


def test_all_stands_for_the_programmes_the_lamp_has(make_brief: Callable[..., Brief]) -> None:
    found = combinations_of(make_brief(choices=Choices(programmes=("all", "low_heat 20 s then steady"))))
    assert [each.programme for each in found] == [
        "steady",
        "low_heat",
        "slow_pulse",
        "low_heat 20 s then steady",
    ]


def test_coats_share_the_thickness(make_brief: Callable[..., Brief]) -> None:
    brief = make_brief(choices=Choices(coats=(2,)))
    thin = brief_of(brief, combinations_of(brief)[0])
    assert thin.thickness_high_m == pytest.approx(0.5 * brief.thickness_high_m)
    assert thin.choices.is_empty


def test_too_many_combinations_are_refused(make_brief: Callable[..., Brief]) -> None:
    times = tuple(float(each) for each in range(10, 71))
    with pytest.raises(InputError, match="61 combinations"):
        combinations_of(make_brief(choices=Choices(exposures_s=times)))


def test_the_winner_has_the_least_objective_and_was_searched_in_full(
    chosen: Callable[..., ChoicesOutcome],
) -> None:
    outcome = chosen(Choices(exposures_s=(40.0, 60.0, 90.0)))
    assert outcome.is_feasible
    best, *others = outcome.tried
    assert best.choice.exposure_s == 90.0  # more time, less initiator
    assert best.is_full
    assert all(each.objective >= best.objective for each in others if each.is_feasible)
    assert why(outcome)[0].startswith("90 s steady won")
    assert "best/report.md" in choices_report(outcome)
    shown, screen = outcome.best.candidates[0], first_screen(outcome)  # type: ignore[union-attr]
    assert screen["answer"] == shown.name
    assert screen["headline"].startswith("90 s steady won")
    assert f"passes in {100 * shown.passing.probability_fraction:.0f} % of uses" in screen["headline"]
    assert choices_data(outcome)["choices"][0]["exposure_s"] == 90.0


def test_a_warm_start_finds_what_a_full_search_finds(
    chosen: Callable[..., ChoicesOutcome], make_brief: Callable[..., Brief]
) -> None:
    outcome = chosen(Choices(exposures_s=(60.0, 90.0, 50.0)))
    warm = next(each for each in outcome.tried if each.choice.exposure_s == 50.0)
    assert not warm.is_full
    alone = chosen(Choices(exposures_s=(50.0,)))
    assert warm.objective == pytest.approx(alone.tried[0].objective, rel=2e-3)


def test_a_window_is_looked_at_between_the_best_and_its_neighbours(
    chosen: Callable[..., ChoicesOutcome],
) -> None:
    outcome = chosen(Choices(exposure_low_s=40.0, exposure_high_s=90.0))
    times = sorted(each.choice.exposure_s for each in outcome.tried)
    assert times == pytest.approx([40.0, 52.4, 68.7, 78.6, 90.0], abs=0.11)


def test_a_combination_the_lamp_cannot_run_is_named_with_its_reason(
    chosen: Callable[..., ChoicesOutcome],
) -> None:
    outcome = chosen(Choices(programmes=("steady", "low_heat 60 s then steady")))
    assert [each.why_not != "" for each in outcome.tried] == [False, True]
    assert "leaves 0 s" in why(outcome)[-1]


def test_equal_objectives_give_the_shorter_lamp_time(chosen: Callable[..., ChoicesOutcome]) -> None:
    # the stand-in knows no programme: both give the same blend
    outcome = chosen(
        Choices(exposures_s=(60.0, 90.0)), smallest_loading_wt_pct=1.0, objective="least_initiator"
    )
    assert outcome.tried[0].objective == pytest.approx(outcome.tried[1].objective)
    assert outcome.tried[0].choice.exposure_s == 60.0


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("cure_seconds_low = 20", "belong together"),
        ("cure_seconds_low = 60\ncure_seconds_high = 30", "Exchange the two"),
        ("cure_seconds = [30]\ncure_seconds_low = 20\ncure_seconds_high = 30", "only one can hold"),
        ("cure_seconds = [30, 900]", "outside 1 to 600 s"),
        ("coats = [1.5]", "must be whole"),
        ("coats = [1, 1]", "listed twice"),
    ],
)
def test_a_fault_in_the_choices_is_one_line(tmp_path: Path, lines: str, said: str) -> None:
    file = tmp_path / "brief.toml"
    text = brief_path("demo").read_text(encoding="utf-8")
    file.write_text(text.replace("[gel]", f"[choices]\n{lines}\n\n[gel]", 1), encoding="utf-8")
    with pytest.raises(InputError, match=said) as caught:
        read_brief(file)
    assert "\n" not in str(caught.value)
