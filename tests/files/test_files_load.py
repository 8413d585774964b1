"""Plates, elements and mattes: profiles, alpha, outlines; every expectation is worked out here in float64."""

import io
import struct
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from compositor.base.errors import PictureError
from compositor.colour.coding import decode_float, encode
from compositor.colour.curves import Parametric
from compositor.colour.space import SRGB, Space, rgb_to_xyz_d50, with_own_profile
from compositor.files import load
from compositor.files.header import read_file
from compositor.files.outline import outline_coverage
from compositor.files.png import encode_png
from compositor.files.profile import ASSUMED_SRGB

RANDOM = np.random.default_rng(23)
# SMPTE EG 432-1 primaries, D65, sRGB curve; and the primaries of DCF 2.0's optional colour space, D65, gamma
# 2.19921875 (value from memory).
P3 = with_own_profile(
    Space("P3-like", rgb_to_xyz_d50((0.68, 0.32), (0.265, 0.69), (0.15, 0.06), (0.3127, 0.3290)), SRGB.curves)
)
WIDE = with_own_profile(
    Space(
        "wide",
        rgb_to_xyz_d50((0.64, 0.33), (0.21, 0.71), (0.15, 0.06), (0.3127, 0.3290)),
        (Parametric(2.19921875),) * 3,
    )
)
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


def load_plate(path: Path) -> load.EncodedPlate:
    return load.load_plate(read_file(path))


def load_element(path: Path, matte: Path | None, *rest, **named) -> load.LoadedElement:
    return load.load_element(read_file(path), None if matte is None else read_file(matte), *rest, **named)


def load_matte(path: Path, size_px: tuple[int, int]) -> np.ndarray:
    return load.load_matte(read_file(path), size_px)


def put(path: Path, samples: np.ndarray, icc: bytes | None = None) -> Path:
    path.write_bytes(encode_png(samples, icc))
    return path


@pytest.mark.parametrize("deep", [False, True])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_straight_samples_become_linear_and_premultiplied(tmp_path: Path, dtype: type, deep: bool) -> None:
    top = np.iinfo(dtype).max
    samples = RANDOM.integers(0, top, (70, 9, 4), dtype=dtype, endpoint=True)
    loaded = load_element(put(tmp_path / "e.png", samples), None, SRGB, deep)
    alpha = samples[..., 3:] / top
    wanted = np.dstack([iec_61966_2_1(samples[..., :3] / top) * alpha, alpha])
    result = loaded.picture.samples
    assert result.dtype == (np.float32 if deep else np.uint16)
    np.testing.assert_allclose(result / loaded.picture.full, wanted, atol=2e-7 if deep else 1.01 / 65535)
    assert loaded.notices == (ASSUMED_SRGB,)


@pytest.mark.parametrize("deep", [False, True])
def test_hidden_colour_never_matters(tmp_path: Path, deep: bool) -> None:
    """A disc of one colour, soft at its edge, with white, black and magenta stored under it where nothing is seen."""
    v, u = np.mgrid[:40, :40]
    alpha = np.clip(15.5 - np.hypot(u - 20, v - 20), 0, 1) * 255
    results = []
    for hidden in ((255, 255, 255), (0, 0, 0), (255, 0, 255)):
        samples = np.empty((40, 40, 4), np.uint8)
        samples[..., :3] = np.where(alpha[..., None] > 0, (60, 160, 90), hidden)
        samples[..., 3] = np.rint(alpha)
        results.append(load_element(put(tmp_path / "e.png", samples), None, SRGB, deep).picture.samples)
        shrunk = cv2.resize(results[-1].astype(np.float32), (13, 13), interpolation=cv2.INTER_AREA)
        seen = shrunk[..., 3] > results[-1].max() / 255
        straight = (shrunk[seen][:, :3] / shrunk[seen][:, 3:]).reshape(1, -1, 3)
        codes = encode(np.ascontiguousarray(straight, dtype=np.float32), SRGB, 8)
        assert np.abs(codes.astype(int) - (60, 160, 90)).max() <= 1
    assert (results[0] == results[1]).all()
    assert (results[0] == results[2]).all()


