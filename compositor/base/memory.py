"""Let the C library keep freed memory for the next picture instead of giving it back after every strip.

Work in strips frees and takes megabytes thousands of times; with the default settings each of them is taken from
and zeroed by the system anew, which was measured to cost more than the arithmetic (doubling a strip: 27 against
128 ms per megapixel). Only on Linux with glibc; elsewhere nothing happens.
"""

import ctypes
import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD, _ARENA_MAX = -1, -3, -8  # malloc.h
_KEPT_BYTES = 256 << 20
_LARGEST_KEPT_BYTES = 32 << 20


def keep_freed_memory() -> bool:
    """Apply the settings to this process; False where the C library has none of them."""
    if sys.platform != "linux":
        return False
    set_option = getattr(ctypes.CDLL(None), "mallopt", None)
    if set_option is None:
        return False
    set_option(_ARENA_MAX, 1)  # threads with heaps of their own give each large block back as soon as it is free
    return bool(set_option(_MMAP_THRESHOLD, _LARGEST_KEPT_BYTES)) and bool(set_option(_TRIM_THRESHOLD, _KEPT_BYTES))
