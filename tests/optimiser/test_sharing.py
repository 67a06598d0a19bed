"""Who takes which blend: exact against a run through every combination."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations, product

import numpy as np
import pytest

from gelwright.optimiser.local import Local
from gelwright.optimiser.sharing import fewest, free, penalised

POOL = "ABCDE"


def local(keys: str, objective: float) -> Local:
    return Local(
        blend_wt_pct=dict.fromkeys(keys, 1.0),
        objective=objective,
        limits=(),
        values=(-1.0,),
        figures=(),
        multipliers=(),
        simulations=0,
    )


@dataclass
class Someone:
    blends: Sequence[Local]
    later: dict[frozenset[str], float] = field(default_factory=dict)
    asked: list[frozenset[str]] = field(default_factory=list)

    def polished(self, keys: frozenset[str]) -> Local | None:
        self.asked.append(keys)
        return local("".join(sorted(keys)), self.later[keys]) if keys in self.later else None


@pytest.fixture
def takers() -> list[Someone]:
    rng = np.random.default_rng(7)
    found = []
    for _ in range(3):
        subsets = ["".join(each) for size in (1, 2) for each in combinations(POOL, size)]
        chosen = rng.choice(subsets, 6, replace=False)
        found.append(Someone([local(keys, float(rng.uniform(1, 2))) for keys in chosen]))
    return found


def every_choice(takers: list[Someone]) -> list[tuple[int, float]]:
    rows = []
    for blends in product(*(taker.blends for taker in takers)):
        materials = {key for blend in blends for key in blend.blend_wt_pct}
        rows.append((len(materials), sum(blend.objective for blend in blends) / len(blends)))
    return rows


def test_the_fewest_is_the_least_of_every_choice(takers: list[Someone]) -> None:
    found = fewest(takers, 2)
    assert (len(found.materials), found.objective) == pytest.approx(min(every_choice(takers)))


@pytest.mark.parametrize("penalty", [0.0, 0.05, 0.3, 5.0])
def test_a_penalty_is_weighed_exactly(takers: list[Someone], penalty: float) -> None:
    found = penalised(takers, penalty)
    best = min(objective + penalty * count for count, objective in every_choice(takers))
    assert found.objective + penalty * len(found.materials) == pytest.approx(best)
    assert penalised(takers, 0.0).objective == pytest.approx(free(takers).objective)


def test_a_blend_not_tried_yet_is_polished_when_it_saves_a_material() -> None:
    first = Someone([local("A", 1.0)])
    second = Someone([local("B", 1.0)], later={frozenset("A"): 3.0})
    found = fewest([first, second], 2)
    assert found.materials == ("A",)
    assert found.objective == pytest.approx(2.0)
    assert frozenset("A") in second.asked
