"""How large a picture may be, wherever one is opened or made."""

LARGEST_PICTURE_PX = 250_000_000
"""250 megapixels, beyond every single exposure (by eye)."""


def too_large(size_px: tuple[int, int], limit_px: int = LARGEST_PICTURE_PX) -> str | None:
    """What is wrong with a picture of that size (width, height); None for one within the limit."""
    width, height = size_px
    if width * height <= limit_px:
        return None
    given, allowed = width * height / 1e6, limit_px / 1e6
    return f"has {width}×{height} px ({given:.0f} megapixels), more than the limit of {allowed:.0f}: make it smaller"
