"""Equal bytes from two fresh processes that have nothing in common but the input."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PIL import features

FONT = Path(__file__).parents[2] / "scenes" / "campaign" / "fonts" / "manrope-extrabold.ttf"

# Thread counts are changed inside the process too: no environment variable of ours could do it.
RUN = """
import sys
from compositor.pixels import strips
threads = int(sys.argv[1])
strips.run_all.__defaults__ = (threads,)
strips.for_strips.__defaults__ = (strips.STRIP_ROWS, threads)
from compositor.base.opencv import cv2
cv2.setNumThreads(threads)
from compositor.cli.app import main
commands = f"render --page --jobs {threads}", "approve", "verify --junit junit.xml"
for command in commands:
    name, *rest = command.split()
    sys.argv = ["compositor", name, "scene.yaml", "--out", "outputs", *rest]
    try:
        main()
    except SystemExit as end:
        if end.code:
            raise
"""
SURROUNDINGS = (
    (1, {"PYTHONHASHSEED": "1", "TZ": "Pacific/Auckland", "LC_ALL": "C", "OMP_NUM_THREADS": "1", "USER": "anna"}),
    (5, {"PYTHONHASHSEED": "99", "TZ": "America/Lima", "LC_ALL": "tr_TR.UTF-8", "OPENBLAS_NUM_THREADS": "4"}),
)


def bytes_of(place: Path, threads: int, variables: dict[str, str]) -> dict[str, bytes]:
    """Everything that render, approve and verify leave in a folder, by its place there."""
    clean = {key: value for key, value in os.environ.items() if not key.startswith(("PYTEST", "CI", "LC_", "OPENBLAS"))}
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(threads)],
        cwd=place,
        env={**clean, "HOME": str(place), **variables},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    made = [*place.glob("outputs/**/*"), *place.glob("proofs/**/*"), place / "junit.xml"]
    return {path.relative_to(place).as_posix(): path.read_bytes() for path in made if path.is_file()}


def with_everything(words: dict[str, Any]) -> dict[str, Any]:
    """A scene that uses every part of the work: light, air, focus, looks, edges, graphics, every format, layers."""
    words["plate"] |= {
        "light": {"azimuth": -70, "elevation": 40, "sun": 0.75},
        "air": {"visibility": 2000, "colour": "#8899AA"},
        "focus": {"distance": 5, "f_number": 2, "focal_mm": 24},
        "extend": {"left": 30, "bottom": 20, "fill": "inpaint"},
    }
    words["elements"][0] |= {"look": {"match": 1, "grain": True, "sharpness": True}, "edges": {"soften": 1}}
    words["deliveries"] = [
        {"name": "whole"},
        {"name": "deep", "format": "tiff", "depth": 16},
        {"name": "small", "size": [233, 155], "format": "jpeg", "overlay": True},
        {"name": "web", "format": "webp"},
        {"name": "newer", "format": "avif", "size": [200, 100]},
    ]
    words["graphics"] = [{"name": "logo", "image": "post.png", "box": [0.7, 0.1, 0.95, 0.4]}]
    if features.check("raqm") and features.check("fribidi"):
        copy = {
            "name": "copy",
            "text": "Nachmittag, draußen",
            "font": str(FONT),
            "colour": "#103050",
            "box": [0.05, 0.1, 0.6, 0.25],
        }
        words["graphics"].append(copy)
    for graphic in words["graphics"]:
        graphic["deliveries"] = {"whole": {}, "small": {}}
    words["layers"] = ["tiff"]
    words["variants"] = [{"name": "far", "set": {"elements.post.ground.distance": 8}}]
    return words


def test_equal_bytes_everywhere(
    words: dict[str, Any], write: Callable[..., Path], folder: Path, tmp_path_factory: Any
) -> None:
    write(with_everything(words))
    found = []
    for name, (threads, variables) in zip(("one", "a longer name for it"), SURROUNDINGS, strict=True):
        place = tmp_path_factory.mktemp(name) / "inside"
        shutil.copytree(folder, place)
        found.append(bytes_of(place, threads, variables))
    one, other = found
    assert set(one) == set(other) and len(one) > 25
    assert [name for name in one if one[name] != other[name]] == []


def test_no_clock_host_or_path_in_what_is_kept(words: dict[str, Any], write: Callable[..., Path], folder: Path) -> None:
    write(words)
    made = bytes_of(folder, 2, {"USER": "somebody-special", "HOSTNAME": "host-special"})
    texts = {
        name: data.decode(errors="replace") for name, data in made.items() if name.endswith((".json", ".html", ".xml"))
    }
    for name, text in texts.items():
        for word in (str(folder), "somebody-special", "host-special"):
            assert word not in text, (name, word)
    report = json.loads(texts["outputs/scene/base/report.json"])
    assert report["timings_s"] == {} and "numpy" in report["versions"]