@pytest.mark.parametrize("deep", [False, True])
def test_p3_patch_on_an_srgb_plate(tmp_path: Path, deep: bool) -> None:
    """Against the exact float64 way; 8-bit work to one part in 65535, 16-bit work far below the 64 parts asked for."""
    dtype, top = (np.uint16, 65535) if deep else (np.uint8, 255)
    samples = RANDOM.integers(top // 4, top, (16, 16, 3), dtype=dtype)
    loaded = load_element(put(tmp_path / "e.png", samples, P3.icc), None, SRGB, deep)
    exact = np.clip(iec_61966_2_1(samples / top) @ P3_TO_SRGB.T, 0, 1)
    difference = np.abs(loaded.picture.samples[..., :3] / loaded.picture.full - exact)
    assert difference.max() < 6e-5  # four parts: the published matrix adapts nothing, a profile's is rounded to 16 bits
    assert loaded.notices == ()


def test_p3_patch_within_one_delta_e(tmp_path: Path) -> None:
    """The patch over an sRGB plate, seen by littleCMS: CIE 1976 difference below 1 from the patch itself."""
    patch = np.full((4, 4, 3), (180, 90, 60), np.uint8)
    loaded = load_element(put(tmp_path / "e.png", patch, P3.icc), None, SRGB, deep=False)
    in_srgb = encode(loaded.picture.samples, SRGB, 8)[..., :3]
    lab_profile = ImageCms.createProfile("LAB")

    def lab(samples: np.ndarray, icc: bytes | None) -> np.ndarray:
        assert icc is not None
        source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        converted = ImageCms.profileToProfile(
            Image.fromarray(np.ascontiguousarray(samples)), source, lab_profile, outputMode="LAB"
        )
        values = np.asarray(converted)[0, 0].astype(float)
        signed = np.where(values[1:] > 127, values[1:] - 256, values[1:])
        return np.array([values[0] * 100 / 255, *signed])

    difference = lab(in_srgb, SRGB.icc) - lab(patch, P3.icc)
    assert np.abs(difference).max() <= 1.0  # the Lab picture's own steps are 0.4 and 1
    assert np.abs(in_srgb.astype(int) - patch).max() > 5  # without conversion the numbers would have stayed


def test_srgb_element_in_a_wide_plate_and_back(tmp_path: Path) -> None:
    samples = RANDOM.integers(0, 256, (8, 8, 3), dtype=np.uint8)
    loaded = load_element(put(tmp_path / "e.png", samples, SRGB.icc), None, WIDE, deep=True)
    profiled = encode(loaded.picture.samples, WIDE, 16)[..., :3]
    again = load_element(put(tmp_path / "f.png", np.ascontiguousarray(profiled), WIDE.icc), None, SRGB, deep=True)
    assert (encode(again.picture.samples, SRGB, 8)[..., :3] == samples).all()


def test_plate_keeps_samples_and_profile(tmp_path: Path) -> None:
    for dtype in (np.uint8, np.uint16):
        samples = RANDOM.integers(0, np.iinfo(dtype).max, (5, 6, 3), dtype=dtype)
        plate = load_plate(put(tmp_path / "p.png", samples, WIDE.icc))
        assert (plate.samples == samples).all()
        assert plate.space.icc == WIDE.icc
        assert plate.deep == (dtype == np.uint16)
        assert plate.notices == ()
        again = load_plate(put(tmp_path / "q.png", plate.samples, plate.space.icc))
        assert again.header.icc == WIDE.icc


def test_16_bit_ramp_through_linear_light(tmp_path: Path) -> None:
    ramp = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    plate = load_plate(put(tmp_path / "p.png", np.dstack([ramp] * 3), WIDE.icc))
    assert (encode(decode_float(plate.samples, plate.space), plate.space, 16)[..., 1] == ramp).all()


def test_grey_plates(tmp_path: Path) -> None:
    grey = RANDOM.integers(0, 256, (5, 6, 1), dtype=np.uint8)
    plate = load_plate(put(tmp_path / "p.png", grey))
    assert (plate.samples == np.dstack([grey] * 3)).all()
    assert plate.space == SRGB


def test_plate_with_alpha(tmp_path: Path) -> None:
    samples = np.full((4, 4, 4), 255, np.uint8)
    assert load_plate(put(tmp_path / "p.png", samples)).samples.shape == (4, 4, 3)
    samples[0, 0, 3] = 254
    with pytest.raises(PictureError, match="flatten"):
        load_plate(put(tmp_path / "p.png", samples))


def _table_profile() -> bytes:
    """A scanner profile by lookup table alone (ICC.1:2010 sections 7.2, 8.3, 10.10): R G B corners to Lab."""
    corners = [
        (100 * (r + g + b) / 3, 60 * (r - g), 60 * ((r + g) / 2 - b)) for r in (0, 1) for g in (0, 1) for b in (0, 1)
    ]
    table = b"".join(
        struct.pack(">3H", int(light * 652.8), int(a * 256 + 32768), int(b * 256 + 32768)) for light, a, b in corners
    )
    straight = struct.pack(">2H", 0, 65535) * 3
    identity = struct.pack(">9i", *(65536 if index % 4 == 0 else 0 for index in range(9)))
    lut = b"mft2" + bytes(4) + bytes([3, 3, 2, 0]) + identity + struct.pack(">2H", 2, 2) + straight + table + straight
    white = b"XYZ " + struct.pack(">4x3i", 63190, 65536, 54061)
    tags = {b"A2B0": lut, b"wtpt": white, b"desc": b"desc" + struct.pack(">4xI", 2) + b"t\0".ljust(80, b"\0")}
    place, index, body = 132 + 12 * len(tags), b"", b""
    for name, content in tags.items():
        index += struct.pack(">4sII", name, place + len(body), len(content))
        body += content.ljust(-(-len(content) // 4) * 4, b"\0")
    head = (
        struct.pack(">I4xI", place + len(body), 0x02400000) + b"scnrRGB Lab " + struct.pack(">6H", 2000, 1, 1, 0, 0, 0)
    )
    head += b"acsp" + bytes(28) + struct.pack(">3i", 63190, 65536, 54061)
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + index + body


@pytest.mark.parametrize(("dtype", "top"), [(np.uint8, 255), (np.uint16, 65535)])
def test_table_profile_is_converted_with_a_notice(tmp_path: Path, dtype: type, top: int) -> None:
    """Half way between its black and white lies L* 50, which is code 119 in sRGB (scikit-image: L* 50.03)."""
    samples = np.array([[[0] * 3, [top // 2] * 3, [top] * 3]], dtype=dtype)
    plate = load_plate(put(tmp_path / "p.png", samples, _table_profile()))
    np.testing.assert_allclose(plate.samples[0, :, 1], [0, 119, 255], atol=1)
    assert plate.samples.dtype == np.uint8
    assert plate.space == SRGB
    assert "converted to sRGB" in plate.notices[0]
    assert ("8 bits" in plate.notices[0]) == (dtype == np.uint16)


def test_profile_that_cannot_be_used(tmp_path: Path) -> None:
    samples = np.zeros((4, 4, 3), np.uint8)
    matrix_without_curves = SRGB.icc.replace(b"rTRC", b"xTRC")
    for icc in (b"rubbish", matrix_without_curves):
        with pytest.raises(PictureError, match="colour profile"):
            load_plate(put(tmp_path / "p.png", samples, icc))


def test_own_alpha_times_matte(tmp_path: Path) -> None:
    samples = RANDOM.integers(0, 256, (70, 8, 4), dtype=np.uint8)
    matte = RANDOM.integers(0, 256, (70, 8, 1), dtype=np.uint8)
    element, cut = put(tmp_path / "e.png", samples), put(tmp_path / "m.png", matte)
    alpha = samples[..., 3:] / 255 * (matte / 255)
    wanted = np.dstack([iec_61966_2_1(samples[..., :3] / 255) * alpha, alpha])
    for deep in (False, True):
        picture = load_element(element, cut, SRGB, deep).picture
        np.testing.assert_allclose(picture.samples / picture.full, wanted, atol=1.6 / 65535)


def test_matte_values_are_coverage_as_they_are(tmp_path: Path) -> None:
    """128 of 255 covers half; read through a curve it would cover a fifth (common practice, no source)."""
    path = tmp_path / "m.png"
    assert load_matte(put(path, np.full((3, 3, 1), 128, np.uint8)), (3, 3))[0, 0] == 128 * 257
    assert load_matte(put(path, np.full((3, 3, 1), 12345, np.uint16)), (3, 3))[0, 0] == 12345
    colour = np.full((3, 3, 3), (100, 200, 50), np.uint8)
    assert load_matte(put(path, colour), (3, 3))[0, 0] == round(100 * 0.2126 + 200 * 0.7152 + 50 * 0.0722) * 257
    opaque = np.dstack([colour, np.full((3, 3), 255, np.uint8)])
    assert load_matte(put(path, opaque), (3, 3))[0, 0] == 168 * 257
    opaque[0, 0, 3] = 7
    assert load_matte(put(path, opaque), (3, 3))[0, 0] == 7 * 257


def test_mattes_that_do_not_fit(tmp_path: Path) -> None:
    element = put(tmp_path / "e.png", np.full((6, 8, 3), 90, np.uint8))
    matte = put(tmp_path / "m.png", np.full((8, 6, 1), 90, np.uint8))
    with pytest.raises(PictureError, match="is 6×8 px and its picture 8×6"):
        load_element(element, matte, SRGB, deep=False)
    put(matte, np.zeros((6, 8, 1), np.uint8))
    with pytest.raises(PictureError, match="empty matte") as caught:
        load_element(element, matte, SRGB, deep=False)
    assert caught.value.path == matte
    with pytest.raises(PictureError, match="empty matte"):
        load_element(put(element, np.zeros((6, 8, 4), np.uint8)), None, SRGB, deep=False)


def test_matte_turns_with_its_orientation(tmp_path: Path) -> None:
    """A matte stored sideways with its tag fits an upright element."""
    matte = np.zeros((4, 6), np.uint8)
    matte[0, 5] = 255
    tifffile.imwrite(tmp_path / "m.tif", matte[::-1].T[:, ::1], extratags=[(274, "H", 1, 6, True)])
    upright = load_matte(tmp_path / "m.tif", (6, 4))
    assert upright.shape == (4, 6)
    assert (upright > 0).sum() == 1


def test_outline_cuts_with_exact_edges(tmp_path: Path) -> None:
    element = put(tmp_path / "e.png", np.full((10, 12, 3), 255, np.uint8))
    outline = ((2.25, 1.5), (9.5, 1.5), (9.5, 8.0), (2.25, 8.0))
    alpha = load_element(element, None, SRGB, deep=True, outline_px=outline).picture.samples[..., 3]
    across = np.clip(np.minimum(np.arange(1, 13), 9.5) - np.maximum(np.arange(12), 2.25), 0, 1)
    down = np.clip(np.minimum(np.arange(1, 11), 8.0) - np.maximum(np.arange(10), 1.5), 0, 1)
    np.testing.assert_allclose(alpha, np.outer(down, across), atol=1e-5)


def test_coverage_sums_to_the_area() -> None:
    """Shoelace formula; what 32 lines a pixel miss at sharp corners stays below a two-thousandth."""
    random = np.random.default_rng(9)
    for _ in range(20):
        angles = (np.arange(9) + random.uniform(0, 0.9, 9)) * 2 * np.pi / 9  # no gap so wide that sides could cross
        reach = random.uniform(4, 14, 9)
        polygon = np.column_stack([15 + reach * np.cos(angles), 15 + reach * np.sin(angles)])
        u, v = polygon.T
        area = abs(np.dot(u, np.roll(v, -1)) - np.dot(v, np.roll(u, -1))) / 2
        assert outline_coverage(polygon, (30, 30)).sum() == pytest.approx(area, rel=5e-4)


def test_outline_beyond_the_picture() -> None:
    covered = outline_coverage(np.array([[-5.0, -5.0], [4.5, -5.0], [4.5, 40.0], [-5.0, 40.0]]), (8, 6))
    np.testing.assert_allclose(covered, np.tile([1, 1, 1, 1, 0.5, 0, 0, 0], (6, 1)), atol=1e-6)
    assert outline_coverage(np.array([[20.0, 20.0], [30.0, 20.0], [30.0, 30.0]]), (8, 6)).max() == 0


def test_avif_is_read_like_any_other(tmp_path: Path) -> None:
    """Written by Pillow at its best quality: every sample within two codes, the profile kept."""
    from PIL import features

    if not features.check("avif"):
        pytest.skip("this Pillow was built without AVIF")
    ramp = np.repeat(np.arange(0, 250, 5, dtype=np.uint8)[None, :, None], 40, axis=0).repeat(3, axis=2)
    Image.fromarray(ramp).save(tmp_path / "ramp.avif", quality=100, subsampling="4:4:4", icc_profile=SRGB.icc)
    plate = load_plate(tmp_path / "ramp.avif")
    assert plate.header.format == "avif" and plate.header.icc == SRGB.icc and plate.header.size_px == (50, 40)
    assert np.abs(plate.samples.astype(int) - ramp).max() <= 2
