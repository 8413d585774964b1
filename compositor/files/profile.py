"""Which RGB space a file's samples are in."""

import io
from dataclasses import replace

import numpy as np
from PIL import Image, ImageCms

from compositor.base.arrays import Pixels
from compositor.base.errors import PictureError
from compositor.colour.coding import as_eight_bits
from compositor.colour.icc import ProfileError, TableProfileError, read_profile
from compositor.colour.space import DCF_OPTIONAL, SRGB, Space, with_own_profile
from compositor.files.header import Header

ASSUMED_SRGB = "No colour profile is stored, so sRGB is assumed"


def in_known_space(header: Header, samples: Pixels) -> tuple[Pixels, Space, tuple[str, ...]]:
    """The samples, the space they are in, and what had to be assumed or converted. Raises PictureError.

    A profile that is no matrix and curves is converted to sRGB by littleCMS, in 8 bits: its 16-bit way is coarser.
    """
    if header.icc is None:
        if header.dcf_optional:
            return (
                samples,
                DCF_OPTIONAL,
                ("No colour profile is stored, so the optional colour space of DCF is assumed, as Exif says",),
            )
        return samples, SRGB, (ASSUMED_SRGB,)
    try:
        profile = read_profile(header.icc)
    except TableProfileError:
        converted = _converted_by_tables(header, samples)
        note = "" if header.depth_bits == 8 else ", at 8 bits"
        return converted, SRGB, (f"The colour profile holds lookup tables, so the picture is converted to sRGB{note}",)
    except ProfileError as error:
        raise PictureError(header.path, str(error)) from error
    if profile.to_xyz is None:
        grey = with_own_profile(replace(SRGB, name="grey with its own curve", curves=profile.curves))
        return samples, grey, ()
    return samples, Space("embedded profile", profile.to_xyz, profile.curves, header.icc), ()


def _converted_by_tables(header: Header, samples: Pixels) -> Pixels:
    """uint8 sRGB samples; alpha is carried over."""
    eight = as_eight_bits(samples)
    assert header.icc is not None and SRGB.icc is not None
    result = eight.copy()
    try:
        source, target = (ImageCms.ImageCmsProfile(io.BytesIO(icc)) for icc in (header.icc, SRGB.icc))
        picture = Image.fromarray(np.ascontiguousarray(eight[..., :3]))
        converted = ImageCms.profileToProfile(picture, source, target)
    except (ImageCms.PyCMSError, OSError, ValueError) as error:
        raise PictureError(header.path, "the colour profile cannot be used") from error
    result[..., :3] = np.asarray(converted)
    return result
