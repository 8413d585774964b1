"""Deliveries: format, depth and profile as re-read by Pillow and OpenCV."""

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from compositor.colour.space import DCF_OPTIONAL
from compositor.deliver.writing import encode_delivery
from compositor.plan.model import Delivery

SMOOTH_16 = np.dstack([np.tile(np.linspace(0, 65535, 64).astype(np.uint16), (48, 1))] * 3)


def delivery(kind: str) -> Delivery:
    return Delivery("wide", kind, 95, (0, 0, 64, 48), (64, 48))


@pytest.mark.parametrize("kind", ["png", "jpeg"])
@pytest.mark.parametrize("depth_bits", [8, 16])
def test_formats_depths_and_profile(kind: str, depth_bits: int) -> None:
    samples = SMOOTH_16 if depth_bits == 16 else np.rint(SMOOTH_16 / 257).astype(np.uint8)
    data = encode_delivery(samples, DCF_OPTIONAL, delivery(kind), dpi=(240, 240))
    with Image.open(io.BytesIO(data)) as picture:
        assert picture.format == kind.upper()
        assert picture.info["icc_profile"] == DCF_OPTIONAL.icc
        assert picture.info["dpi"] == pytest.approx((240, 240), abs=0.02)
    read = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if kind == "png":
        assert (read == samples).all()
    else:
        assert read.dtype == np.uint8
        assert np.abs(read - SMOOTH_16 / 257).max() <= 3
