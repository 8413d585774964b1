"""ICC profiles of RGB and grey spaces that are a matrix and curves: read and built. Source: ICC.1:2010 (4.3) and
ICC.1:2001-04 (2.4); section numbers are those of the former.
"""

import struct
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from compositor.base.errors import CompositorError
from compositor.colour.curves import Curve, Parametric, Sampled

Matrix = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]

_PARAMETERS_OF_TYPE = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}


class ProfileError(CompositorError):
    """A colour profile that cannot be used; the message is a short fact."""


class TableProfileError(ProfileError):
    """An RGB profile that holds lookup tables instead of a matrix and curves."""


@dataclass(frozen=True)
class Profile:
    """What a matrix profile says. to_xyz is None for a grey profile, whose three curves are one."""

    to_xyz: Matrix | None
    curves: tuple[Curve, Curve, Curve]


def read_profile(icc: bytes) -> Profile:
    """Parse a profile of versions 2 and 4. Raises TableProfileError, ProfileError."""
    try:
        return _read(icc)
    except (struct.error, KeyError, IndexError, OverflowError) as error:
        raise ProfileError("the colour profile is damaged") from error


def _read(icc: bytes) -> Profile:
    if icc[36:40] != b"acsp":
        raise ProfileError("the colour profile is damaged (no ICC signature)")
    tags = _tags(icc)
    kind = icc[16:20]
    if kind == b"GRAY" and b"kTRC" in tags:
        grey = _curve(tags[b"kTRC"])
        return Profile(None, (grey, grey, grey))
    if kind != b"RGB ":
        raise ProfileError(f"the colour profile is for {kind.decode('ascii', 'replace').strip()}, RGB or grey wanted")
    wanted = (b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC")
    if any(name not in tags for name in wanted) or icc[20:24] != b"XYZ ":
        raise TableProfileError("the colour profile holds lookup tables")
    red, green, blue = (_xyz(tags[name]) for name in wanted[:3])
    to_xyz: Matrix = ((red[0], green[0], blue[0]), (red[1], green[1], blue[1]), (red[2], green[2], blue[2]))
    determinant = sum(
        to_xyz[0][i]
        * (to_xyz[1][(i + 1) % 3] * to_xyz[2][(i + 2) % 3] - to_xyz[1][(i + 2) % 3] * to_xyz[2][(i + 1) % 3])
        for i in range(3)
    )
    if abs(determinant) < 1e-4:  # sRGB has 0.10; no colour can be told from another near zero
        raise ProfileError("the colour profile has no usable primaries")
    return Profile(to_xyz, (_curve(tags[b"rTRC"]), _curve(tags[b"gTRC"]), _curve(tags[b"bTRC"])))


def _tags(icc: bytes) -> dict[bytes, bytes]:
    """The data of each tag (section 7.3)."""
    (count,) = struct.unpack_from(">I", icc, 128)
    if count > 1000:
        raise ProfileError("the colour profile is damaged (tag count)")
    tags = {}
    for index in range(count):
        name, offset, size = struct.unpack_from(">4sII", icc, 132 + 12 * index)
        tags[name] = icc[offset : offset + size]
    return tags


def _xyz(data: bytes) -> tuple[float, float, float]:
    """An XYZType (section 10.31)."""
    if data[:4] != b"XYZ ":
        raise ProfileError("the colour profile is damaged (primaries)")
    x, y, z = struct.unpack_from(">3i", data, 8)
    return x / 65536, y / 65536, z / 65536


@lru_cache(maxsize=8)
def _curve(data: bytes) -> Curve:
    """A curveType (section 10.6) or a parametricCurveType (10.18). Three that are equal are one object: they are
    compared often."""
    if data[:4] == b"curv":
        return _sampled(data)
    if data[:4] != b"para":
        raise ProfileError("the colour profile is damaged (curves)")
    (kind,) = struct.unpack_from(">H", data, 8)
    values = [value / 65536 for value in struct.unpack_from(f">{_PARAMETERS_OF_TYPE[kind]}i", data, 12)]
    if values[0] <= 0 or (kind > 0 and values[1] <= 0):
        raise ProfileError("the colour profile has a curve that falls")
    if kind in (1, 2):
        gamma, a, b = values[:3]
        lift = values[3] if kind == 2 else 0.0
        return Parametric(gamma, a, b, c=0.0, d=-b / a, e=lift, f=lift)
    return Parametric(*values)


def _sampled(data: bytes) -> Curve:
    (count,) = struct.unpack_from(">I", data, 8)
    if count == 0:
        return Parametric(1.0)
    values = struct.unpack_from(f">{count}H", data, 12)
    if count == 1:
        if values[0] == 0:
            raise ProfileError("the colour profile has a curve that falls")
        return Parametric(values[0] / 256)
    if any(after < before for before, after in pairwise(values)) or values[0] == values[-1]:
        raise ProfileError("the colour profile has a curve that falls")
    return Sampled(tuple(value / 65535 for value in values))


def build_profile(name: str, to_xyz: Matrix, curves: tuple[Curve, Curve, Curve]) -> bytes:
    """A display profile of version 4.3 from a space's own numbers. No clock in it: equal spaces, equal bytes."""
    columns = zip(*to_xyz, strict=True)
    data = {b"desc": _text(name), b"cprt": _text("No copyright, use freely"), b"wtpt": _xyz_data((0.9642, 1.0, 0.8249))}
    data |= {tag: _xyz_data(column) for tag, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)}
    data |= {tag: _curve_data(curve) for tag, curve in zip((b"rTRC", b"gTRC", b"bTRC"), curves, strict=True)}
    table, body = b"", b""
    start = 128 + 4 + 12 * len(data)
    places: dict[bytes, int] = {}
    for tag, content in data.items():
        if content not in places:  # equal data is stored once
            places[content] = start + len(body)
            body += content + bytes(-len(content) % 4)
        table += struct.pack(">4sII", tag, places[content], len(content))
    return _header(start + len(body)) + struct.pack(">I", len(data)) + table + body


def _header(size: int) -> bytes:
    """Section 7.2, with a fixed date and no profile ID."""
    date = struct.pack(">6H", 2000, 1, 1, 0, 0, 0)
    white = struct.pack(">3i", *(_fixed(value) for value in (0.9642, 1.0, 0.8249)))
    return (
        struct.pack(">I4xI", size, 0x04300000) + b"mntrRGB XYZ " + date + b"acsp" + bytes(24) + bytes(4) + white
    ).ljust(128, b"\0")


def _fixed(value: float) -> int:
    """s15Fixed16Number."""
    return round(value * 65536)


def _text(text: str) -> bytes:
    """multiLocalizedUnicodeType (section 10.13), one record in English."""
    encoded = text.encode("utf-16-be")
    return b"mluc" + struct.pack(">4xII2s2sII", 1, 12, b"en", b"US", len(encoded), 28) + encoded


def _xyz_data(xyz: tuple[float, ...]) -> bytes:
    return b"XYZ " + struct.pack(">4x3i", *(_fixed(value) for value in xyz))


def _curve_data(curve: Curve) -> bytes:
    if isinstance(curve, Sampled):
        values = [round(value * 65535) for value in curve.values]
        return b"curv" + struct.pack(f">4xI{len(values)}H", len(values), *values)
    numbers = (curve.gamma, curve.a, curve.b, curve.c, curve.d, curve.e, curve.f)
    return b"para" + struct.pack(">4xH2x7i", 4, *(_fixed(value) for value in numbers))
