"""Cast and contact shadows against path-traced truth: the same subject really standing in the sun.

shadow_ratio.png holds, as value / 32767.5, the luminance of the ground with the subject over that without it. Printed
per case with -s; asserted over all sunlit cases whose ratio falls under 0.6 somewhere on the ground. The element's
contact is the middle of its footprint, as the truth states it, and nothing is said of its depth (asserted) or its
true depth (printed).
"""

import json
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image
from test_truth import HERE, SHARED, coverage, scene_of

from compositor.geometry.shadow import sunward_ground
from compositor.jobs.pictures import prepared
from compositor.jobs.solving import Problem, solved
from compositor.plan.light import Shadow
from compositor.render.shadows import shadow_layers
from compositor.render.view import View, decode_opaque

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
FULLY_DARK = 0.6
TELLING = 0.03
"""A case tells where a shadow runs if overlap falls by so much once it is turned by 2 degrees or stretched by 10 %."""


def ratio_of(folder: Path) -> np.ndarray:
    with Image.open(folder / "shadow_ratio.png") as picture:
        return np.asarray(picture, dtype=np.float64) / 32767.5


POSTS = {
    "c07": [(341, 0), (357, 0), (357, 330), (360, 345), (361, 400), (366, 409), (364, 416), (345, 419), (328, 415)]
    + [(325, 410), (331, 400), (335, 345), (341, 330)]
}
"""What stands in a plate before the ground where the shadow falls, as one draws a holdout: there is no shadow on it."""


def on_the_ground(folder: Path) -> np.ndarray:
    """Where neither the subject nor its rim is seen, nor what stands before the ground."""
    free: np.ndarray = coverage(folder / "truth_matte.png") < 0.02
    hidden = np.zeros(free.shape, np.uint8)
    if folder.name in POSTS:
        cv2.fillPoly(hidden, [np.array(POSTS[folder.name], np.int32)], (1,))
    return free & (hidden == 0)


def sunlit(folder: Path) -> bool:
    case = json.loads((folder / "case.json").read_text())
    there = (folder / "shadow_ratio.png").exists()
    if not there or case["plate"]["sun"] is None or case["plate"]["indoor"]:
        return False
    return bool((ratio_of(folder)[on_the_ground(folder)] < FULLY_DARK).sum() > 100)


FOLDERS = {path.parent.name: path.parent for path in (*HERE.glob("*/case.json"), *SHARED.glob("*/case.json"))}
SUNLIT = [folder for _, folder in sorted(FOLDERS.items()) if sunlit(folder)]


@dataclass(frozen=True)
class Measured:
    """What one case gave."""

    name: str
    overlap: float
    flat_overlap: float
    error: float
    direction_deg: float
    tip_share: float
    left: tuple[float, float]  # light left in the middle of the shadow: true, ours
    tint: tuple[float, float] | None  # red / green and blue / green, ours over true


def problem_of(folder: Path, at: Path, change: dict[str, Any] | None = None) -> Problem:
    case = json.loads((folder / "case.json").read_text())
    words = scene_of(folder, case)
    sun = case["plate"]["sun"]
    words["plate"]["light"] = {"azimuth": sun["azimuth_deg"], "elevation": sun["elevation_deg"]}
    words["elements"][0].update(change or {})
    path = at / f"{folder.name}.json"
    path.write_text(json.dumps(words))
    return solved(path, [])


def factors(problem: Problem) -> np.ndarray:
    """What the layers multiply the plate's linear light by, (h, w, 3)."""
    ready = prepared(problem)
    width, height = problem.plan.plate.size_px
    view = View.of_frame((width, height))
    result = np.ones((height, width, 3))
    layers = shadow_layers(problem.plan, ready.pictures, view, np.uint16)
    for layer in (layer for several in layers.values() for layer in several):
        samples = layer.picture.samples / 65535.0
        x, y = layer.offset_px
        place = result[y : y + samples.shape[0], x : x + samples.shape[1]]
        place *= 1.0 - samples[..., 3:] + samples[..., :3]
    return result


def linear_plate(problem: Problem) -> np.ndarray:
    ready = prepared(problem)
    return decode_opaque(ready.plate, ready.space)[..., :3] / 65535.0


