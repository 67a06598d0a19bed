"""What is written reads back."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gelwright.lamp_library.errors import InputError
from gelwright.lamp_library.toml_text import toml_text

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
PLAIN = st.one_of(
    TEXT, st.booleans(), st.integers(-(2**60), 2**60), st.floats(allow_nan=False, allow_infinity=False)
)
VALUES = st.one_of(
    PLAIN, st.lists(PLAIN, max_size=3), st.lists(st.dictionaries(TEXT, PLAIN, max_size=3), max_size=2)
)
TABLES = st.recursive(
    st.dictionaries(TEXT, VALUES, max_size=4),
    lambda inner: st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=6,
)


@given(TABLES)
def test_round_trip(document: dict) -> None:
    assert tomllib.loads(toml_text(document)) == document


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_no_number_that_is_none(number: float) -> None:
    with pytest.raises(InputError, match="finite"):
        toml_text({"x": number})


def test_comments_stand_on_top() -> None:
    assert toml_text({"x": 1}, comments=["one", "two"]) == "# one\n# two\nx = 1\n"
