"""A holdout beside, above and below of what was drawn: nothing of it is needed there, and nothing breaks."""

import numpy as np
import pytest

from compositor.colour.space import SRGB
from compositor.pixels.picture import Picture
from compositor.render.layers import Layer, holdout_layer


@pytest.mark.parametrize("offset_px", [(0, 20), (45, 20), (20, 0), (20, 45), (45, 45), (0, 0)])
def test_layers_clear_of_a_holdout_need_nothing_of_it(offset_px: tuple[int, int]) -> None:
    coverage = np.zeros((60, 60), np.uint16)
    coverage[20:40, 20:40] = 65535
    plate = np.full((60, 60, 3), 120, np.uint8)
    drawn = Layer("thing", "element", "over", offset_px, Picture(np.full((10, 10, 4), 65535, np.uint16)))
    assert holdout_layer("post", coverage, [drawn], plate, SRGB) is None


def test_only_what_covers_a_layer_is_drawn() -> None:
    coverage = np.zeros((60, 60), np.uint16)
    coverage[20:40, 20:40] = 65535
    plate = np.full((60, 60, 3), 120, np.uint8)
    drawn = Layer("thing", "element", "over", (35, 10), Picture(np.full((15, 20, 4), 65535, np.uint16)))
    layer = holdout_layer("post", coverage, [drawn], plate, SRGB)
    assert layer is not None
    assert (layer.offset_px, layer.picture.size_px) == ((35, 20), (5, 5))