def one_flat_silhouette(problem: Problem) -> Problem:
    """The same without thickness: the silhouette over its contact, turned to face the sun (the nearer way)."""
    plan = problem.plan
    assert plan.light is not None and plan.light.sun is not None
    (shadow,) = plan.light.shadows
    towards = plan.light.sun.direction[:2]
    back = np.array(shadow.frame.back[:2])
    facing = towards / np.hypot(*towards) * (1.0 if towards @ back >= 0 else -1.0)
    frame = replace(
        shadow.frame,
        right=(float(facing[1]), float(-facing[0]), 0.0),
        back=(float(facing[0]), float(facing[1]), 0.0),
    )
    thin = replace(shadow.solid, front_m=(0.0, 0.0), yaw_deg=0.0, depth_m=0.01, middle_m=0.0, sides_m=())
    flat = Shadow(shadow.element, thin, frame, True, False)
    return replace(problem, plan=replace(plan, light=replace(plan.light, shadows=(flat,))))


def half_dark(ratio: np.ndarray, full: float, where: np.ndarray) -> np.ndarray:
    """Where at least half of the darkening of full shadow is there."""
    return (ratio < (1.0 + full) / 2.0) & where


def near(shadow: np.ndarray) -> np.ndarray:
    """The surroundings of a shadow: elsewhere the truth has nothing but noise and changed reflections."""
    rows, columns = np.nonzero(shadow)
    result = np.zeros(shadow.shape, bool)
    result[max(rows.min() - 30, 0) : rows.max() + 31, max(columns.min() - 30, 0) : columns.max() + 31] = True
    return result


def overlap_of(ours: np.ndarray, true: np.ndarray) -> float:
    return float((ours & true).sum() / (ours | true).sum())


@cache
def measured(folder: Path, at: Path, depth_given: bool = False, lie_too: bool = False) -> Measured:
    case = json.loads((folder / "case.json").read_text())
    extent = case["subject"]["base_extent_y_m"]
    problem = problem_of(folder, at, {"depth": extent[1] - extent[0]} if depth_given else None)
    light = problem.plan.light
    assert light is not None and light.sun is not None
    where, true = on_the_ground(folder), ratio_of(folder)
    plate = linear_plate(problem)
    both = factors(problem)
    lit = plate @ LUMINANCE
    ours = np.divide((plate * both) @ LUMINANCE, lit, out=np.ones_like(lit), where=lit > 1e-4)
    left_ours = float(np.array(light.left_ratio) @ LUMINANCE)
    left_true = float(np.percentile(true[(true < FULLY_DARK) & where], 25))
    dark_ours = half_dark(ours, left_ours, where)
    dark_true = half_dark(true, left_true, where) & near(dark_ours)
    flat = factors(one_flat_silhouette(problem)) @ LUMINANCE
    meet, either = dark_ours & dark_true, dark_ours | dark_true
    unknown = float("nan"), float("nan")
    direction, tip = lie_of(problem, dark_ours, dark_true, where) if lie_too else unknown
    return Measured(
        folder.name,
        overlap_of(dark_ours, dark_true),
        overlap_of(half_dark(flat, left_ours, where), dark_true),
        float(np.abs(ours - true)[either].mean()),
        direction,
        tip,
        (float(np.median(true[meet])), float(np.median(ours[meet]))),
        tint_of(folder, both, meet, true),
    )


def tint_of(folder: Path, both: np.ndarray, meet: np.ndarray, true: np.ndarray) -> tuple[float, float] | None:
    """Colour of what light is left where truth and we agree on shadow, ours over true."""
    if not (folder / "truth.png").exists():
        return None
    pictures = [read_linear(folder / f"{name}.png") for name in ("truth", "plate")]
    dark = meet & (true < np.median(true[meet]))
    seen = pictures[0][dark].sum(axis=0) / pictures[1][dark].sum(axis=0)
    got = (pictures[1] * both)[dark].sum(axis=0) / pictures[1][dark].sum(axis=0)
    return float(got[0] / got[1] / (seen[0] / seen[1])), float(got[2] / got[1] / (seen[2] / seen[1]))


