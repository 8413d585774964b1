"""JSON text: byte for byte what the standard library writes with an indent of one (ECMA-404 for what is JSON)."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compositor.base.json_text import json_text

scalars = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text()
values = st.recursive(
    scalars, lambda inner: st.lists(inner) | st.lists(inner).map(tuple) | st.dictionaries(st.text(), inner)
)


@given(values)
def test_equal_to_the_standard_library(value: Any) -> None:
    assert json_text(value) == json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), {"a": [float("-inf")]}])
def test_what_is_no_number_is_refused(value: Any) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_text(value)
