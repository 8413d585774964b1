"""The one internal form of a picture."""

from dataclasses import dataclass

import numpy as np

from compositor.base.arrays import Pixels


@dataclass(frozen=True)
class Picture:
    """Linear light in the plate's primaries, premultiplied alpha, R G B A, shape (height, width, 4).

    dtype uint16 (0..65535 = 0..1) for 8-bit work, float32 (0..1) for 16-bit work. Plates are opaque: their
    fourth channel is full.
    """

    samples: Pixels

    def __post_init__(self) -> None:
        if self.samples.ndim != 3 or self.samples.shape[2] != 4:
            raise ValueError(f"samples of shape (h, w, 4) wanted, got {self.samples.shape}")
        if self.samples.dtype not in (np.uint16, np.float32):
            raise ValueError(f"samples of uint16 or float32 wanted, got {self.samples.dtype}")

    @property
    def size_px(self) -> tuple[int, int]:
        """(width, height)."""
        return self.samples.shape[1], self.samples.shape[0]

    @property
    def full(self) -> float:
        """The sample value of 1.0."""
        return 65535.0 if self.samples.dtype == np.uint16 else 1.0