def read_linear(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        value = np.asarray(picture.convert("RGB"), dtype=np.float64) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lie_of(problem: Problem, ours: np.ndarray, true: np.ndarray, seen: np.ndarray) -> tuple[float, float]:
    """By how many degrees our shadow has to be turned about the contact, and by which share it has to be stretched away
    from the sun, to cover the true one best (most overlap). What leaves the frame or lies behind the subject counts in
    neither. seen: where the ground is. nan: the case does not tell."""
    masks = ours, true, seen
    best = (0.0, 1.0)
    for reach in (1.0, 0.4, 0.15, 0.05):
        around = [
            (best[0] + turn * 4.0 * reach, best[1] + stretch * 0.2 * reach)
            for turn in np.linspace(-1, 1, 7)
            for stretch in np.linspace(-1, 1, 7)
        ]
        best = max(around, key=lambda lie: moved_overlap(problem, masks, lie))
    reached = moved_overlap(problem, masks, best)
    turned = max(moved_overlap(problem, masks, (best[0] + turn, best[1])) for turn in (-2.0, 2.0))
    stretched = max(moved_overlap(problem, masks, (best[0], best[1] + stretch)) for stretch in (-0.1, 0.1))
    return tuple(
        value if reached - other >= TELLING else float("nan")
        for value, other in ((best[0], turned), (best[1] - 1.0, stretched))
    )


def moved_overlap(
    problem: Problem, masks: tuple[np.ndarray, np.ndarray, np.ndarray], lie: tuple[float, float]
) -> float:
    """Overlap of our shadow, turned and stretched on the ground, with the true one."""
    light, camera = problem.plan.light, problem.plan.plate.camera
    assert light is not None and light.sun is not None
    (shadow,) = light.shadows
    plane = sunward_ground((shadow.frame.origin_m[0], shadow.frame.origin_m[1]), light.sun.direction)
    to_plate = plane.homography(camera)
    c, s = np.cos(np.radians(lie[0])), np.sin(np.radians(lie[0]))
    move = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]) @ np.diag([1.0, lie[1], 1.0])
    middle = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    there = np.linalg.inv(middle) @ to_plate @ move @ np.linalg.inv(to_plate) @ middle
    ours, true, seen = (mask.astype(np.float32) for mask in masks)
    size = ours.shape[::-1]
    ours, known = (cv2.warpPerspective(mask, there, size, flags=cv2.INTER_LINEAR) for mask in (ours, seen))
    counts = (known > 0.99) & (seen > 0)
    return float(np.minimum(ours, true)[counts].sum() / max(np.maximum(ours, true)[counts].sum(), 1.0))


@pytest.fixture(scope="session")
def at(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("shadows")


def table(rows: list[Measured]) -> str:
    lines = ["case  overlap  flat   error  direction  tip     left true/ours  tint r/g, b/g"]
    for r in rows:
        tint = "-" if r.tint is None else f"{r.tint[0]:.2f}, {r.tint[1]:.2f}"
        lines.append(
            f"{r.name}   {r.overlap:.3f}    {r.flat_overlap:.3f}  {r.error:.3f}  {r.direction_deg:+6.2f}°    "
            f"{r.tip_share:+.3f}  {r.left[0]:.3f} / {r.left[1]:.3f}   {tint}"
        )
    return "\n".join(lines)


def test_shadows_fall_where_they_truly_fell(at: Path) -> None:
    rows = [measured(folder, at, lie_too=True) for folder in SUNLIT]
    print("\ndepth left out\n" + table(rows))
    print("\ndepth given\n" + table([measured(folder, at, True) for folder in SUNLIT]))
    assert len(rows) >= 3
    for row in rows:
        assert row.overlap > row.flat_overlap, row.name
    assert float(np.median([row.overlap for row in rows])) >= 0.70
    assert float(np.median([row.error for row in rows])) <= 0.15
    # Where a shadow runs and how long it is, as far as the cases tell: the others' are short, or hidden, or leave the
    # frame. Against plain shapes it is checked from all sides in tests/render/test_throwing.py.
    directions, tips = ([v for v in values if np.isfinite(v)] for values in zip(*(lie(r) for r in rows), strict=True))
    assert len(directions) >= 2 and len(tips) >= 1
    assert all(abs(value) <= 1.0 for value in directions)
    assert all(abs(value) <= 0.05 for value in tips)
    tints = [value for row in rows if row.tint is not None for value in row.tint]
    assert all(abs(value - 1.0) <= 0.10 for value in tints)


def lie(row: Measured) -> tuple[float, float]:
    return row.direction_deg, row.tip_share
