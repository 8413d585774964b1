"""What a variant costs beside its pixels: python -m tests.studies.variant_overhead [VARIANTS [ROUNDS]].

Small scenes of two and of six things that fit their places (all from one small picture), and a table in which every
row moves one of them and changes the copy: what a market table does. A second table changes the copy alone, a third
lifts the plate's camera, after which nothing can be kept from the variant before. CPU milliseconds of one thread per
variant, medians over the rounds. The text of the record is in it; decoding, drawing and encoding are not.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from shutil import copy
from statistics import median
from time import thread_time
from typing import Any

import numpy as np
from PIL import Image

from compositor.jobs import batch, check, solving
from compositor.solve import planning

FONT = Path(__file__).parents[2] / "scenes" / "campaign" / "fonts" / "manrope-extrabold.ttf"
STAGES = (
    (batch, "load_batch", "reading and expanding"),
    (solving, "open_inputs", "looking up pictures"),
    (planning, "placed_element", "placing changed elements"),
    (planning, "deliveries", "framing and copy"),
    (planning, "light_plan", "light"),
    (solving, "audit", "auditing"),
    (check, "record", "record"),
)
PLATE = """scene: 1
plate:
  image: plate.png
  camera: {horizon: {row: 30, plus_minus: 2}, lens: {equivalent_mm: 35}, height: 1.55}
  light: {azimuth: -40, elevation: 30}
elements:
"""
THING = """  - name: thing-%d
    image: thing.png
    camera: {horizon: -19.7, lens: {pixels: %.1f}, height: 1.5}
    contact: [12, 37]
    height: 0.9
    ground: {distance: %.2f, offset: %.2f}
"""
REST = """deliveries: [{name: web, size: [60, 40], format: jpeg}]
graphics:
  - {name: price, text: From 1, font: face.ttf, colour: "#12324a", box: [0.02, 0.5, 0.98, 0.98], lines: 1}
table: table.csv
"""


def scene(folder: Path, things: int, variants: int, key: str) -> Path:
    """The scene file, with its pictures and its table."""
    v, u = np.mgrid[0:80, 0:120]
    picture = np.stack([90 + 60 * np.sin(u / 17), 110 + 50 * np.cos(v / 13), 120 + v], axis=-1)
    Image.fromarray(picture.astype(np.uint8)).save(folder / "plate.png")
    radius = np.hypot((u[:40, :24] - 11.5) / 10, (v[:40, :24] - 19.5) / 18)
    alpha = 255 * np.clip(20 - 20 * radius, 0, 1)
    Image.fromarray(np.dstack([picture[:40, :24], alpha]).astype(np.uint8)).save(folder / "thing.png")
    copy(FONT, folder / "face.ttf")
    placed = [THING % (i, 56.7 * (4.2 + 0.7 * i) / 1.5, 4 + 0.7 * i, 0.2 * i - 0.5) for i in range(things)]
    (folder / "scene.yaml").write_text(PLATE + "".join(placed) + REST)
    start = 1.5 if "camera" in key else 4.0
    changes = [f"{start + 0.1 * i / variants:.5f}," if key else "" for i in range(variants)]
    rows = [f"v{i},{change}From {i}" for i, change in enumerate(changes)]
    (folder / "table.csv").write_text("\n".join([f"name,{key and key + ','}graphics.price.text", *rows]) + "\n")
    return folder / "scene.yaml"


def watch(room: Any, name: str, label: str, spent: dict[str, float]) -> None:
    """Adds up what a function takes."""
    work: Callable[..., Any] = getattr(room, name)

    def watched(*given: Any) -> Any:
        start = thread_time()
        try:
            return work(*given)
        finally:
            spent[label] += thread_time() - start

    setattr(room, name, watched)


def main(variants: int = 1000, rounds: int = 5) -> None:
    """Prints the table."""
    spent: dict[str, float] = defaultdict(float)
    for room, name, label in STAGES:
        watch(room, name, label, spent)
    for key in ("elements.thing-0.ground.distance", "", "plate.camera.height"):
        for things in (2, 6):
            found: dict[str, list[float]] = defaultdict(list)
            with tempfile.TemporaryDirectory() as folder:
                path = scene(Path(folder), things, variants, key)
                for _ in range(rounds):
                    spent.clear()
                    start = thread_time()
                    outcome = check.check_scene(path, [], [], 1)
                    outcome_text = thread_time()
                    outcome.as_json()
                    assert not outcome.failed
                    spent["text of the record"] = thread_time() - outcome_text
                    spent["all"] = thread_time() - start
                    for label, seconds in spent.items():
                        found[label].append(1000.0 * seconds / variants)
            print(f"{things} things, {key or 'the copy alone'} changes:")
            for label, values in found.items():
                print(f"  {label:26s}{median(values):8.3f} ms")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
