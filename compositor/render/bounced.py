"""Light that comes back where an element keeps the sky's light away: in the sky's place the ground sees the element's
own face, which has light of its own colour to send.

A face of radiance L over a share k of the sky, weighted as ground sees it, lights the ground by k·π·L; open ground of
reflectance ρ shows L₀ = ρ·E/π. So what comes back is k·ρ·L / L₀ of open ground's light E. One bounce, between
surfaces that spread light evenly (radiosity: Goral et al., Modeling the Interaction of Light Between Diffuse Surfaces,
1984). The picture shows the face that is turned to the camera; the one turned to the shadow has the same paint in the
light of half the sky and of the ground before it.
"""

from dataclasses import dataclass
from math import acos, hypot, pi, radians, sin, tan

import numpy as np

from compositor.base.arrays import Floats
from compositor.plan.light import Light
from compositor.plan.model import PlacedElement, Plan
from compositor.render.finish import Finishing
from compositor.render.pictures import Pictures

GROUND_REFLECTANCE = 0.3
"""Dry concrete (handbooks of lighting, value from memory). Of the ground's brightness only: its colour is what the
plate shows, whose white is taken for white."""

_DARKEST = 1e-4


@dataclass(frozen=True)
class Faced:
    """What an element's face and the ground at its place show, linear R G B (3,). camera: horizontal unit direction
    from the element to the plate's camera. shaded: how much of that ground lies in the plate's own shade, 0..1."""

    face: Floats
    ground: Floats
    camera: tuple[float, float]
    shaded: float = 0.0


def returned(element: PlacedElement, plan: Plan, pictures: Pictures) -> Floats:
    """The share (3,) of the sky's light kept away that comes back from an element; none where nothing is measured."""
    surround, light = pictures.surround, plan.light
    if surround is None or light is None:
        return np.zeros(3)
    face = Finishing(plan.plate, surround).shown(element, pictures.element(element.source))
    ground = surround.ground(element)
    if face is None or ground is None:
        return np.zeros(3)
    away_m = max(float(np.hypot(element.offset_m, element.distance_m)), _DARKEST)
    camera = -element.offset_m / away_m, -element.distance_m / away_m
    shaded = 0.0 if light.shade is None else surround.ground_coverage(element, pictures.matte(light.shade))
    return sent_back(Faced(face, ground, camera, shaded), light, surround.space.luminance)


def sent_back(faced: Faced, light: Light, luminance: Floats) -> Floats:
    """The share (3,) of the sky's light kept away that comes back from the element, 0..1 per channel.

    luminance: of the plate's primaries.
    """
    left = np.maximum(np.array(light.left_ratio), _DARKEST)
    open_ground = np.maximum(faced.ground / (1.0 - (1.0 - left) * faced.shaded), _DARKEST)
    white = float(luminance @ open_ground) / GROUND_REFLECTANCE
    sunlit, from_sun = _sunlight(light, faced)
    before_it = open_ground / white * (sunlit + (1.0 - sunlit) * left)
    in_shade = (left + before_it) / 2.0
    paint = np.clip(faced.face / (white * (in_shade + (1.0 - left) * from_sun)), 0.0, 1.0)
    result: Floats = np.minimum(paint * in_shade / left, 1.0)
    return result


def _sunlight(light: Light, faced: Faced) -> tuple[float, float]:
    """How much of the ground that the face turned to the shadow sees is in the sun, 0..1, and the sun's light on what
    the camera sees of the element over that on open ground.

    From a height z over ground whose shadow ends at d, sin atan(z/d) of what is seen of the ground lies beyond; its
    mean over a wall, whose shadow ends at height / tan(elevation), is tan(elevation / 2). What is seen is taken for an
    upright cylinder: the mean of cos over its visible half is ((π - a) cos a + sin a) / 4, with a between the ways to
    the sun and to the camera on the ground (Lambert).
    """
    if light.sun is None:
        return 1.0, 0.0
    x, y, z = (float(value) for value in light.sun.direction)
    level = max(hypot(x, y), _DARKEST)
    apart = min(max((faced.camera[0] * x + faced.camera[1] * y) / level, -1.0), 1.0)
    seen = ((pi - acos(apart)) * apart + sin(acos(apart))) / 4.0
    open_fraction = 1.0 - faced.shaded
    return open_fraction * tan(radians(light.sun.elevation_deg) / 2.0), open_fraction * seen * level / z
