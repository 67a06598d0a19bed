"""What a set of coats is made of: gels with what is asked of each, the stacks they form, and where these are judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..lamp_library.lamp import Lamp
from ..models.gel import Gel
from ..models.heat import Hand
from .brief import Brief
from .search_space import SearchSpace

Floats = NDArray[np.float64]

SEPARATOR = ": "


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """One gel of a set with what is asked of its coat.

    Parameters
    ----------
    name : str
        Name of the coat in the set.
    brief : Brief
        Limits, thickness window of one application, cure time, programme and rest of this coat.
    gel : Gel
        Resin base.
    space : SearchSpace
        Substances its blend is made of.
    applications : int
        How often it is applied, each time cured.
    is_wiped : bool
        Whether its tacky layer is wiped off after the last of them.
    """

    name: str
    brief: Brief
    gel: Gel
    space: SearchSpace
    applications: int = 1
    is_wiped: bool = False

    def blended(self, loadings_wt_pct: Floats) -> Gel:
        """The gel with a blend in it, named after the coat."""
        pairs = dict(zip(self.space.keys, map(float, loadings_wt_pct), strict=True))
        amines = {key: load for key, load in pairs.items() if key in self.space.amines}
        initiators = {key: load for key, load in pairs.items() if key not in amines}
        return replace(self.gel.with_initiators(initiators, amines), name=self.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """One stack in one position, all coats thin or all thick."""

    stack: int
    position: str
    is_thick: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoatSet:
    """Gels, the stacks they form, and the nail and lamp they are cured on and in.

    Parameters
    ----------
    title : str
        For reports.
    brief : Brief
        Heat limits and margins of the nail as a whole, objective, prices, hand, seed.
    lamp : Lamp
        The client's lamp, with the programmes of every coat.
    parts : tuple of Part
        The gels.
    stacks : tuple of tuple of int
        The coats of each stack as numbers of parts, from the nail upwards.
    """

    title: str
    brief: Brief
    lamp: Lamp
    parts: tuple[Part, ...]
    stacks: tuple[tuple[int, ...], ...]

    @property
    def hand(self) -> Hand:
        """The finger of the brief."""
        return Hand(start_k=self.brief.hand_start_k, nail_thickness_m=self.brief.nail_thickness_m)

    @property
    def has_one_thickness(self) -> bool:
        """Whether no coat has a window of thickness."""
        return all(len(part.brief.thicknesses_m) == 1 for part in self.parts)

    @property
    def corners(self) -> tuple[Corner, ...]:
        """Every stack at the weakest and the strongest position, all coats thin and all coats thick."""
        return tuple(
            Corner(stack=stack, position=position, is_thick=is_thick)
            for stack in range(len(self.stacks))
            for position in dict.fromkeys((self.lamp.weakest, self.lamp.strongest))
            for is_thick in ((True,) if self.has_one_thickness else (False, True))
        )

    def layers(self, stack: int) -> list[int]:
        """Part of every application of a stack, from the nail upwards."""
        return [number for number in self.stacks[stack] for _ in range(self.parts[number].applications)]

    def stack_name(self, stack: int) -> str:
        """The coats of a stack in words."""
        return " + ".join(self.parts[number].name for number in self.stacks[stack])

    def place(self, corner: Corner) -> str:
        """A corner in words."""
        shade = f"{self.stack_name(corner.stack)}, " if len(self.stacks) > 1 else ""
        return f"{shade}{corner.position}{'' if self.has_one_thickness else ', thick' if corner.is_thick else ', thin'}"

    def narrowed(self, keys: Sequence[Sequence[str]]) -> CoatSet:
        """The same set with only these substances, one list for each gel."""
        parts = [
            replace(part, space=part.space.subset(own)) for part, own in zip(self.parts, keys, strict=True)
        ]
        return replace(self, parts=tuple(parts))
