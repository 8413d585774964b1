"""What shapes pixels and numbers besides a scene: the versions of the libraries."""

from collections.abc import Mapping
from functools import cache
from platform import python_version

from PIL import features

from compositor.base.installed import installed_version
from compositor.files import codecs


@cache
def versions() -> Mapping[str, str]:
    """Versions of everything that shapes a pixel or a number."""
    names = ("compositor", "numpy", "opencv-python-headless", "pillow", "tifffile")
    libraries = {name: features.version(name) or "none" for name in ("freetype2", "harfbuzz", "raqm", "fribidi")}
    return {
        "python": python_version(),
        **{name: installed_version(name) for name in names},
        **libraries,
        **codecs.versions(),
    }
