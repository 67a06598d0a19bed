"""The live page's server: what it answers, and what it turns away."""

import json
import socket
from types import SimpleNamespace
from typing import Any

import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure, cure_many
from gelwright.models.gel import gel_from_text, gel_text
from gelwright.optimiser import page_answers, page_server
from gelwright.optimiser.demo_data import load_any_gel
from gelwright.optimiser.page_answers import (
    MOST_KEPT,
    Kept,
    Shelf,
    answer,
    loaded_gel,
    saved_text,
    start_data,
)
from gelwright.optimiser.page_run import open_socket
from gelwright.optimiser.page_server import MOST_BYTES, Bucket

HOST = "127.0.0.1:8000"
SIDE = {"gel": "base_coat", "lamp": "demo_narrow_385", "seconds": 20.0, "thickness_um": 60.0}


@pytest.fixture(scope="module")
def shelf() -> Shelf:
    return Shelf(
        gels={key: load_any_gel(key) for key in ("base_coat", "clear_builder")},
        lamps={key: load_lamp(key) for key in ("demo_narrow_385", "demo_narrow_405")},
    )


@pytest.fixture
def client(shelf: Shelf) -> Any:
    pytest.importorskip("starlette", reason="the page is an optional extra")
    pytest.importorskip("httpx2", reason="starlette's test client needs it")
    from starlette.testclient import TestClient

    from gelwright.optimiser.page_server import make_app

    return TestClient(make_app(shelf, [HOST]), base_url=f"http://{HOST}")


def test_the_answer_is_that_of_a_cure(shelf: Shelf) -> None:
    found = answer({"sides": [SIDE]}, shelf)["sides"][0]
    for row in found["positions"]:
        alone = cure(
            load_any_gel("base_coat"), load_lamp("demo_narrow_385"), exposure_s=20.0, thickness_m=60e-6,
            position=row["position"],
        )  # fmt: skip
        assert row["bottom_conversion_fraction"] == alone.bottom_conversion_fraction
        assert row["nail_bed_peak_c"] == pytest.approx(alone.nail_bed_peak_k - 273.15, abs=1e-9)
    assert found["is_demonstration"]
    assert found["why"]
    assert len(found["plain"]) == 3


def test_loadings_of_the_page_replace_those_of_the_gel(shelf: Shelf) -> None:
    few = answer({"sides": [{**SIDE, "initiators_wt_pct": {"BAPO": 0.1}}]}, shelf)["sides"][0]
    assert list(few["light"]["absorbed_percent"]) == ["BAPO"]
    none = answer({"sides": [{**SIDE, "initiators_wt_pct": {"BAPO": 0.0}}]}, shelf)["sides"][0]
    assert not none["cures_through"]


@pytest.mark.parametrize(
    ("side", "words"),
    [
        ({**SIDE, "path": "/etc/passwd"}, "other keys"),
        ({**SIDE, "gel": "../../etc/passwd"}, "gel"),
        ({**SIDE, "gel": None}, "gel"),
        ({**SIDE, "lamp": 3}, "lamp"),
        ({**SIDE, "seconds": 1e9}, "from 1 to 300"),
        ({**SIDE, "seconds": True}, "must be a number"),
        ({**SIDE, "thickness_um": float("nan")}, "must be a number"),
        ({**SIDE, "position": "toe"}, "toe"),
        ({**SIDE, "programme": "disco"}, "disco"),
        ({**SIDE, "initiators_wt_pct": {"moonlight": 1.0}}, "moonlight"),
        ({**SIDE, "initiators_wt_pct": {f"a{i}": 1.0 for i in range(20)}}, "at most"),
        ({**SIDE, "initiators_wt_pct": [1]}, "at most"),
        ([], "other keys"),
        ({"gel_text": "x" * 30_000, "lamp": "demo_narrow_385"}, "at most"),
        ({"gel_text": "not = [toml", "lamp": "demo_narrow_385"}, "not valid TOML"),
    ],
)
def test_odd_questions_get_one_line(shelf: Shelf, side: Any, words: str) -> None:
    with pytest.raises((InputError, UnknownNameError), match=words) as caught:
        answer({"sides": [side]}, shelf)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("body", [None, 3, {}, {"sides": []}, {"sides": [SIDE] * 3}, {"sides": "all"}])
def test_one_or_two_sides_are_asked_for(shelf: Shelf, body: Any) -> None:
    with pytest.raises(InputError, match="one to 2 sides"):
        answer(body, shelf)


