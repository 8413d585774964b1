"""Photographs of invented streets and rooms with exactly known cameras, for studies of camera estimation.

A scene is a list of flat textured quads in the world (and cut-outs that face the camera); each is drawn through
the homography of its plane into a depth buffer, at twice the size, then shrunk, blurred, bent by a slight lens
distortion, given grain and packed as JPEG. Everything follows from one seed.
"""

from dataclasses import dataclass, field
from math import cos, hypot, pi, sin

import cv2
import numpy as np

from compositor.geometry.camera import Camera

Array = np.ndarray
MARKS = (20, 60)  # texture samples per metre: ground and large walls, small things


@dataclass
class Quad:
    """origin + s·right + t·down, s in [0, width], t in [0, height] metres; texture (h, w, 3 or 4) in 0..1."""

    origin: Array
    right: Array
    down: Array
    width: float
    height: float
    texture: Array


@dataclass
class Photograph:
    picture: Array  # (h, w, 3) uint8 RGB
    camera: Camera
    kind: str


@dataclass
class World:
    quads: list[Quad] = field(default_factory=list)
    sky: Array | None = None

    def wall(
        self, start: tuple[float, float], end: tuple[float, float], low: float, high: float, texture: Array
    ) -> None:
        """An upright rectangle from start to end as seen from its front (left to right)."""
        run = np.array([end[0] - start[0], end[1] - start[1], 0.0])
        length = float(np.linalg.norm(run))
        self.quads.append(
            Quad(np.array([*start, high]), run / length, np.array([0, 0, -1.0]), length, high - low, texture)
        )

    def level(
        self, corner: tuple[float, float], heading: float, width: float, depth: float, z: float, texture: Array
    ) -> None:
        """A level rectangle; its right direction at `heading` radians from +X."""
        right = np.array([cos(heading), sin(heading), 0.0])
        away = np.array([sin(heading), -cos(heading), 0.0])
        self.quads.append(Quad(np.array([*corner, z]), right, away, width, depth, texture))

    def block(
        self, centre: tuple[float, float], heading: float, size: tuple[float, float], low: float, high: float, make
    ) -> None:
        """Four walls and a lid; `make(width, height)` gives each face's texture."""
        c, s = cos(heading), sin(heading)
        corners = [
            (centre[0] + c * x - s * y, centre[1] + s * x + c * y)
            for x, y in (
                (-size[0] / 2, -size[1] / 2),
                (size[0] / 2, -size[1] / 2),
                (size[0] / 2, size[1] / 2),
                (-size[0] / 2, size[1] / 2),
            )
        ]
        for one, two in zip(corners, corners[1:] + corners[:1], strict=True):
            self.wall(one, two, low, high, make(hypot(two[0] - one[0], two[1] - one[1]), high - low))
        self.level(corners[3], heading, size[0], size[1], high, make(size[0], size[1]))


# --- textures -------------------------------------------------------------------------------------------------


def colour(rng, low=0.2, high=0.85, tint=0.12) -> Array:
    return np.clip(rng.uniform(low, high) + rng.normal(0, tint, 3), 0.03, 0.97)


