"""How the tolerances of picture comparison were chosen: what recoding does to the demo, and what faults do.

Run: python tests/studies/picture_tolerances.py [side] [scene]. side: pictures made smaller to it first, as approved
ones are; left out = full size. Prints the figures of every case. Found on the terrace demo (3000 × 2000): between
what JPEG 92 → 75 (4:2:0), ±1 level and half a pixel of lettering do (moved 0.56 px, region 0.03 levels, tile 0.4 levels
and 1.9 a*b*, patch 75, similarity .83) and what a pixel's move, 2 % of light or a fringe do (moved 1.02 px, region 0.35
levels, patch 17800) lies every tolerance. With lightness L* instead of luma coarser colour alone made
0.05 against 0.15, and 0.5 and more on an element of 300 px.

How approvals are kept was chosen by the same cases reduced to a quarter (750 px). Each line: bytes, then how many times
its tolerance the worst case that may be reaches, and how many times the least one that must be caught.
    not coded                              .67   1.30
    JPEG 80, full colour           68 kB   .95    .22   (2 % of the smallest element's light is missed)
    JPEG 70, full colour           53 kB  5.6    1.16   (recoded pictures are told as patches)
    the same, fine means, step 2   63 kB   .71   1.08
    the same, fine means, step 1   65 kB   .71   1.12
    the same, coarse colour        51 kB  14     1.26
    quality 60, step 2             53 kB   .59    .27
Delivered at 1920 px the smallest element is 60 px wide: at 480 px its move by a pixel is missed
even if nothing is coded (.93), at 640 px its 2 % of light (.27 at quality 80); at 768 px quality 80 finds everything
(1.02), 75 all but that light. So: four tenths of the size, quality 80.
WebP 90 and AVIF 85 and 75 at 1000 px (108, 110, 82 kB) smooth too much away: 2.2, 2.8, 2.4 and 1.09, .30, .40.
"""

import dataclasses
import io
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from compositor.base.arrays import Pixels, apply_homography
from compositor.base.opencv import cv2
from compositor.colour.space import SRGB
from compositor.files.faithful_jpeg import encode_faithful_jpeg
from compositor.jobs.delivering import composed
from compositor.jobs.pictures import prepared
from compositor.jobs.solving import solved
from compositor.measure.comparison import Region, Shown, compare_pictures
from compositor.plan.model import Plan
from compositor.render.view import View

SCENE = Path(__file__).parents[2] / "scenes" / "terrace" / "terrace.yaml"


class Demo:
    """A scene that can be rendered with its plan changed."""

    def __init__(self, path: Path) -> None:
        self.problem = solved(path, [])
        self.ready = prepared(self.problem)
        self.plan = self.problem.plan
        self.base = self.frame(self.plan)

    def frame(self, plan: Plan) -> Pixels:
        problem = dataclasses.replace(self.problem, plan=plan)
        return composed(problem, self.ready, View.of_frame(plan.plate.size_px))[1]

    def moved(self, name: str, right_px: float) -> Pixels:
        shift = np.array([[1, 0, right_px], [0, 1, 0], [0, 0, 1]])
        elements = tuple(
            dataclasses.replace(e, homography=(shift @ e.homography_matrix).tolist()) if e.name == name else e
            for e in self.plan.elements
        )
        return self.frame(dataclasses.replace(self.plan, elements=elements))

    def covered(self, name: str) -> Pixels:
        """Where an element is seen; its shadow is not a part of it."""
        unlit = dataclasses.replace(self.plan, light=None)
        without = dataclasses.replace(
            unlit,
            elements=tuple(e for e in self.plan.elements if e.name != name),
            stack=tuple(item for item in self.plan.stack if item.name != name),
        )
        return (self.frame(without) != self.frame(unlit)).any(axis=2)

    def lighter(self, name: str, gain: float) -> Pixels:
        linear = SRGB.curves[0].to_linear(self.base / 255.0)
        linear[self.covered(name)] *= gain
        return np.rint(np.clip(SRGB.curves[0].to_encoded(linear), 0, 1) * 255).astype(np.uint8)

    def fringed(self, name: str) -> Pixels:
        covered = self.covered(name)
        ring = cv2.dilate(covered.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool) & ~covered
        result = self.base.copy()
        result[ring] = 235
        return result

    def lettered(self, shift_px: float, size: int) -> Pixels:
        large = Image.new("L", (self.base.shape[1] * 4, self.base.shape[0] * 4), 0)
        font = ImageFont.load_default(size * 4)
        ImageDraw.Draw(large).text((400 + 4 * shift_px, 400), "Terrace by the sea, from 199", font=font, fill=255)
        matte = np.asarray(large.resize(self.base.shape[1::-1], Image.Resampling.BOX), np.float64)[..., None] / 255
        return np.rint(self.base * (1 - matte) + 20 * matte).astype(np.uint8)


def jpeg(samples: Pixels, quality: int) -> Pixels:
    buffer = io.BytesIO()
    Image.fromarray(samples).save(buffer, "JPEG", quality=quality, subsampling="4:4:4" if quality >= 90 else "4:2:0")
    return np.asarray(Image.open(buffer))


def as_approved(samples: Pixels) -> Pixels:
    """As proofs keep it."""
    return np.asarray(Image.open(io.BytesIO(encode_faithful_jpeg(samples, 80, None))))


def cases(demo: Demo) -> Iterator[tuple[str, Pixels, Pixels]]:
    base = demo.base
    noise = np.random.default_rng(1).integers(-1, 2, base.shape)
    for quality in (95, 85, 80, 75):
        yield f"may: jpeg 92 to {quality}", jpeg(base, 92), jpeg(base, quality)
    yield "may: one level of noise", base, np.clip(base + noise, 0, 255).astype(np.uint8)
    for size in (12, 24, 48):
        yield f"may: lettering of {size} px half a pixel on", demo.lettered(0, size), demo.lettered(0.5, size)
    for element in demo.plan.elements:
        name = element.name
        yield f"must: {name} moved 1 px", base, demo.moved(name, 1)
        yield f"must: {name} moved 1 px, recoded", jpeg(base, 92), jpeg(demo.moved(name, 1), 85)
        yield f"must: {name} 2 % lighter", base, demo.lighter(name, 1.02)
        yield f"must: {name} 2 % darker, recoded", jpeg(base, 92), jpeg(demo.lighter(name, 0.98), 85)
        yield f"must: {name} fringe of 1 px", base, demo.fringed(name)


def main() -> None:
    side = int(sys.argv[1]) if len(sys.argv) > 1 else None
    demo = Demo(Path(sys.argv[2]) if len(sys.argv) > 2 else SCENE)
    outlines = {e.name: apply_homography(e.homography_matrix, e.own_hull_px) for e in demo.plan.elements}
    ratio = 1.0 if side is None else side / max(demo.base.shape)
    regions = [Region(name, tuple(map(tuple, points * ratio))) for name, points in outlines.items()]
    for name, before, after in cases(demo):
        if side is not None:
            size = (round(before.shape[1] * ratio), round(before.shape[0] * ratio))
            before, after = (as_approved(cv2.resize(p, size, interpolation=cv2.INTER_AREA)) for p in (before, after))
        found = compare_pictures(Shown(before, SRGB), Shown(after, SRGB), regions, reduced_ratio=ratio)
        numbers = "  ".join(f"{key} {value:.3g}" for key, value in found.figures.items())
        print(f"{name:44s} {'passes' if found.alike else 'caught'}  {numbers}", flush=True)


if __name__ == "__main__":
    main()
