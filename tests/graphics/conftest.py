"""Fonts of the campaign's scene for the tests of copy."""

from pathlib import Path

import pytest
from PIL import features

FONTS = Path(__file__).parents[2] / "scenes" / "campaign" / "fonts"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Copy cannot be set where FriBiDi is missing; that this is said is tested all the same."""
    if features.check("raqm") and features.check("fribidi"):
        return
    for item in items:
        if "needs_shaping" in item.keywords:
            item.add_marker(pytest.mark.skip(reason="the library FriBiDi is not installed (Debian: libfribidi0)"))


@pytest.fixture
def fonts() -> Path:
    """The folder of the fonts."""
    return FONTS
