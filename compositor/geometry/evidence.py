"""Kinds of evidence about a camera, each as errors in its own standard deviations.

What is sought is Sought: focal length, pitch, roll, camera height, a heading for every group of level edges and a
height for every set of equal objects. Every piece of evidence says how far it is off a candidate; all are weighed
against each other in :mod:`compositor.geometry.weighing`.

Sources: misfits of edges as in :mod:`compositor.geometry.vanishing`; heights by A. Criminisi, I. Reid, A. Zisserman,
Single View Metrology, IJCV 40(2), 2000: top = base + (h/H)·(horizon·base)·zenith, homogeneous and properly scaled.
"""

from dataclasses import dataclass
from math import log, sqrt
from typing import Protocol

import numpy as np

from compositor.base.arrays import Floats
from compositor.geometry.camera import Camera
from compositor.geometry.structure import Structure
from compositor.geometry.vanishing import ENDPOINT_SD_PX, misfits

Pixel = tuple[float, float]
HEADING, HEIGHT = "heading", "height"


@dataclass(frozen=True)
class Sought:
    """A candidate: the camera, and by the evidence's name its own unknown (radians, or metres)."""

    camera: Camera
    own: dict[str, float]


class Evidence(Protocol):
    """What every kind offers. own: the kind of unknown it brings along, if any. metric: it tells metres."""

    @property
    def name(self) -> str:
        """How the user calls it."""

    @property
    def own(self) -> str | None:
        """HEADING, HEIGHT or None."""

    @property
    def metric(self) -> bool:
        """Whether it fixes the scale of the world."""

    @property
    def needs_height(self) -> bool:
        """Whether the camera's height has a part in it."""

    def errors(self, sought: Sought) -> Floats:
        """Errors (k,) in standard deviations."""


@dataclass(frozen=True)
class LevelEdges:
    """Edges (n, 2, 2) that are parallel and level in the world. right_angle_to: the name of another group."""

    name: str
    edges_px: Floats
    endpoint_sd_px: float = ENDPOINT_SD_PX
    right_angle_to: str | None = None
    own: str | None = HEADING
    metric: bool = False
    needs_height: bool = False

    def errors(self, sought: Sought) -> Floats:
        """Misfits of the edges to the vanishing point of their heading."""
        heading = sought.own[self.name]
        return _edge_errors(self.edges_px, np.array([np.sin(heading), np.cos(heading), 0.0]), sought.camera) / (
            self.endpoint_sd_px
        )


@dataclass(frozen=True)
class UprightEdges:
    """Edges (n, 2, 2) that are upright in the world."""

    name: str
    edges_px: Floats
    endpoint_sd_px: float = ENDPOINT_SD_PX
    own: str | None = None
    metric: bool = False
    needs_height: bool = False

    def errors(self, sought: Sought) -> Floats:
        """Misfits of the edges to the zenith."""
        return _edge_errors(self.edges_px, np.array([0.0, 0.0, 1.0]), sought.camera) / self.endpoint_sd_px


@dataclass(frozen=True)
class HorizonPoint:
    """The horizon passes a column at a row, to a standard deviation; two of them tell the roll."""

    name: str
    column_px: float
    row_px: float
    row_sd_px: float
    own: str | None = None
    metric: bool = False
    needs_height: bool = False

    def errors(self, sought: Sought) -> Floats:
        """How far the candidate's horizon runs below, in deviations."""
        return np.array([(sought.camera.horizon_row(self.column_px) - self.row_px) / self.row_sd_px])


def horizon_between(name: str, low_px: float, high_px: float, column_px: float) -> HorizonPoint:
    """Bounds of the horizon's row: every row between them equally likely, so their distance over √12 is one deviation
    (JCGM 100:2008, section 4.3.7)."""
    return HorizonPoint(name, column_px, (low_px + high_px) / 2.0, max(abs(high_px - low_px) / sqrt(12.0), 1e-6))


