"""Profiles read and built; the other side is littleCMS (through Pillow) and profiles written here from the ICC text."""

import io
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms

from compositor.colour.coding import decode, encode
from compositor.colour.curves import Parametric, Sampled
from compositor.colour.icc import ProfileError, TableProfileError, build_profile, read_profile
from compositor.colour.space import SRGB, Space, rgb_to_xyz_d50

# Bradford-adapted to D50, B. Lindbloom, "RGB/XYZ Matrices" (values from memory). That page takes the D50 of ASTM E308,
# Z = 0.82521; ICC.1:2010 section 7.2.16 has 0.8249, so the Z row is brought to the latter.
_ICC_WHITE = np.array([[1.0], [1.0], [0.8249 / 0.82521]])
SRGB_D50 = _ICC_WHITE * [
    [0.4360747, 0.3850649, 0.1430804],
    [0.2225045, 0.7168786, 0.0606169],
    [0.0139322, 0.0971045, 0.7141733],
]
DCF_OPTIONAL_D50 = _ICC_WHITE * [
    [0.6097559, 0.2052401, 0.1492240],
    [0.3111242, 0.6256560, 0.0632197],
    [0.0194811, 0.0608902, 0.7448387],
]


def test_srgb_matrix_is_the_published_one() -> None:
    np.testing.assert_allclose(SRGB.to_xyz, SRGB_D50, atol=1e-4)


def test_dcf_optional_matrix_from_its_chromaticities() -> None:
    matrix = rgb_to_xyz_d50((0.64, 0.33), (0.21, 0.71), (0.15, 0.06), (0.3127, 0.3290))
    np.testing.assert_allclose(matrix, DCF_OPTIONAL_D50, atol=1e-4)


def test_our_srgb_profile_is_srgb_for_littlecms() -> None:
    """Every 8-bit colour of a coarse cube goes through littleCMS from ours to its own sRGB unchanged."""
    assert SRGB.icc is not None
    ours = ImageCms.ImageCmsProfile(io.BytesIO(SRGB.icc))
    steps = np.linspace(0, 255, 18).round().astype(np.uint8)
    cube = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(1, -1, 3)
    result = ImageCms.profileToProfile(Image.fromarray(cube), ours, ImageCms.createProfile("sRGB"))
    assert result is not None
    assert np.abs(np.asarray(result).astype(int) - cube).max() <= 1
    assert ImageCms.getProfileDescription(ours).strip() == "sRGB"


def test_littlecms_srgb_profile_read() -> None:
    theirs = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    profile = read_profile(theirs)
    assert profile.to_xyz is not None
    np.testing.assert_allclose(profile.to_xyz, SRGB_D50, atol=1e-4)
    codes = np.linspace(0, 1, 256)
    np.testing.assert_allclose(profile.curves[0].to_linear(codes), SRGB.curves[0].to_linear(codes), atol=1e-4)


def test_built_profiles_have_no_clock_and_read_back() -> None:
    curves = (Parametric(1.8), Sampled((0.0, 0.2, 1.0)), Parametric(2.2))
    first = build_profile("three curves", SRGB.to_xyz, curves)
    assert first == build_profile("three curves", SRGB.to_xyz, curves)
    assert struct.unpack_from(">I", first)[0] == len(first)
    profile = read_profile(first)
    assert profile.to_xyz is not None
    np.testing.assert_allclose(profile.to_xyz, SRGB.to_xyz, atol=1e-5)
    for written, read in zip(curves, profile.curves, strict=True):
        values = np.linspace(0, 1, 33)
        np.testing.assert_allclose(read.to_linear(values), written.to_linear(values), atol=2e-5)