def test_a_saved_gel_is_a_gel_file_and_opens_again(shelf: Shelf) -> None:
    text = saved_text({**SIDE, "initiators_wt_pct": {"BAPO": 0.25}}, shelf)
    gel = gel_from_text(text, "saved")
    assert dict(gel.initiators_wt_pct) == {"BAPO": 0.25}
    assert gel.thickness_m == pytest.approx(60e-6)
    assert gel.cure_s == 20.0
    assert loaded_gel(text) == gel
    assert gel_text(gel) == text


def test_a_loaded_gel_may_not_name_files() -> None:
    text = gel_text(load_any_gel("base_coat")) + '\n[absorption_files]\n"TPO-L" = "/etc/passwd"\n'
    with pytest.raises(InputError, match="cannot be read from here"):
        loaded_gel(text)


def test_the_page_starts_with_its_choices(shelf: Shelf) -> None:
    found = start_data(shelf)
    assert list(found["gels"]) == ["base_coat", "clear_builder"]
    assert found["cautions"]
    json.dumps(found, allow_nan=False)


def test_a_bucket_lets_a_burst_through_and_then_so_many_a_second() -> None:
    bucket = Bucket(per_second=10.0, most=5.0, left=5.0)
    assert [bucket.takes(0.0) for _ in range(6)] == [True] * 5 + [False]
    assert bucket.takes(0.11)
    assert not bucket.takes(0.11)


def test_files_and_answers_come_with_strict_headers(client: Any) -> None:
    for path in ("/", "/page.js", "/page.css", "/charts.js", "/api/start"):
        found = client.get(path)
        assert found.status_code == 200
        assert "default-src 'self'" in found.headers["content-security-policy"]
        assert found.headers["x-content-type-options"] == "nosniff"
    assert client.get("/page_server.py").status_code == 404
    assert client.get("/../optimiser/cli.py").status_code == 404
    found = client.post("/api/cure", json={"sides": [SIDE]})
    assert found.status_code == 200
    assert found.json()["sides"][0]["positions"]
    assert client.post("/api/cure", json={"sides": [{**SIDE, "lamp": "no"}]}).status_code == 422


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"host": "evil.example"}, 421),
        ({"host": "127.0.0.1:1"}, 421),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"content-type": "text/plain"}, 415),
    ],
)
def test_foreign_pages_are_turned_away(client: Any, headers: dict[str, str], status: int) -> None:
    kind = {"content-type": "application/json"}
    found = client.post("/api/cure", content=json.dumps({"sides": [SIDE]}), headers={**kind, **headers})
    assert found.status_code == status


def test_large_broken_and_too_many_questions_are_turned_away(
    client: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    # all at one moment, so that a slow machine does not spread them out
    monkeypatch.setattr(page_server, "time", SimpleNamespace(monotonic=lambda: 100.0))
    kind = {"content-type": "application/json"}
    assert client.post("/api/cure", content="x" * (MOST_BYTES + 1), headers=kind).status_code == 413
    assert client.post("/api/cure", content="{", headers=kind).status_code == 400
    assert client.post("/api/cure", content="[" * 20_000, headers=kind).status_code in (400, 422)
    many = [client.post("/api/gel", json={}).status_code for _ in range(120)]
    assert 429 in many


def test_a_side_that_did_not_move_is_told_again_without_a_cure(
    shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    cured: list[int] = []

    def counted(cases: Any, workers: int | None = None) -> Any:
        cured.append(len(cases))
        return cure_many(cases, workers=workers)

    monkeypatch.setattr(page_answers, "cure_many", counted)
    still = {"gel": "clear_builder", "lamp": "demo_narrow_405", "thickness_um": 100, "seconds": 20}
    kept = Kept()
    first = answer({"sides": [still, {**still, "seconds": 21}]}, shelf, None, kept)
    again = answer({"sides": [{**still, "seconds": 22}, still]}, shelf, None, kept)
    assert cured == [10, 5]
    assert again["sides"][1] == first["sides"][0] == answer({"sides": [still]}, shelf)["sides"][0]
    assert again["sides"][0] != again["sides"][1]
    # twice the same side is cured once, and only the last few are kept
    assert answer({"sides": [still, still]}, shelf, None, Kept())["sides"][0] == first["sides"][0]
    assert cured[-1] == 5
    for number in range(MOST_KEPT):
        kept.keep(str(number), {})
    assert kept.get(json.dumps(still, sort_keys=True)) is None


def test_answers_are_not_held_back_for_fuller_packets() -> None:
    """Named as TCP, or asyncio leaves Nagle's algorithm on and every answer waits 40 ms for an acknowledgement."""
    place = open_socket(0)
    try:
        assert place.proto == socket.IPPROTO_TCP
    finally:
        place.close()
