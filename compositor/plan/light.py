"""The light of the plate and the shadows that elements throw in it, as plain numbers."""

from dataclasses import dataclass

from compositor.geometry.shadow import Frame
from compositor.geometry.solid import Solid
from compositor.geometry.sun import Sun

Rgb = tuple[float, float, float]
Point = tuple[float, float]


@dataclass(frozen=True)
class Shadow:
    """What one element takes from the light. cast: the sun's; contact: the sky's, close to where it stands."""

    element: str
    solid: Solid
    frame: Frame
    cast: bool
    contact: bool


@dataclass(frozen=True)
class Light:
    """The light on the plate's ground.

    sun: None = nothing throws a cast shadow. left_ratio: linear light on the ground where the sun is hidden over that
    where it shines, per channel of the plate's primaries. shade: the matte of ground that lies in shadow already.
    walls_m: where walls meet the ground, from and to (X, Y). shadows: in draw order. assumed: what nothing states.
    """

    sun: Sun | None
    left_ratio: Rgb
    shade: str | None
    walls_m: tuple[tuple[Point, Point], ...]
    shadows: tuple[Shadow, ...]
    assumed: tuple[str, ...] = ()