def _hand_written(trc: bytes, kind: bytes = b"RGB ", pcs: bytes = b"XYZ ", tags: tuple[bytes, ...] = ()) -> bytes:
    """A profile from the ICC text: header, tag table, three primaries, one curve."""
    names = tags or (b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC")
    columns = np.array(SRGB_D50).T
    data = {}
    for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True):
        data[name] = b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(v * 65536) for v in column))
    table, body = struct.pack(">I", len(names)), b""
    start = 132 + 12 * len(names)
    for name in names:
        content = data.get(name, trc)
        table += name + struct.pack(">II", start + len(body), len(content))
        body += content.ljust(-(-len(content) // 4) * 4, b"\0")
    header = bytearray(128)
    header[16:20], header[20:24], header[36:40] = kind, pcs, b"acsp"
    return bytes(header) + table + body


def _para(kind: int, *values: float) -> bytes:
    return b"para\0\0\0\0" + struct.pack(f">HH{len(values)}i", kind, 0, *(round(v * 65536) for v in values))


# ICC.1:2010 table 65, each type worked at x = 0.01 (below d where there is one) and x = 0.5.
PARAMETRIC = [
    ((0, 2.0), 0.0001, 0.25),
    ((1, 2.0, 0.5, -0.05), 0.0, 0.04),
    ((2, 2.0, 0.5, -0.05, 0.125), 0.125, 0.165),
    ((3, 2.0, 0.5, 0.25, 0.5, 0.25), 0.005, 0.25),
    ((4, 2.0, 0.5, 0.25, 0.5, 0.25, 0.125, 0.0625), 0.0675, 0.375),
]


@pytest.mark.parametrize(("para", "at_001", "at_05"), PARAMETRIC)
def test_parametric_types(para: tuple[float, ...], at_001: float, at_05: float) -> None:
    curve = read_profile(_hand_written(_para(int(para[0]), *para[1:]))).curves[0]
    np.testing.assert_allclose(curve.to_linear(np.array([0.01, 0.5])), [at_001, at_05], atol=3e-5)


@pytest.mark.parametrize(
    ("trc", "at_half"),
    [
        (struct.pack(">4s4xI", b"curv", 0), 0.5),
        (struct.pack(">4s4xIH", b"curv", 1, 0x0200), 0.25),
        (struct.pack(">4s4xI3H", b"curv", 3, 0, 16384, 65535), 16384 / 65535),
    ],
)
def test_curve_types(trc: bytes, at_half: float) -> None:
    assert read_profile(_hand_written(trc)).curves[1].to_linear(np.array(0.5)) == pytest.approx(at_half, abs=1e-9)


def test_grey_profile() -> None:
    profile = read_profile(_hand_written(_para(0, 2.2), kind=b"GRAY", tags=(b"kTRC",)))
    assert profile.to_xyz is None
    assert profile.curves[0] == profile.curves[2]


def test_what_is_refused() -> None:
    good = _hand_written(_para(0, 2.2))
    with pytest.raises(ProfileError, match="for CMYK"):
        read_profile(_hand_written(_para(0, 2.2), kind=b"CMYK"))
    with pytest.raises(TableProfileError):
        read_profile(_hand_written(_para(0, 2.2), pcs=b"Lab "))
    with pytest.raises(TableProfileError):
        read_profile(_hand_written(_para(0, 2.2), tags=(b"A2B0", b"B2A0")))
    for damaged in (b"", good[:140], good[:-30], good.replace(b"acsp", b"pdcs"), good[:128] + b"\xff" * 8):
        with pytest.raises(ProfileError, match="damaged"):
            read_profile(damaged)
    with pytest.raises(ProfileError, match="falls"):
        read_profile(_hand_written(struct.pack(">4s4xI3H", b"curv", 3, 0, 40000, 30000)))


# ITU-R BT.709 / IEC 61966-2-1 curve and a plain power in 8 bits, the second losing codes to rounding near black.
@pytest.mark.parametrize("gamma", [1.0, 1.8, 2.2, 2.6])
def test_every_code_of_a_power_space_survives_linear_16(gamma: float) -> None:
    profile = read_profile(_hand_written(_para(0, gamma)))
    space = Space("power", SRGB.to_xyz, profile.curves)
    codes = np.repeat(np.arange(256, dtype=np.uint8), 4).reshape(1, 256, 4)
    assert (encode(decode(codes, space), space, 8) == codes).all()
    linear = decode(codes, space)[0, :, 0].astype(float) / 65535
    np.testing.assert_allclose(linear, (np.arange(256) / 255) ** gamma, atol=6e-5)