def mottled(rng, height: int, width: int, base: Array, amount: float) -> Array:
    """A surface of one colour with soft stains and fine grain."""
    height, width = max(height, 4), max(width, 4)
    stains = cv2.resize(
        rng.normal(0, 1, (max(height // 40, 2), max(width // 40, 2))), (width, height), interpolation=cv2.INTER_CUBIC
    )
    grain = cv2.GaussianBlur(rng.normal(0, 1, (height, width)), (0, 0), 0.8)
    return np.clip(base * (1 + amount * (stains + grain)[..., None]), 0, 1)


def box(texture: Array, x0: float, y0: float, x1: float, y1: float, value: Array, blend: float = 1.0) -> None:
    x0, x1, y0, y1 = (round(v) for v in (x0, x1, y0, y1))
    part = texture[max(y0, 0) : max(y1, 0), max(x0, 0) : max(x1, 0)]
    part[:] = part * (1 - blend) + value * blend


def window(
    rng, texture: Array, x0: float, y0: float, x1: float, y1: float, ppm: float, frame: Array, glass: Array
) -> None:
    edge = 0.07 * ppm
    box(texture, x0 - edge, y0 - edge, x1 + edge, y1 + edge, frame)
    box(texture, x0, y0, x1, y1, np.clip(glass * rng.uniform(0.6, 1.5), 0, 1))
    if rng.random() < 0.4:
        box(texture, x0, y0, x1, y0 + (y1 - y0) * rng.uniform(0.2, 0.8), colour(rng), 0.6)
    box(texture, (x0 + x1) / 2 - edge / 3, y0, (x0 + x1) / 2 + edge / 3, y1, frame)
    if rng.random() < 0.5:
        y = y0 + (y1 - y0) * 0.33
        box(texture, x0, y - edge / 3, x1, y + edge / 3, frame)


def facade(rng, width: float, height: float, ppm: float = 24) -> Array:
    """A house front: storeys of windows, ledges, courses of bricks, doors, shop fronts and signs."""
    w, h = int(width * ppm), int(height * ppm)
    base = colour(rng, 0.3, 0.8)
    texture = mottled(rng, h, w, base, rng.uniform(0.02, 0.06))
    h, w = texture.shape[:2]
    if rng.random() < 0.4:
        course = rng.uniform(0.07, 0.3) * ppm
        for y in np.arange(0, h, course):
            box(texture, 0, y, w, y + max(1, 0.012 * ppm), base * rng.uniform(0.7, 1.2), 0.5)
    storey, bay = rng.uniform(2.7, 3.8) * ppm, rng.uniform(1.6, 3.5) * ppm
    win_w, win_h = bay * rng.uniform(0.35, 0.75), storey * rng.uniform(0.4, 0.65)
    frame, glass = colour(rng, 0.2, 0.95), colour(rng, 0.05, 0.3, 0.05)
    ledge = rng.random() < 0.4
    left = rng.uniform(0.1, 1.0) * bay
    y = h - storey * rng.uniform(1.0, 1.3)
    while y > -storey:
        top = y - storey * 0.15 - win_h
        if ledge:
            box(texture, 0, y, w, y + 0.12 * ppm, np.clip(base * rng.uniform(0.6, 1.3), 0, 1))
        for x in np.arange(left, w - win_w, bay):
            if rng.random() < 0.93:
                window(rng, texture, x, top, x + win_w, top + win_h, ppm, frame, glass)
                if rng.random() < 0.15:
                    box(
                        texture,
                        x - 0.2 * ppm,
                        top + win_h,
                        x + win_w + 0.2 * ppm,
                        top + win_h + 0.9 * ppm,
                        colour(rng),
                        0.8,
                    )
        y -= storey
    ground = h - storey
    if rng.random() < 0.6:
        box(texture, 0, ground, w, h, colour(rng, 0.2, 0.7), 0.8)
        for x in np.arange(left, w, bay * rng.uniform(1, 2)):
            window(
                rng,
                texture,
                x,
                ground + 0.2 * storey,
                x + bay * 0.8,
                h - rng.uniform(0, 0.3) * storey,
                ppm,
                frame,
                glass,
            )
        if rng.random() < 0.6:
            box(texture, left, ground, w - left, ground + 0.18 * storey, colour(rng))
    for _ in range(rng.integers(0, 4)):
        x = rng.uniform(0, w)
        box(texture, x, h - 2.2 * ppm, x + 0.95 * ppm, h, colour(rng, 0.1, 0.6))
    return texture


def paving(rng, width: float, depth: float, ppm: float = 20) -> Array:
    """Ground: slabs, planks, or asphalt with lines, kerbs and patches."""
    w, h = int(width * ppm), int(depth * ppm)
    base = colour(rng, 0.25, 0.6, 0.05)
    texture = mottled(rng, h, w, base, rng.uniform(0.03, 0.09))
    kind = rng.choice(["slabs", "asphalt", "asphalt", "plain"])
    if kind == "slabs":
        course, slab = rng.uniform(0.3, 1.0) * ppm, rng.uniform(0.4, 1.6) * ppm
        for i, y in enumerate(np.arange(0, h, course)):
            box(texture, 0, y, w, y + 1.2, base * 0.6, 0.7)
            for x in np.arange((i % 2) * slab / 2, w, slab):
                box(texture, x, y, x + 1.2, y + course, base * 0.6, 0.7)
    if kind == "asphalt":
        lane = rng.uniform(2.6, 3.5) * ppm
        for x in np.arange(w / 2 - 3 * lane, w / 2 + 3 * lane, lane):
            if rng.random() < 0.5:
                dash = 3 * ppm if rng.random() < 0.6 else h
                for y in np.arange(0, h, dash * 2.5):
                    box(texture, x, y, x + 0.13 * ppm, y + dash, np.array([0.85, 0.85, 0.8]), 0.8)
        for x in (w / 2 - lane * 1.6, w / 2 + lane * 1.6):
            box(texture, x, 0, x + 0.2 * ppm, h, base * 1.4, 0.9)
    for _ in range(rng.integers(0, 5)):  # shadows and repairs at any angle
        points = (rng.uniform(0, 1, 2) * [w, h] + rng.normal(0, 3 * ppm, (4, 2))).astype(np.int32)
        shade = texture.copy()
        cv2.fillPoly(shade, [cv2.convexHull(points)], (texture.mean(axis=(0, 1)) * rng.uniform(0.4, 0.8)).tolist())
        texture = cv2.addWeighted(texture, 0.4, shade, 0.6, 0)
    return texture


def room_wall(rng, width: float, height: float, ppm: float = 50) -> Array:
    base = colour(rng, 0.45, 0.9, 0.06)
    texture = mottled(rng, int(height * ppm), int(width * ppm), base, rng.uniform(0.005, 0.03))
    h, w = texture.shape[:2]
    if rng.random() < 0.6:
        box(texture, 0, h - 0.1 * ppm, w, h, np.clip(base * rng.uniform(0.4, 1.3), 0, 1))
    if rng.random() < 0.2:
        box(texture, 0, h * 0.6, w, h, np.clip(base * rng.uniform(0.5, 0.9), 0, 1))
    x = rng.uniform(0.2, 1.5) * ppm
    while x < w - 0.8 * ppm:
        kind = rng.choice(["door", "window", "print", "shelf", "none"])
        span = rng.uniform(0.6, 1.8) * ppm
        if kind == "door":
            frame = np.clip(base * rng.uniform(0.4, 1.2), 0, 1)
            box(texture, x - 0.08 * ppm, h - 2.1 * ppm, x + 0.98 * ppm, h, frame)
            box(texture, x, h - 2.02 * ppm, x + 0.9 * ppm, h, colour(rng, 0.2, 0.9))
            span = 0.9 * ppm
        elif kind == "window":
            window(
                rng, texture, x, h - 2.1 * ppm, x + span, h - 0.9 * ppm, ppm, colour(rng, 0.6, 0.95), np.full(3, 0.8)
            )
        elif kind == "print":
            y = h - rng.uniform(1.5, 2.1) * ppm
            high = rng.uniform(0.3, 0.8) * ppm
            box(texture, x, y, x + span, y + high, colour(rng, 0.1, 0.5))
            box(texture, x + 3, y + 3, x + span - 3, y + high - 3, colour(rng))
        elif kind == "shelf":
            box(texture, x, h - 1.9 * ppm, x + span, h, colour(rng, 0.2, 0.6))
            for y in np.arange(h - 1.85 * ppm, h, 0.35 * ppm):
                for bx in np.arange(x + 2, x + span - 4, 0.06 * ppm):
                    box(texture, bx, y + rng.uniform(0, 0.1) * ppm, bx + 0.055 * ppm, y + 0.3 * ppm, colour(rng))
        x += span + rng.uniform(0.2, 1.8) * ppm
    return texture


def tiles(rng, width: float, depth: float, ppm: float = 45) -> Array:
    base = colour(rng, 0.3, 0.8, 0.06)
    texture = mottled(rng, int(depth * ppm), int(width * ppm), base, rng.uniform(0.01, 0.05))
    h, w = texture.shape[:2]
    style = rng.choice(["tiles", "planks", "plain", "plain"])
    step = rng.uniform(0.2, 0.7) * ppm if style == "tiles" else rng.uniform(0.08, 0.2) * ppm
    if style != "plain":
        for x in np.arange(0, w, step):
            box(texture, x, 0, x + 1.3, h, base * rng.uniform(0.5, 0.9), 0.7)
    if style == "tiles":
        for y in np.arange(0, h, step):
            box(texture, 0, y, w, y + 1.3, base * 0.7, 0.7)
    return texture


def plain_box(rng, ppm: float = 40):
    """A maker of furniture faces: one colour, drawers or panels on some."""
    base = colour(rng, 0.1, 0.8)

    def make(width: float, height: float) -> Array:
        texture = mottled(rng, int(height * ppm), int(width * ppm), np.clip(base * rng.uniform(0.5, 1.2), 0, 1), 0.03)
        h, w = texture.shape[:2]
        if rng.random() < 0.4:
            for y in np.arange(h * 0.1, h, max(0.25 * ppm, 6)):
                box(texture, w * 0.05, y, w * 0.95, y + 1.5, base * 0.5)
        return texture

    return make


def foliage(rng, size: int = 240) -> Array:
    """A tree as a cut-out: branches as straight-ish strokes, leaves as speckle. RGBA."""
    out = np.zeros((size, size, 4), np.float32)
    bark = np.append(colour(rng, 0.1, 0.3, 0.03), 1.0)
    middle = size * rng.uniform(0.45, 0.55)
    cv2.line(
        out,
        (int(middle), size),
        (int(middle + rng.normal(0, 6)), int(size * 0.4)),
        bark.tolist(),
        int(rng.integers(6, 14)),
    )
    for _ in range(40):
        start = np.array([middle + rng.normal(0, size * 0.05), size * rng.uniform(0.3, 0.6)])
        angle = rng.uniform(-pi, 0)
        end = start + size * rng.uniform(0.1, 0.35) * np.array([cos(angle), sin(angle)])
        cv2.line(
            out,
            tuple(int(v) for v in start),
            tuple(int(v) for v in end),
            bark.tolist(),
            int(rng.integers(1, 4)),
            cv2.LINE_AA,
        )
    if rng.random() < 0.75:
        leaf = colour(rng, 0.15, 0.4, 0.03) * [0.8, 1.2, 0.6]
        yy, xx = np.mgrid[:size, :size]
        crown = 1 - np.hypot((xx - middle) / (size * 0.45), (yy - size * 0.35) / (size * 0.36))
        noise = cv2.GaussianBlur(rng.normal(0, 1, (size, size)), (0, 0), 2.2) * 3
        mask = (crown + noise * 0.35 > 0.1).astype(np.float32)
        tone = np.clip(1 + 0.5 * cv2.GaussianBlur(rng.normal(0, 1, (size, size)), (0, 0), 1.2) * 2, 0.2, 2)
        leaves = np.dstack([np.clip(leaf * tone[..., None], 0, 1), mask])
        out = np.where(mask[..., None] > 0, leaves, out)
    return out.astype(np.float32)


def figure(rng, size: int = 160) -> Array:
    """A standing person as a cut-out of rounded parts. RGBA, twice as tall as wide."""
    out = np.zeros((size, size // 2, 4), np.float32)
    coat, legs, skin = (np.append(colour(rng, 0.1, 0.7), 1.0).tolist() for _ in range(3))
    mid = size // 4
    for dx in (-6, 6):
        cv2.line(out, (mid + dx, size // 2), (mid + dx + int(rng.normal(0, 6)), size - 3), legs, 9)
    cv2.ellipse(out, (mid, int(size * 0.35)), (15, 30), 0, 0, 360, coat, -1)
    for dx in (-14, 14):
        cv2.line(out, (mid + dx, int(size * 0.22)), (mid + dx + int(rng.normal(0, 8)), int(size * 0.5)), coat, 7)
    cv2.circle(out, (mid, int(size * 0.08)), 9, skin, -1)
    return out


# --- worlds ---------------------------------------------------------------------------------------------------


def cutout(
    world: World, camera_xy: tuple[float, float], at: tuple[float, float], width: float, height: float, texture: Array
) -> None:
    away = np.array([at[0] - camera_xy[0], at[1] - camera_xy[1]])
    away /= np.linalg.norm(away)
    right = np.array([away[1], -away[0]])
    start, end = np.array(at) - right * width / 2, np.array(at) + right * width / 2
    world.wall(tuple(start), tuple(end), 0.0, height, texture)


def street(rng, winding: bool) -> World:
    """Two rows of houses along a street at some angle, cross houses, trees, people, vehicles; winding = any angles."""
    world = World(sky=sky(rng))
    yaw = rng.uniform(-0.6, 0.6) if rng.random() < 0.75 else rng.uniform(-pi, pi)
    c, s = cos(yaw), sin(yaw)

    def turn(x: float, y: float) -> tuple[float, float]:
        return (c * x - s * y, s * x + c * y)

    near = paving(rng, 120, 130)
    world.level(turn(-60, 110), yaw, 120, 130, 0.0, near)
    plain = np.tile(near.mean(axis=(0, 1)), (64, 64, 1))
    world.level(turn(-2000, 2000), yaw, 4000, 4000, -0.05, plain)
    left, right = -rng.uniform(3, 14), rng.uniform(3, 14)
    for side, x in ((1, left), (-1, right)):
        if rng.random() < 0.12:
            continue
        y = rng.uniform(-15, 4)
        while y < 90:
            depth, high = rng.uniform(6, 22), rng.uniform(4, 20)
            lean = rng.normal(0, 0.12) if winding else 0.0
            world.block(
                turn(x - side * (6 + abs(rng.normal(0, 0.5))), y + depth / 2),
                yaw + lean,
                (12, depth),
                0.0,
                high,
                lambda a, b: facade(rng, a, b),
            )
            if rng.random() < 0.4:
                gable(world, rng, turn, x - side * 6, y, depth, high, yaw)
            y += depth + (0 if rng.random() < 0.6 else rng.uniform(0.5, 8))
    if rng.random() < 0.7:
        world.block(
            turn(rng.normal(0, 6), rng.uniform(30, 100)),
            yaw + (rng.uniform(-0.7, 0.7) if winding else 0),
            (rng.uniform(10, 40), 10),
            0,
            rng.uniform(5, 25),
            lambda a, b: facade(rng, a, b),
        )
    if winding:
        for _ in range(rng.integers(1, 3)):
            world.block(
                (rng.uniform(-25, 25), rng.uniform(18, 60)),
                rng.uniform(0, pi),
                (rng.uniform(6, 20), rng.uniform(6, 20)),
                0,
                rng.uniform(4, 18),
                lambda a, b: facade(rng, a, b),
            )
    for _ in range(rng.integers(0, 6)):
        x, y = rng.uniform(left, right), rng.uniform(5, 40)
        if rng.random() < 0.7:
            world.block(turn(x, y), yaw + rng.normal(0, 0.08), (1.8, 4.3), 0.25, rng.uniform(1.0, 1.6), plain_box(rng))
        else:
            world.block(
                turn(x, y),
                rng.uniform(0, pi),
                (rng.uniform(0.4, 1.5), rng.uniform(0.4, 1.5)),
                0,
                rng.uniform(0.5, 2.5),
                plain_box(rng),
            )
    for _ in range(rng.integers(0, 7)):
        size = rng.uniform(3, 9)
        cutout(world, (0, 0), turn(rng.uniform(left, right), rng.uniform(6, 50)), size, size, foliage(rng))
    for _ in range(rng.integers(0, 8)):
        cutout(world, (0, 0), turn(rng.uniform(left, right), rng.uniform(4, 40)), 0.88, 1.75, figure(rng))
    return world


def gable(world: World, rng, turn, x: float, y: float, depth: float, high: float, yaw: float) -> None:
    """A pitched roof: two sloping planes whose edges are not level."""
    rise, half = rng.uniform(1.5, 4), 6.0
    texture = mottled(rng, 120, 240, colour(rng, 0.2, 0.5), 0.05)
    for k in range(0, 120, int(rng.integers(5, 12))):
        box(texture, 0, k, 240, k + 1.5, texture.mean(axis=(0, 1)) * 0.7)
    along = np.array([-sin(yaw), cos(yaw), 0.0])
    for sign in (-1, 1):
        eaves, ridge = turn(x + sign * half, y), turn(x, y)
        down = np.array([eaves[0] - ridge[0], eaves[1] - ridge[1], -rise])
        length = float(np.linalg.norm(down))
        world.quads.append(Quad(np.array([*ridge, high + rise]), along, down / length, depth, length, texture))


def room(rng, oblique: bool) -> World:
    """A room with floor, ceiling, four walls, furniture; oblique = furniture at any angle."""
    world = World(sky=np.full((2, 2, 3), 0.9))
    yaw = rng.uniform(-0.75, 0.75)
    c, s = cos(yaw), sin(yaw)
    wide, deep, high = rng.uniform(3, 12), rng.uniform(4, 20), rng.uniform(2.4, 4.0)
    ahead = deep - rng.uniform(0.6, 0.35 * deep)  # from the camera to the far wall
    x0 = -rng.uniform(0.15, 0.85) * wide

    def turn(x: float, y: float) -> tuple[float, float]:
        return (c * x - s * y, s * x + c * y)

    corners = [turn(x0, ahead), turn(x0 + wide, ahead), turn(x0 + wide, ahead - deep), turn(x0, ahead - deep)]
    for one, two in zip(corners, corners[1:] + corners[:1], strict=True):
        world.wall(one, two, 0.0, high, room_wall(rng, hypot(two[0] - one[0], two[1] - one[1]), high))
    world.level(corners[0], yaw, wide, deep, 0.0, tiles(rng, wide, deep))
    ceiling = mottled(rng, int(deep * 30), int(wide * 30), colour(rng, 0.7, 0.95, 0.02), 0.01)
    if rng.random() < 0.5:
        for _ in range(rng.integers(1, 12)):
            x, y = rng.uniform(0, wide * 30), rng.uniform(0, deep * 30)
            box(ceiling, x, y, x + 18, y + 36, np.ones(3))
    if rng.random() < 0.3:
        for x in np.arange(0, wide * 30, 18):
            box(ceiling, x, 0, x + 1.2, deep * 30, ceiling.mean(axis=(0, 1)) * 0.8)
    world.level(corners[0], yaw, wide, deep, high, ceiling)
    for _ in range(rng.integers(0, 9)):
        at = turn(x0 + rng.uniform(0.1, 0.9) * wide, rng.uniform(1.2, max(ahead - 0.5, 1.5)))
        heading = rng.uniform(0, pi) if oblique or rng.random() < 0.2 else yaw
        low = 0.0 if rng.random() < 0.6 else rng.uniform(0.4, 0.7)
        world.block(
            at, heading, (rng.uniform(0.4, 2), rng.uniform(0.4, 1.2)), low, low + rng.uniform(0.05, 1.2), plain_box(rng)
        )
    for _ in range(rng.integers(0, 3)):
        size = rng.uniform(0.8, 1.6)
        cutout(
            world,
            (0, 0),
            turn(x0 + rng.uniform(0.1, 0.9) * wide, rng.uniform(1.5, max(ahead - 0.5, 1.6))),
            size,
            size,
            foliage(rng),
        )
    return world


def sky(rng) -> Array:
    top, low = np.array([0.35, 0.55, 0.85]) * rng.uniform(0.7, 1.1), np.array([0.75, 0.82, 0.9]) * rng.uniform(0.8, 1.1)
    fade = np.linspace(0, 1, 200)[:, None, None]
    clouds = sum(
        cv2.resize(rng.normal(0, 1, (n, n)), (200, 200), interpolation=cv2.INTER_CUBIC) / n for n in (4, 8, 16, 32)
    )
    return np.clip(top * (1 - fade) + low * fade + 0.25 * np.maximum(clouds, 0)[..., None] * rng.uniform(0, 2), 0, 1)


def landscape(rng) -> World:
    """Open country: ridges, grass, bushes and trees; nothing straight."""
    world = World(sky=sky(rng))
    grass = colour(rng, 0.2, 0.5, 0.04) * [0.9, 1.1, 0.6]
    distances = sorted(rng.uniform(60, 900, rng.integers(2, 6)), reverse=True)
    for distance in [*distances, rng.uniform(40, 110)]:  # the nearest has the ground's colour: no edge at its foot
        width = distance * 3
        profile = sum(
            np.interp(np.linspace(0, n, 800), np.arange(n + 1), rng.normal(0, 1, n + 1)) / n**0.8
            for n in (3, 7, 17, 41, 97)
        )
        high = distance * rng.uniform(0.03, 0.16)
        heights = (profile - profile.min()) / np.ptp(profile)
        tone = grass if distance < 111 else colour(rng, 0.15, 0.5, 0.05) * [0.8, 1.1, 0.7]
        texture = mottled(rng, 200, 800, tone, 0.12)
        alpha = (np.arange(200)[:, None] > (1 - 0.2 - 0.8 * heights)[None, :] * 200).astype(np.float64)
        world.wall((-width / 2, distance), (width / 2, distance), -12.0, high, np.dstack([texture, alpha]))
    ground = mottled(rng, 2400, 2400, grass, 0.18)
    world.level((-60, 120), 0.0, 120, 120, 0.0, ground)
    for _ in range(rng.integers(2, 16)):
        size = rng.uniform(1, 9)
        cutout(world, (0, 0), (rng.uniform(-30, 30), rng.uniform(5, 70)), size, size, foliage(rng))
    return world


# --- the camera and the picture -----------------------------------------------------------------------------------


def depth_and_marks(
    quad: Quad, camera: Camera, box_px: tuple[int, int, int, int], scale: int
) -> tuple[Array, Array, Array]:
    """Depth and texture coordinates (0..1) of a plane over a window of the picture."""
    x0, y0, x1, y1 = box_px
    u, v = np.meshgrid((np.arange(x0, x1) + 0.5) / scale, (np.arange(y0, y1) + 0.5) / scale)
    plane = camera.matrix @ np.column_stack(
        [[*quad.right * quad.width, 0], [*quad.down * quad.height, 0], [*quad.origin, 1.0]]
    )
    inverse = np.linalg.inv(plane)
    s, t, w = (inverse[i, 0] * u + inverse[i, 1] * v + inverse[i, 2] for i in range(3))
    with np.errstate(divide="ignore", invalid="ignore"):
        return 1.0 / w, s / w, t / w


def window_of(quad: Quad, camera: Camera, size: tuple[int, int], scale: int) -> tuple[int, int, int, int] | None:
    corners = [
        quad.origin + a * quad.width * quad.right + b * quad.height * quad.down
        for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))
    ]
    points = [camera.matrix @ np.append(corner, 1.0) for corner in corners]
    near, clipped = 0.05, []
    for one, two in zip(points, points[1:] + points[:1], strict=True):
        if one[2] > near:
            clipped.append(one)
        if (one[2] > near) != (two[2] > near):
            clipped.append(one + (two - one) * (near - one[2]) / (two[2] - one[2]))
    if len(clipped) < 3:
        return None
    pixels = np.array([point[:2] / point[2] for point in clipped]) * scale
    low, high = np.floor(pixels.min(axis=0)), np.ceil(pixels.max(axis=0))
    x0, y0 = (int(max(v, 0)) for v in low)
    x1, y1 = int(min(high[0], size[0])), int(min(high[1], size[1]))
    return (x0, y0, x1, y1) if x1 > x0 and y1 > y0 else None


def draw(world: World, camera: Camera, rng, scale: int = 2) -> tuple[Array, float]:
    """Linear RGB (h, w, 3) of a world, and the share of it that the largest three things do not fill."""
    w, h = camera.size_px[0] * scale, camera.size_px[1] * scale
    out = cv2.resize(world.sky, (w, h), interpolation=cv2.INTER_LINEAR).astype(np.float32)
    depths, owner = np.full((h, w), np.inf), np.zeros((h, w), np.int64)
    quads = sorted(world.quads, key=lambda q: -float(np.linalg.norm((q.origin + q.right * q.width / 2)[:2])))
    sun = rng.normal(0, 1, 3)
    for index, quad in enumerate(quads, 1):
        part = window_of(quad, camera, (w, h), scale)
        if part is None:
            continue
        x0, y0, x1, y1 = part
        depth, s, t = depth_and_marks(quad, camera, part, scale)
        inside = (depth > 0.05) & (s >= 0) & (s <= 1) & (t >= 0) & (t <= 1) & (depth < depths[y0:y1, x0:x1])
        if not inside.any():
            continue
        texture = quad.texture.astype(np.float32)
        marks = texture.shape[1] / quad.width * float(np.median(depth[inside])) / (camera.focal_px * scale)
        while marks > 1.5 and min(texture.shape[:2]) > 8:
            texture, marks = cv2.resize(texture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), marks / 2
        th, tw = texture.shape[:2]
        seen = cv2.remap(
            texture,
            np.where(inside, s * tw - 0.5, 0).astype(np.float32),
            np.where(inside, t * th - 0.5, 0).astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        alpha = inside & (seen[..., 3] > 0.5) if seen.shape[2] == 4 else inside
        normal = np.cross(quad.right, quad.down)
        light = 0.75 + 0.25 * np.tanh(float(normal @ sun))
        out[y0:y1, x0:x1][alpha] = seen[..., :3][alpha] * light
        depths[y0:y1, x0:x1][alpha] = depth[alpha]
        owner[y0:y1, x0:x1][alpha] = index
    largest = np.sort(np.bincount(owner.ravel()))[::-1][:3]
    return cv2.resize(out, camera.size_px, interpolation=cv2.INTER_AREA), 1.0 - float(largest.sum()) / owner.size


def finish(linear: Array, camera: Camera, rng) -> Array:
    """Lens, exposure, grain and JPEG: an 8-bit RGB picture."""
    h, w = linear.shape[:2]
    k1 = rng.normal(0, 0.012)
    u, v = np.meshgrid(np.arange(w) - w / 2, np.arange(h) - h / 2)
    r2 = (u**2 + v**2) / camera.focal_px**2
    bent = cv2.remap(
        linear,
        (w / 2 + u * (1 - k1 * r2)).astype(np.float32),
        (h / 2 + v * (1 - k1 * r2)).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    bent = cv2.GaussianBlur(bent, (0, 0), rng.uniform(0.4, 1.1))
    bent = bent * rng.uniform(0.6, 1.2) / (1 + rng.uniform(0, 0.5) * r2[..., None])
    contrast = rng.uniform(0.6, 1.2)
    coded = np.clip(0.5 + contrast * (np.clip(bent, 0, 1) ** 0.8 - 0.5), 0, 1)
    coded = coded + rng.normal(0, rng.uniform(0.005, 0.03), coded.shape)
    pixels = (np.clip(coded, 0, 1) * 255).astype(np.uint8)
    packed = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(60, 95))])[1]
    return cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1].copy()


KINDS = ("street", "winding", "room", "oblique room")


def photograph(seed: int, kind: str | None = None) -> Photograph:
    """A photograph of one of KINDS (by turns) or of a 'landscape', with its camera."""
    rng = np.random.default_rng(seed)
    kind = KINDS[seed % len(KINDS)] if kind is None else kind
    while True:
        world, camera = taken(rng, kind)
        linear, variety = draw(world, camera, rng)
        if variety > 0.08 or kind == "landscape":  # nobody takes a photograph of a bare wall
            return Photograph(finish(linear, camera, rng), camera, kind)


def taken(rng, kind: str) -> tuple[World, Camera]:
    """A world and a camera in it."""
    size = [(640, 480), (800, 600), (960, 640), (640, 853), (1024, 683)][rng.choice(5, p=[0.45, 0.2, 0.15, 0.1, 0.1])]
    indoors = "room" in kind
    focal = max(size) * float(np.clip(rng.lognormal(np.log(0.85 if indoors else 1.0), 0.22), 0.5, 2.2))
    steep = rng.random() < 0.3
    pitch = rng.normal(-4 if indoors else 2, 11 if steep else 5)
    roll = rng.normal(0, 4 if steep else 1.2)
    height = rng.uniform(1.1, 1.9) if rng.random() < 0.85 or indoors else rng.uniform(2, 10)
    camera = Camera(
        focal, (size[0] / 2, size[1] / 2), size, float(np.clip(pitch, -35, 35)), float(np.clip(roll, -15, 15)), height
    )
    if kind == "landscape":
        return landscape(rng), camera
    if indoors:
        return room(rng, kind == "oblique room"), camera
    return street(rng, kind == "winding"), camera
