"""Samples to linear light and back against float64 formulas written out here."""

import numpy as np
import pytest

from compositor.colour.coding import (
    as_eight_bits,
    convert_linear,
    decode,
    decode_float,
    encode,
    encode_colours,
    encode_float,
    opaque_codes,
    opaque_light,
)
from compositor.colour.curves import Parametric, Sampled
from compositor.colour.space import SRGB, Space, rgb_to_xyz_d50

# SMPTE EG 432-1 primaries with white D65 and the sRGB curve (value from memory).
P3 = Space("P3-like", rgb_to_xyz_d50((0.68, 0.32), (0.265, 0.69), (0.15, 0.06), (0.3127, 0.3290)), SRGB.curves)
GAMMAS = Space("three", SRGB.to_xyz, (Parametric(1.0), Parametric(2.0), Parametric(3.0)))
# Linear P3 (D65) to linear sRGB, CSS Color Module Level 4 sample code (value from memory).
P3_TO_SRGB = np.array(
    [
        [1.2249401762805587, -0.22494017628055865, 0.0],
        [-0.042056954709688163, 1.0420569547096881, 0.0],
        [-0.019637554590334432, -0.078636045550631889, 1.0982736001409663],
    ]
)


def iec_61966_2_1(encoded: np.ndarray) -> np.ndarray:
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def test_every_8_bit_code_survives_linear_16() -> None:
    codes = np.arange(256, dtype=np.uint8).repeat(4).reshape(16, 16, 4)
    linear = decode(codes, SRGB)
    assert linear.dtype == np.uint16
    np.testing.assert_allclose(linear[..., :3] / 65535, iec_61966_2_1(codes[..., :3] / 255), atol=0.51 / 65535)
    assert (linear[..., 3] == codes[..., 3].astype(int) * 257).all()
    assert (encode(linear, SRGB, 8) == codes).all()


@pytest.mark.parametrize("curve", [SRGB.curves[0], Parametric(1.8), Sampled(tuple(np.linspace(0, 1, 300) ** 1.5))])
@pytest.mark.parametrize("channels", [3, 4])
def test_every_16_bit_code_survives_float(curve: Parametric | Sampled, channels: int) -> None:
    space = Space("any", SRGB.to_xyz, (curve, curve, curve))
    codes = np.arange(65536, dtype=np.uint16).repeat(channels).reshape(256, 256, channels)
    linear = decode(codes, space)
    assert linear.dtype == np.float32
    assert (encode(linear, space, 16) == codes).all()


def test_16_bit_light_is_the_standards() -> None:
    codes = np.arange(65536, dtype=np.uint16).repeat(3).reshape(256, 256, 3)
    exact = iec_61966_2_1(codes / 65535)
    np.testing.assert_allclose(decode(codes, SRGB), exact, rtol=2e-7)
    eight = np.arange(256, dtype=np.uint8).repeat(3).reshape(1, 256, 3)
    np.testing.assert_allclose(decode_float(eight, SRGB), iec_61966_2_1(eight / 255), rtol=2e-7)


def test_mixed_depths_agree() -> None:
    linear16 = np.arange(65536, dtype=np.uint16).repeat(3).reshape(256, 256, 3)
    as_float = (linear16 / 65535).astype(np.float32)
    difference = encode(linear16, SRGB, 16).astype(int) - encode(as_float, SRGB, 16).astype(int)
    assert np.abs(difference).max() <= 1
    difference = encode(linear16, SRGB, 8).astype(int) - encode(as_float, SRGB, 8).astype(int)
    assert (difference != 0).mean() < 0.001


def test_half_light_is_code_188() -> None:
    """A checker of black and white averages to code 188 (IEC 61966-2-1: linear 0.5 is 187.516)."""
    assert (encode(np.full((1, 1, 3), 0.5, np.float32), SRGB, 8) == 188).all()
    assert (encode(np.full((1, 1, 3), 32768, np.uint16), SRGB, 8) == 188).all()


def test_values_outside_are_clipped() -> None:
    wild = np.array([[[-0.5, 0.5, 7.0]]], dtype=np.float32)
    assert encode(wild, SRGB, 16).tolist() == [[[0, 48192, 65535]]]  # 0.7353569831 · 65535 = 48191.6


def test_out_is_filled() -> None:
    codes = np.arange(48, dtype=np.uint8).reshape(4, 4, 3)
    linear = np.zeros((4, 4, 3), np.uint16)
    assert decode(codes, SRGB, out=linear) is linear
    assert linear.max() > 0
    back = np.zeros((8, 4, 3), np.uint8)
    encode(linear, SRGB, 8, out=back[2:6])
    assert (back[2:6] == codes).all()
    assert back[:2].max() == 0


