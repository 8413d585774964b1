"""The whole against path-traced truth: the same subject really standing in the plate, rendered by a path tracer.

Every case holds the plate without the subject, the subject photographed by another camera, and the exact coverage of
the subject really standing there, all with exact cameras (case.json). ceiling.csv is the overlap (intersection over
union) that a flat upright cut-out of the same theory reaches; views that differ by several degrees cannot do better.
"""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.jobs.render import render_scene

HERE = Path(__file__).parent / "cases"
SHARED = Path(__file__).parents[3] / "shared" / "truth"
CASES = sorted(
    {path.parent.name: path.parent for path in (*SHARED.glob("*/case.json"), *HERE.glob("*/case.json"))}.values()
)


def camera(data: dict[str, Any]) -> dict[str, Any]:
    """A scene's camera from exact numbers; the crop is any that puts the principal point where it is."""
    (cx, cy), (width, height) = data["principal_point_px"], data["image_size_px"]
    left, top = max(0.0, width - 2 * cx), max(0.0, height - 2 * cy)
    return {
        "horizon": {"points": [[0, data["horizon_px"][0][1]], [width, data["horizon_px"][1][1]]]},
        "lens": {"pixels": data["focal_px"]},
        "height": data["height_m"],
        "crop": {"offset": [left, top], "of": [2 * (cx + left), 2 * (cy + top)]},
    }


def scene_of(folder: Path, case: dict[str, Any]) -> dict[str, Any]:
    plate: dict[str, Any] = {"image": str(folder / "plate.png"), "camera": camera(case["plate"]["camera"])}
    if case.get("occluder") is not None:
        distance = case["occluder"]["ground_distance_m"]
        plate["holdouts"] = [{"name": "post", "matte": str(folder / "occluder_matte.png"), "distance": distance}]
    element, placement = case["element"], case["placement"]
    return {
        "scene": 1,
        "plate": plate,
        "elements": [
            {
                "name": "subject",
                "image": str(folder / "element.png"),
                "camera": camera(element["camera"]),
                "contact": element["contact_px"],
                "top": element["billboard_top_px"],
                "height": case["subject"]["real_height_m"],
                "ground": {"distance": placement["ground_distance_m"], "offset": placement["lateral_offset_m"]},
            }
        ],
    }


def overlap(ours: np.ndarray, true: np.ndarray) -> float:
    return float(np.minimum(ours, true).sum() / np.maximum(ours, true).sum())


def coverage(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        return np.asarray(picture.convert("L"), dtype=np.float64) / 255.0


def ceilings() -> dict[str, float]:
    with (HERE / "ceiling.csv").open() as file:
        return {row["case"]: float(row["iou"]) for row in csv.DictReader(file)}


@pytest.mark.parametrize("folder", CASES, ids=lambda folder: folder.name)
def test_subject_stands_where_it_truly_stood(folder: Path, tmp_path: Path) -> None:
    case = json.loads((folder / "case.json").read_text())
    scene = tmp_path / "scene.json"
    scene.write_text(json.dumps(scene_of(folder, case)))
    outcome = render_scene(scene, [], tmp_path / "out")
    element = outcome.variants[0].record["elements"][0]
    placement = case["placement"]
    contact_px = np.hypot(*np.subtract(element["contact"], placement["contact_px"]))
    top_px = np.hypot(*np.subtract(element["top"], placement["billboard_top_px"]))
    assert contact_px <= 1.0
    assert top_px <= 2.0
    ours = silhouette(tmp_path / "out" / "scene" / "base" / "layers.ora", "subject")
    free = folder / "truth_matte_unoccluded.png"
    reached = overlap(ours, coverage(free if free.exists() else folder / "truth_matte.png"))
    print(f"{folder.name}: contact {contact_px:.4f} px, top {top_px:.4f} px, overlap {reached:.4f}")
    assert reached >= ceilings()[folder.name] - 0.02


def silhouette(path: Path, name: str) -> np.ndarray:
    """Coverage of one layer in the whole frame, read without any code of ours."""
    import io
    import xml.etree.ElementTree as ElementTree
    import zipfile

    with zipfile.ZipFile(path) as archive:
        root = ElementTree.fromstring(archive.read("stack.xml"))
        layer = next(entry for entry in root.iter("layer") if entry.get("name") == name)
        with Image.open(io.BytesIO(archive.read(layer.attrib["src"]))) as picture:
            alpha = np.asarray(picture.convert("RGBA"), dtype=np.float64)[..., 3] / 255.0
    frame = np.zeros((int(root.attrib["h"]), int(root.attrib["w"])))
    x, y = int(layer.attrib["x"]), int(layer.attrib["y"])
    frame[y : y + alpha.shape[0], x : x + alpha.shape[1]] = alpha
    return frame


def test_occluder_stands_in_front(tmp_path: Path) -> None:
    """c03, its subject moved behind the post: where the post covers wholly, the composite is the plate's own bytes."""
    folder = HERE / "c03"
    case = json.loads((folder / "case.json").read_text())
    words = scene_of(folder, case)
    words["elements"][0]["ground"]["offset"] = 0.4
    scene = tmp_path / "scene.json"
    scene.write_text(json.dumps(words))
    render_scene(scene, [], tmp_path / "out")
    base = tmp_path / "out" / "scene" / "base"
    with Image.open(base / "composite.png") as picture:
        composite = np.asarray(picture.convert("RGB")).astype(int)
    with Image.open(folder / "plate.png") as picture:
        plate = np.asarray(picture.convert("RGB")).astype(int)
    post = coverage(folder / "occluder_matte.png") == 1.0
    subject = silhouette(base / "layers.ora", "subject") > 0.99
    assert (post & subject).sum() > 100, "the case shows nothing if the subject is not behind the post"
    assert np.array_equal(composite[post], plate[post])
    beside = subject & (coverage(folder / "occluder_matte.png") == 0.0)
    assert np.abs(composite[beside] - plate[beside]).mean() > 5