@dataclass(frozen=True)
class StatedValue:
    """A stated value: which is 'pitch_deg', 'roll_deg', 'focal_px' or 'height_m'; sd in the same unit."""

    name: str
    which: str
    value: float
    sd: float
    own: str | None = None

    @property
    def metric(self) -> bool:
        """A camera height is."""
        return self.which == "height_m"

    @property
    def needs_height(self) -> bool:
        """A camera height does."""
        return self.metric

    def errors(self, sought: Sought) -> Floats:
        """Difference in deviations; lengths by their logarithm, since they are ratios."""
        found = float(getattr(sought.camera, self.which))
        if self.which in ("focal_px", "height_m"):
            return np.array([log(found / self.value) * self.value / self.sd])
        return np.array([(found - self.value) / self.sd])


@dataclass(frozen=True)
class Standing:
    """Upright objects on the ground: their bases and tops (n, 2) px, all of one height. height_m None: not known,
    then they tell the horizon, and the camera's height in units of theirs."""

    name: str
    bases_px: Floats
    tops_px: Floats
    height_m: float | None
    marking_sd_px: float = ENDPOINT_SD_PX
    height_sd_fraction: float = 0.0
    needs_height: bool = True

    @property
    def own(self) -> str | None:
        """The common height, where it is not known."""
        return HEIGHT if self.height_m is None else None

    @property
    def metric(self) -> bool:
        """A known height is."""
        return self.height_m is not None

    def errors(self, sought: Sought) -> Floats:
        """How far each top lies from where it should, along the object, in deviations of both marks together."""
        height = sought.own[self.name] if self.height_m is None else self.height_m
        shares = np.full(len(self.bases_px), height / sought.camera.height_m)
        predicted = tops_over(sought.camera, self.bases_px, shares)
        along = self.tops_px - self.bases_px
        lengths_px = np.linalg.norm(along, axis=1)
        along = along / lengths_px[:, np.newaxis]
        step = 1e-3
        moved = tops_over(sought.camera, self.bases_px + step * along, shares)
        stretch = np.sum((moved - predicted) * along, axis=1) / step
        spread = self.marking_sd_px * np.sqrt(1.0 + stretch**2)
        spread = np.hypot(spread, self.height_sd_fraction * lengths_px)
        off: Floats = np.sum((self.tops_px - predicted) * along, axis=1) / spread
        return off


@dataclass(frozen=True)
class FoundStructure:
    """What a picture's edges said by themselves (automatic), with its covariance."""

    name: str
    structure: Structure
    own: str | None = None
    metric: bool = False
    needs_height: bool = False

    def errors(self, sought: Sought) -> Floats:
        """Whitened differences of ln focal, pitch and roll."""
        found, camera = self.structure, sought.camera
        off = np.array(
            [
                log(camera.focal_px / found.focal_px),
                camera.pitch_deg - found.pitch_deg,
                camera.roll_deg - found.roll_deg,
            ]
        )
        white: Floats = np.linalg.solve(np.linalg.cholesky(found.covariance), off)
        return white


def tops_over(camera: Camera, bases_px: Floats, height_ratios: Floats) -> Floats:
    """Pixels (n, 2) of the tops of upright objects, from their bases (n, 2) and heights in camera heights (n,)."""
    bases = np.column_stack([bases_px, np.ones(len(bases_px))])
    depths = -camera.rays(bases_px)[:, 2]  # positive below the horizon: how fast a line of sight falls
    zenith = camera.direction_px(np.array([0.0, 0.0, 1.0]))
    tops = bases + (height_ratios * depths)[:, np.newaxis] * zenith
    with np.errstate(divide="ignore", invalid="ignore"):
        pixels: Floats = tops[:, :2] / tops[:, 2:3]
    return np.nan_to_num(pixels, nan=1e9, posinf=1e9, neginf=-1e9)


def _edge_errors(edges_px: Floats, direction: Floats, camera: Camera) -> Floats:
    """Misfits (n,) in px of edges to the vanishing point of a world direction, in a centred frame."""
    scale = camera.focal_px
    centred = (edges_px - np.array(camera.principal_px)) / scale
    return misfits(centred, camera.rotation @ direction) * scale
