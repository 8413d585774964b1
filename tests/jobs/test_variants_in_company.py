"""What is kept of one variant for the next changes nothing: in any order, and alone, each comes out the same."""

import gc
from collections.abc import Callable, Iterable
from functools import _lru_cache_wrapper
from pathlib import Path
from typing import Any

from compositor.jobs.shelf import Shelf
from compositor.jobs.solving import solve_variant
from compositor.report.record import as_json, record
from compositor.scene.batch import LoadedVariant, load_batch


def told(variants: Iterable[LoadedVariant], shelf: Shelf) -> dict[str, str]:
    """Record and plan of each by its name."""
    found = {}
    for variant in variants:
        problem = solve_variant(variant.loaded, shelf)
        found[variant.name] = as_json(record(problem.plan, problem.findings, (), {}, {})) + repr(problem.plan)
    return found


def forget(kept: list[Any]) -> None:
    """Everything that functions keep of what they were asked; values read anew are new to all others."""
    for known in kept:
        known.cache_clear()


KEYS: dict[str, Any] = {
    "ground": {"distance": 7.5, "offset": 1.25},
    "ground.offset": 0.0,
    "flip": True,
    "raise": 0.2,
    "height": 1.1,
    "contact": [61, 189],
    "top": [60, 40],
    "depth": 0.3,
    "stance": "flat",
    "camera.height": None,
    "camera.roll": 2,
    "camera.horizon": {"row": 20, "plus_minus": 3},
    "camera.lens": {"pixels": 600},
    "kind": "person",
    "plumb": [[50, 180], [51, 40]],
    "look": {"exposure": 0.5},
    "light": {"azimuth": 40, "elevation": 20},
}


def test_company_changes_nothing(write: Callable[..., Path], words: dict[str, Any]) -> None:
    words["plate"]["light"] = {"azimuth": -60, "elevation": 35, "sun": 0.7}
    words["elements"].append({"name": "other", "like": "post", "ground": {"distance": 6.4, "offset": 0.1}})
    one_each = [(f"post-{number}", {f"elements.post.{key}": value}) for number, (key, value) in enumerate(KEYS.items())]
    wall = {"elements.post.stance": "wall", "elements.post.wall": [[150, 300], [330, 290]]}
    plate = {"plate.camera.height": 1.9}
    uncertain = {"plate.camera.horizon": {"row": 118, "plus_minus": 2}}
    turned = {"elements.post.stance": "flat", "elements.post.turn": 20}
    pixel = {"elements.post.ground": {"pixel": [200, 300]}}
    artwork = {"elements.post.size": [0.8, 1.6], "elements.post.camera": None}
    larger = {**artwork, "elements.post.size": [1.6, 1.6]}
    more = enumerate(
        [wall, plate, uncertain, turned, pixel, artwork, larger, {**plate, "elements.post.camera.height": None}]
    )
    changes = [*one_each, *((f"more-{number}", changed) for number, changed in more)]
    scene = write(words | {"variants": [{"name": name, "set": changed} for name, changed in changes]})
    together = told(load_batch(scene), Shelf())
    backwards = told(reversed(load_batch(scene)), Shelf())
    alone: dict[str, str] = {}
    kept = [known for known in gc.get_objects() if isinstance(known, _lru_cache_wrapper)]
    for name in together:
        forget(kept)
        alone |= told(load_batch(scene, patterns=[name]), Shelf())
    assert len(together) == len(changes) + 1
    assert len(set(together.values())) > len(changes) - 2  # nearly every key shows somewhere
    assert [name for name, text in alone.items() if together[name] != text] == []
    assert [name for name, text in alone.items() if backwards[name] != text] == []
