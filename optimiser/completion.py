"""Packaged names that the shell offers after a tab; where none begins alike it offers files."""

from __future__ import annotations

from collections.abc import Iterable


def _beginning(names: Iterable[str], typed: str) -> list[str]:
    return [name for name in names if name.startswith(typed)]


def gels(incomplete: str) -> list[str]:
    """Packaged gels."""
    from .demo_data import list_demo_gels

    return _beginning(list_demo_gels(), incomplete)


def gels_and_schedules(incomplete: str) -> list[str]:
    """Packaged gels and schedules."""
    from .demo_data import list_demo_gels, list_demo_schedules

    return _beginning((*list_demo_gels(), *list_demo_schedules()), incomplete)


def lamps(incomplete: str) -> list[str]:
    """Packaged lamps."""
    from ..lamp_library.lamp import list_lamps

    return _beginning(list_lamps(), incomplete)


def briefs(incomplete: str) -> list[str]:
    """Packaged briefs."""
    from .demo_data import list_demo_briefs

    return _beginning(list_demo_briefs(), incomplete)


def briefs_and_sets(incomplete: str) -> list[str]:
    """Packaged briefs and sets of coats."""
    from .demo_data import list_demo_briefs, list_demo_sets

    return _beginning((*list_demo_briefs(), *list_demo_sets()), incomplete)
