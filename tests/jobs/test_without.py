"""What is left out is not made, and nothing else changes."""

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from compositor.jobs import delivering
from compositor.jobs.batch import Choice
from compositor.jobs.delivering import composed
from compositor.jobs.render import LAYERS, OVERLAY, Rendering, render_variants
from compositor.render.compose import compose
from compositor.render.view import View

Write = Callable[[dict[str, Any]], Path]
Words = dict[str, Any]
BOTH = frozenset((OVERLAY, LAYERS))


@pytest.fixture
def views(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, int]]:
    """The sizes of all views that are composed."""
    seen: list[tuple[int, int]] = []

    def watched(problem: Any, ready: Any, view: View, *rest: Any) -> Any:
        seen.append(view.size_px)
        return composed(problem, ready, view, *rest)

    monkeypatch.setattr(delivering, "composed", watched)
    return seen


@pytest.fixture
def small(words: Words) -> Words:
    words["deliveries"] = [
        {"name": "half", "size": [240, 160], "overlay": True},
        {"name": "cut", "aspect": [1, 1], "around": ["post"], "margin": 0.1},
    ]
    words["layers"] = ["tiff"]
    return words


def test_what_is_left_out_is_not_made_and_the_rest_is_the_same(small: Words, write: Write, tmp_path: Path) -> None:
    path = write(small)
    made = {}
    left_out = {"all": [], "no-overlay": [OVERLAY], "no-layers": [LAYERS], "bare": [OVERLAY, LAYERS]}
    for name, without in left_out.items():
        render_variants(Choice(path), Rendering(tmp_path / name, frozenset(without)))
        folder = tmp_path / name / "scene" / "base"
        made[name] = {file.name: file.read_bytes() for file in folder.iterdir()}
    bare, overlays = {"half.png", "cut.png", "report.json"}, {"overlay.png", "half-overlay.png"}
    layered = {"layers.ora", "layers.tif"}
    assert set(made["all"]) == bare | overlays | layered
    assert set(made["no-overlay"]) == bare | layered and set(made["no-layers"]) == bare | overlays
    assert set(made["bare"]) == bare
    for files in made.values():
        assert all(made["all"][name] == content for name, content in files.items())


def test_the_full_frame_is_drawn_only_for_what_shows_it(
    small: Words, write: Write, tmp_path: Path, views: list[tuple[int, int]]
) -> None:
    render_variants(Choice(write(small)), Rendering(tmp_path / "bare", BOTH))
    assert len(views) == 2 and (480, 320) not in views
    views.clear()
    del small["deliveries"]
    render_variants(Choice(write(small)), Rendering(tmp_path / "whole"))
    assert views == [(480, 320)]


def test_on_the_command_line(small: Words, write: Write, tmp_path: Path) -> None:
    words = [
        sys.executable,
        "-m",
        "compositor",
        "render",
        str(write(small)),
        "--out",
        str(tmp_path),
        "--without",
        "overlay",
        "--without",
        "layers",
    ]
    done = subprocess.run([*words, "--json"], capture_output=True, text=True)
    assert done.returncode == 0 and json.loads(done.stdout)["title"] == "A post"
    assert len(list((tmp_path / "scene" / "base").iterdir())) == 3
    done = subprocess.run([*words[:5], "--without", "report"], capture_output=True, text=True)
    assert done.returncode == 2 and "--without" in done.stderr


def test_a_frame_drawn_into_the_plate_is_the_same(
    words: Words, write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where nothing but the frame is wanted, the plate is not copied; anything else that looks at it ends that."""
    frame = [{"name": "wide", "format": "jpeg"}, {"name": "master", "format": "png", "overlay": True}]
    cut = {"name": "cut", "aspect": [1, 1], "around": ["post"], "margin": 0.1}
    path, other = write({**words, "deliveries": frame}), write({**words, "deliveries": [*frame, cut]}, "other.yaml")
    render_variants(Choice(path), Rendering(tmp_path / "all"))
    copied = []
    monkeypatch.setattr(delivering, "compose", lambda *given: copied.append(1) or compose(*given))
    render_variants(Choice(path), Rendering(tmp_path / "bare", frozenset([LAYERS])))
    assert not copied
    render_variants(Choice(other), Rendering(tmp_path / "again", frozenset([LAYERS])))
    assert len(copied) == 2
    for name in ("wide.jpg", "master.png", "master-overlay.png", "overlay.png"):
        wanted = (tmp_path / "all" / "scene" / "base" / name).read_bytes()
        assert (tmp_path / "bare" / "scene" / "base" / name).read_bytes() == wanted, name
    for name in ("wide.jpg", "master.png"):
        wanted = (tmp_path / "all" / "scene" / "base" / name).read_bytes()
        assert (tmp_path / "again" / "other" / "base" / name).read_bytes() == wanted, name


def test_what_an_earlier_render_left_goes_unless_somebody_changed_it(
    small: Words, write: Write, tmp_path: Path
) -> None:
    path, folder = write(small), tmp_path / "out" / "scene" / "base"
    render_variants(Choice(path), Rendering(tmp_path / "out"))
    (folder / "half-overlay.png").write_bytes(b"somebody's own")
    (folder / "notes.txt").write_text("kept")
    small["deliveries"][1]["name"] = "square"
    outcome = render_variants(Choice(write(small)), Rendering(tmp_path / "out", BOTH))
    made = {"half.png", "square.png", "report.json"}
    assert {Path(name).name for name in outcome.variants[0].files} == made
    assert {file.name for file in folder.iterdir()} == made | {"half-overlay.png", "notes.txt"}
