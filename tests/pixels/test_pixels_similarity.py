"""SSIM against published equations and values of an independent implementation."""

import csv
from pathlib import Path

import cv2
import numpy as np
import pytest

from compositor.pixels.similarity import structural_similarity

TABLE = {
    row["variant"]: float(row["ssim_wang2004_valid_region"])
    for row in csv.DictReader((Path(__file__).parent.parent / "reference" / "ssim.csv").read_text().splitlines())
}


def pattern() -> np.ndarray:
    """The 64×64 test picture of the table."""
    y, x = np.mgrid[0:64, 0:64]
    return ((4 * x + 2 * y + 40 * ((x // 8 + y // 8) % 2)) % 256).astype(np.uint8)


def variants() -> dict[str, np.ndarray]:
    picture = pattern()
    whole = picture.astype(int)
    flipped, patched = picture.copy(), picture.copy()
    flipped[32, 32] ^= 0x80
    patched[28:36, 28:36] = 0
    return {
        "identical": picture,
        "plus16_clip": np.minimum(whole + 16, 255),
        "half_contrast": 128 + (whole - 128) // 2,
        "shift1px_right": np.roll(picture, 1, axis=1),
        "invert": 255 - whole,
        "box3": cv2.blur(picture, (3, 3)),
        "gauss_s2": cv2.GaussianBlur(picture, (0, 0), 2),
        "quant16": whole // 16 * 16 + 8,
        "one_pixel": flipped,
        "patch8x8_zero": patched,
    }


def test_the_pattern_is_the_tables() -> None:
    picture = pattern()
    assert int(picture.sum()) == 520192
    assert picture[0, :8].tolist() == list(range(0, 32, 4)) and picture[63, 63] == 122


@pytest.mark.parametrize("name", TABLE)
def test_values_of_the_table(name: str) -> None:
    found = structural_similarity(pattern().astype(np.float64), variants()[name].astype(np.float64), 255).mean()
    rounding = 1e-4 if name in ("box3", "gauss_s2") else 1e-6  # depends on how the blurred picture was rounded
    assert found == pytest.approx(TABLE[name], abs=rounding)


@pytest.mark.parametrize(
    ("one", "other", "wanted"),
    [(100, 120, 0.9836109250), (100, 150, 0.9230923105), (0, 255, 0.0000999900), (118, 128, 0.9967012488)],
)
def test_flat_pictures(one: int, other: int, wanted: float) -> None:
    """(2ab + C1) / (a² + b² + C1), equation 6 of the paper with C1 = 6.5025."""
    flat = [np.full((16, 16), value, np.float64) for value in (one, other)]
    assert structural_similarity(*flat, 255).mean() == pytest.approx(wanted, abs=1e-9)
