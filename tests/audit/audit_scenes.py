"""Scenes in words with exact synthetic cameras, read by the real loader and solved by the real solver.

There are no pictures: what solving needs of one (its size, the outline of its matte) is given.
"""

import atexit
import json
import shutil
import tempfile
from collections.abc import Sequence
from math import atan2, degrees, hypot
from pathlib import Path
from typing import Any

import numpy as np

from compositor.audit.findings import Covers, Finding
from compositor.audit.rules import audit
from compositor.geometry.camera import Camera
from compositor.measure.facts import PictureFacts, frame_hull
from compositor.plan.model import Plan
from compositor.scene.loader import load_scene
from compositor.solve.planning import SceneFacts, solve

PLATE = Camera(2400.0, (1500.0, 1000.0), (3000, 2000), -6.0, 0.0, 1.6)
FOLDER = Path(tempfile.mkdtemp(prefix="compositor-audit-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)
Settings = Sequence[tuple[str, str]]


def camera_words(camera: Camera, height: bool = True) -> dict[str, Any]:
    """An exact camera as a scene says it."""
    words: dict[str, Any] = {"horizon": {"pitch": camera.pitch_deg}, "lens": {"pixels": camera.focal_px}}
    if camera.roll_deg != 0.0:
        words["roll"] = camera.roll_deg
    return {**words, "height": camera.height_m} if height else words


def aimed(height_m: float, distance_m: float, tall_m: float, focal_px: float = 3000.0) -> Camera:
    """A camera aimed at the middle of a subject straight ahead."""
    pitch = degrees(atan2(tall_m / 2.0 - height_m, distance_m))
    return Camera(focal_px, (1000.0, 1500.0), (2000, 3000), pitch, 0.0, height_m)


def subject(name: str, own: Camera, ground_m: tuple[float, float], tall_m: float, **keys: Any) -> dict[str, Any]:
    """An element: a subject that stood at (X, Y) before its own camera."""
    contact, top = own.project([(*ground_m, 0.0), (*ground_m, tall_m)])
    return {
        "name": name,
        "image": f"{name}.png",
        "camera": camera_words(own),
        "contact": [float(x) for x in contact],
        "top": [float(x) for x in top],
        "ground": {"distance": 6.0, "offset": 0.0},
        **keys,
    }


def scene(*elements: dict[str, Any], plate: Camera = PLATE, **keys: Any) -> dict[str, Any]:
    """A scene of those elements."""
    return {"scene": 1, "plate": {"image": "plate.png", "camera": camera_words(plate)}, "elements": [*elements], **keys}


def outline(words: dict[str, Any], size: tuple[int, int], width_ratio: float = 0.25) -> tuple[tuple[float, float], ...]:
    """The outline of an element's matte: a box from contact to top."""
    (u, v), (top_u, top_v) = words["contact"], words.get("top", words["contact"])
    half = width_ratio * hypot(top_u - u, top_v - v) / 2.0
    corners = np.array([(u - half, top_v), (u + half, top_v), (u + half, v), (u - half, v)])
    return tuple((float(a), float(b)) for a, b in np.clip(corners, 0.0, size))


def solved(
    words: dict[str, Any],
    settings: Settings = (),
    covers: Covers | None = None,
    sizes: dict[str, tuple[int, int]] | None = None,
) -> tuple[Plan, tuple[Finding, ...]]:
    """The plan of a scene after settings, and what the audit finds. sizes: of pictures other than 2000 × 3000."""
    path = FOLDER / "scene.json"
    path.write_text(json.dumps(words))
    loaded = load_scene(path, settings).scene
    facts = {}
    by_name = {element["name"]: element for element in words.get("elements", ())}
    for element in loaded.elements:
        if element.image is not None:
            size = (sizes or {}).get(element.image, (2000, 3000))
            given = {**by_name[element.name]}
            if element.contact is not None:
                given.update(contact=element.contact, top=element.top or element.contact)
                facts[element.name] = PictureFacts(size, outline(given, size))
            else:
                facts[element.name] = PictureFacts(size, frame_hull(size))
    others = {
        a.image: PictureFacts((2000, 3000), frame_hull((2000, 3000))) for e in loaded.elements for a in e.alternatives
    }
    plate = PictureFacts((3000, 2000), frame_hull((3000, 2000)))
    plan = solve(loaded, SceneFacts(plate, facts, alternatives=others))
    return plan, audit(plan, covers)


def of(findings: Sequence[Finding], code: str) -> list[Finding]:
    return [finding for finding in findings if finding.code == code]