def test_three_curves_each_on_its_channel() -> None:
    linear = decode(np.full((1, 1, 3), 128, np.uint8), GAMMAS)[0, 0] / 65535
    np.testing.assert_allclose(linear, [(128 / 255) ** power for power in (1, 2, 3)], atol=1e-5)
    codes = np.full((2, 2, 3), 30000, np.uint16)
    assert (encode(decode(codes, GAMMAS), GAMMAS, 16) == codes).all()


@pytest.mark.parametrize("space", [SRGB, GAMMAS], ids=["equal curves", "unequal curves"])
@pytest.mark.parametrize("depth_bits", [8, 16])
def test_with_and_without_a_fourth_channel_every_value_comes_out_alike(space, depth_bits):
    """The shorter ways for opaque pictures against the way with a table for each of four channels; all values."""
    kind, codes = (np.uint8, 256) if depth_bits == 8 else (np.uint16, 65536)
    stored = np.random.default_rng(3).permuted(np.tile(np.arange(codes), (3, 1)), axis=1).T.reshape(16, -1, 3)
    stored = stored.astype(kind)
    full = np.full((*stored.shape[:2], 1), codes - 1, kind)
    four = decode(np.dstack([stored, full]), space)
    assert (four[..., 3] == (65535 if depth_bits == 8 else 1)).all()
    np.testing.assert_array_equal(decode(stored, space), four[..., :3])
    np.testing.assert_array_equal(opaque_light(stored, space), four)
    np.testing.assert_array_equal(decode_float(stored, space), decode_float(np.dstack([stored, full]), space)[..., :3])


@pytest.mark.parametrize("space", [SRGB, GAMMAS], ids=["equal curves", "unequal curves"])
@pytest.mark.parametrize("kind", [np.uint16, np.float32])
@pytest.mark.parametrize("depth_bits", [8, 16])
def test_with_and_without_a_fourth_channel_every_light_is_encoded_alike(space, kind, depth_bits):
    light = np.random.default_rng(4).permuted(np.tile(np.arange(65536), (3, 1)), axis=1).T.reshape(64, -1, 3)
    full = 65535 if kind is np.uint16 else 1
    light = (light if kind is np.uint16 else light / 65535).astype(kind)
    with_alpha = np.dstack([light, np.full((*light.shape[:2], 1), full, kind)])
    four, codes = encode(with_alpha, space, depth_bits), np.uint8 if depth_bits == 8 else np.uint16
    np.testing.assert_array_equal(encode(light, space, depth_bits), four[..., :3])
    np.testing.assert_array_equal(encode_colours(with_alpha, space, depth_bits), four)
    opaque = np.zeros(light.shape, codes)
    opaque_codes(with_alpha, space, opaque)
    np.testing.assert_array_equal(opaque, four[..., :3])


def test_p3_to_srgb_is_the_published_matrix() -> None:
    random = np.random.default_rng(7)
    colours = random.uniform(0, 1, (8, 8, 3)).astype(np.float32)
    np.testing.assert_allclose(convert_linear(colours, P3, SRGB), colours @ P3_TO_SRGB.T, atol=2e-4)
    with_alpha = np.dstack([colours, colours[..., 0]])
    converted = convert_linear(with_alpha, P3, SRGB)
    np.testing.assert_allclose(converted[..., :3], colours @ P3_TO_SRGB.T, atol=2e-4)
    assert (converted[..., 3] == with_alpha[..., 3]).all()


def test_16_bit_linear_conversion_clips_and_rounds() -> None:
    """Pure P3 green lies outside sRGB: red and blue are negative there, green above 1."""
    pixel = np.array([[[0, 65535, 0], [20000, 20000, 20000]]], dtype=np.uint16)
    converted = convert_linear(pixel, P3, SRGB)
    assert converted[0, 0].tolist() == [0, 65535, 0]
    assert np.abs(converted[0, 1].astype(int) - 20000).max() <= 1


def test_same_primaries_give_the_same_array() -> None:
    colours = np.zeros((2, 2, 4), np.uint16)
    other = Space(
        "sRGB as another maker rounds it", tuple(tuple(v + 3e-5 for v in row) for row in SRGB.to_xyz), SRGB.curves
    )
    assert convert_linear(colours, other, SRGB) is colours
    assert convert_linear(colours, P3, SRGB) is not colours


def test_float_codes_and_eight_bits() -> None:
    linear = np.linspace(0, 65535, 3000).astype(np.uint16).reshape(10, 100, 3)
    exact = np.where(linear / 65535 <= 0.0031308, linear / 65535 * 12.92, 1.055 * (linear / 65535) ** (1 / 2.4) - 0.055)
    np.testing.assert_allclose(encode_float(linear, SRGB), exact, atol=1e-6)
    np.testing.assert_allclose(encode_float((linear / 65535).astype(np.float32), SRGB), exact, atol=1e-6)
    codes = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    assert (as_eight_bits(codes) == np.rint(codes / 257)).all()
