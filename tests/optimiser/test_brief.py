"""Briefs: what is accepted, and one clear line for everything that is not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from gelwright.lamp_library.errors import InputError
from gelwright.optimiser.brief import Brief, Limits
from gelwright.optimiser.brief_keys import KEYS
from gelwright.optimiser.brief_reader import read_brief

GOOD = """
title = "A builder"
[lamp]
names = ["demo_arch_365_405"]
cure_seconds = 60
[gel]
resin_parts = { UDMA = 70, HPMA = 30 }
[thickness]
low_um = 300
high_um = 500
[market]
names = ["EU"]
on_date = 2026-01-15
professional_use = true
[limits]
nail_bed_max_c = 44
tacky_layer_max_um = 20
[objective]
minimise = "least_initiator"
"""


@pytest.fixture
def written(tmp_path: Path) -> Callable[[str], Path]:
    def write(text: str) -> Path:
        file = tmp_path / "brief.toml"
        file.write_text(text, encoding="utf-8")
        return file

    return write


def test_a_good_brief_is_read_into_si(written: Callable[[str], Path]) -> None:
    brief = read_brief(written(GOOD))
    assert brief.thickness_low_m == pytest.approx(300e-6, rel=1e-12)
    assert brief.limits.nail_bed_max_k == pytest.approx(317.15, abs=1e-9)
    assert brief.limits.tacky_layer_max_m == pytest.approx(20e-6, rel=1e-12)
    assert brief.limits.bottom_conversion_min_share == 0.9
    assert brief.limits.film_max_k is None
    assert brief.on_date == date(2026, 1, 15)
    assert brief.max_initiators == 3


def test_an_absolute_base_conversion_replaces_the_default_share(written: Callable[[str], Path]) -> None:
    limits = read_brief(
        written(GOOD.replace("[limits]", "[limits]\nbottom_conversion_min_fraction = 0.6"))
    ).limits
    assert (limits.bottom_conversion_min_share, limits.bottom_conversion_min_fraction) == (None, 0.6)


def test_paths_are_taken_relative_to_the_brief_and_ids_left_alone(written: Callable[[str], Path]) -> None:
    file = written(GOOD.replace('"demo_arch_365_405"', '"lamps/mine.toml"'))
    assert read_brief(file).lamps == (str(file.parent / "lamps" / "mine.toml"),)
    assert read_brief(written(GOOD)).lamps == ("demo_arch_365_405",)


BROKEN = {
    "unknown key": ("cure_seconds = 60", "cure_secs = 60\ncure_seconds = 60", "lamp.cure_secs", "lamp.cure_seconds"),
    "unknown table": ("[limits]", "[limit]", "limit", "limits"),
    "too hot a limit": ("nail_bed_max_c = 44", "nail_bed_max_c = 71", "71 °C", "tissue is injured"),
    "wrong unit": ("low_um = 300", "low_um = 0.0003", "0.0003 µm", "5 to 3000"),
    "text for number": ("cure_seconds = 60", 'cure_seconds = "60"', "lamp.cure_seconds", "not a number"),
    "yes for number": ("cure_seconds = 60", "cure_seconds = true", "lamp.cure_seconds", "not a number"),
    "not finite": ("cure_seconds = 60", "cure_seconds = nan", "lamp.cure_seconds", "not a number"),
    "missing": ("cure_seconds = 60", "", "lamp.cure_seconds", "missing"),
    "quoted date": ("2026-01-15", '"2026-01-15"', "market.on_date", "no quotes"),
    "date with time": ("2026-01-15", "2026-01-15T08:00:00", "market.on_date", "plain date"),
    "objective": ('"least_initiator"', '"cheapest"', "objective.minimise", "least_cost"),
    "window upside down": ("low_um = 300", "low_um = 600", "600 µm", "Exchange"),
    "cure time of a lamp not asked for": (
        'names = ["demo_arch_365_405"]', 'names = ["demo_arch_365_405"]\ncure_seconds_in = { b = 30 }',
        "lamp.cure_seconds_in names 'b'", "demo_arch_365_405",
    ),
    "unknown way to serve": (
        'names = ["demo_arch_365_405"]', 'names = ["demo_arch_365_405"]\nserve = "all"', "lamp.serve", "one_blend",
    ),
    "no lamp": ('["demo_arch_365_405"]', "[]", "lamp.names", "at least one"),
    "doubled market": ('names = ["EU"]', 'names = ["EU", "EU"]', "market.names", "twice"),
    "no resin": ("resin_parts = { UDMA = 70, HPMA = 30 }", "", "neither", "exactly one"),
    "resin and file": ("[gel]", '[gel]\nfile = "clear_builder"', "both", "exactly one"),
    "negative part": ("HPMA = 30", "HPMA = -30", "gel.resin_parts.HPMA", "-30 parts"),
    "no TOML": ("[limits]", "[limits", "not valid TOML", "line"),
    "both surface limits": (
        "[limits]", "[limits]\nsurface_conversion_min_share = 0.5\nsurface_conversion_min_fraction = 0.4",
        "surface_conversion_min_share", "Remove one",
    ),
    "both base limits": (
        "[limits]", "[limits]\nbottom_conversion_min_share = 0.5\nbottom_conversion_min_fraction = 0.4",
        "bottom_conversion_min_share", "Remove one",
    ),
    "draws": ("[limits]", "[uncertainty]\ndraws = 100\n[limits]", "draws is 100", "power of two"),
    "key on top level": ("[lamp]", "cure_seconds = 5\n[lamp]", "cure_seconds", "lamp.cure_seconds"),
}  # fmt: skip


@pytest.mark.parametrize("case", BROKEN)
def test_a_fault_is_one_line_with_file_value_and_remedy(written: Callable[[str], Path], case: str) -> None:
    old, new, said, also = BROKEN[case]
    assert old in GOOD
    file = written(GOOD.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_brief(file)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith(str(file))
    assert said in message
    assert also in message
    assert message.endswith((".", "?"))


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.toml: there is no such file"):
        read_brief(tmp_path / "none.toml")


def test_a_tissue_limit_above_48_c_is_refused_in_code_too() -> None:
    Limits(nail_bed_max_k=321.15)
    with pytest.raises(InputError, match="48 °C"):
        Limits(nail_bed_max_k=322.0)


def test_the_digest_follows_the_content(make_brief: Callable[..., Brief]) -> None:
    brief = make_brief()
    assert brief.digest == make_brief().digest
    assert brief.digest != replace(brief, seed=2).digest
    assert brief.digest != replace(brief, limits=replace(brief.limits, cem43_max_min=0.9)).digest


def test_every_key_has_a_remedy_and_a_sound_range() -> None:
    for key in KEYS:
        assert key.remedy.endswith("."), key.label
        assert key.low < key.high, key.label
    assert len({key.label for key in KEYS}) == len(KEYS)


def test_unknown_status_is_allowed_only_when_asked(written: Callable[[str], Path]) -> None:
    assert read_brief(written(GOOD)).allow_unknown_status is False
    asked = GOOD + "[substances]\nallow_unknown_status = true\n"
    assert read_brief(written(asked)).allow_unknown_status is True
    with pytest.raises(InputError, match=r"substances.allow_unknown_status: 1 is not true or false"):
        read_brief(written(asked.replace("status = true", "status = 1")))
