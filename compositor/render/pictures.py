"""Where the pixels of a plan come from."""

from collections.abc import Callable
from dataclasses import dataclass

from compositor.base.arrays import Pixels
from compositor.pixels.mips import Mips
from compositor.plan.model import Source
from compositor.render.shaping import Keep, Share, anew, made_now
from compositor.render.surround import Surround


@dataclass(frozen=True)
class Pictures:
    """Where the pixels of a plan come from, prepared by whoever opens files.

    element: the pyramid of a source (linear light in the plate's primaries, premultiplied, distortion removed).
    matte: the coverage of a holdout in the full frame, (h, w), uint16 or float32 like the elements.
    surround: the full frame's plate, to be measured where effects ask for it; None = without effects.
    keep: layers by all that shapes them, where they were made before; else it makes them. share: what views have in
    common. let_go: nobody looks at an element again once it is drawn.
    """

    element: Callable[[Source], Mips]
    matte: Callable[[str], Pixels]
    surround: Surround | None = None
    keep: Keep = anew
    share: Share = made_now
    let_go: bool = False
