"""Colours against path-traced truth: with the plate's air and the match, an element's mean colour comes nearer to what
the same thing really standing there has, and none goes astray.

Measured as mean absolute log2 ratio per channel (stops) between the element's and the true mean colour, over pixels
that both mattes cover by half or more.
"""

import io
import json
import math
import xml.etree.ElementTree as ElementTree
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from test_truth import CASES, coverage, scene_of

from compositor.jobs.render import render_scene

ALL = 8
"""Public cases; the bounds on median and worst are for all of them."""


def to_linear(coded: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, written out so that nothing of ours judges ours."""
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def straight_layer(path: Path, name: str) -> np.ndarray:
    """One layer in the whole frame, linear R G B and coverage (h, w, 4)."""
    with zipfile.ZipFile(path) as archive:
        root = ElementTree.fromstring(archive.read("stack.xml"))
        layer = next(entry for entry in root.iter("layer") if entry.get("name") == name)
        with Image.open(io.BytesIO(archive.read(layer.attrib["src"]))) as picture:
            pixels = np.asarray(picture.convert("RGBA"), dtype=np.float64) / 255.0
    frame = np.zeros((int(root.attrib["h"]), int(root.attrib["w"]), 4))
    x, y = int(layer.attrib["x"]), int(layer.attrib["y"])
    frame[y : y + pixels.shape[0], x : x + pixels.shape[1]] = pixels
    frame[..., :3] = to_linear(frame[..., :3])
    return frame


def stops_apart(folder: Path, case: dict[str, Any], look: dict[str, Any] | None, out: Path) -> float:
    words = scene_of(folder, case)
    haze = case["plate"]["haze"]
    if look is not None:
        words["elements"][0]["look"] = look
        if haze is not None:
            words["plate"]["air"] = {"visibility": -math.log(0.02) / haze["beta_per_m"]}
    out.mkdir()
    scene = out / "scene.json"
    scene.write_text(json.dumps(words))
    render_scene(scene, [], out)
    ours = straight_layer(out / "scene" / "base" / "layers.ora", "subject")
    subject = folder / "truth_subject.png"  # the copies that travel with the tests: black beside the subject
    with Image.open(subject if subject.exists() else folder / "truth.png") as picture:
        truth = to_linear(np.asarray(picture.convert("RGB"), dtype=np.float64) / 255.0)
    both = (ours[..., 3] >= 0.5) & (coverage(folder / "truth_matte.png") >= 0.5)
    return float(np.abs(np.log2(truth[both].mean(axis=0) / ours[both][:, :3].mean(axis=0))).mean())


def test_the_match_comes_nearer_to_the_truth(tmp_path: Path) -> None:
    rows = []
    for folder in CASES:
        case = json.loads((folder / "case.json").read_text())
        plain = stops_apart(folder, case, None, tmp_path / f"{folder.name}-plain")
        matched = stops_apart(folder, case, {"match": 1}, tmp_path / f"{folder.name}-matched")
        rows.append((plain, matched))
        print(f"{folder.name}: {plain:.3f} stops as photographed, {matched:.3f} matched")
    plain, matched = np.array(rows).T
    print(
        f"median {np.median(plain):.3f} and {np.median(matched):.3f}, worst {plain.max():.3f} and {matched.max():.3f}"
    )
    assert np.all(matched <= plain + 0.05)
    assert matched.mean() < plain.mean()
    assert np.median(matched) <= 0.12
    if len(CASES) < ALL:
        pytest.skip(f"{len(CASES)} of {ALL} cases are here: none in fog")
    assert plain.max() > 0.5, "the case in fog shows nothing if it was right before"
    assert matched.max() <= 0.30
