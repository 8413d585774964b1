"""Scene files as tests: pytest run by pytest, in folders of their own."""

import json
import subprocess
import sys
from collections.abc import Callable
from importlib.metadata import entry_points
from os import environ
from pathlib import Path
from typing import Any

import pytest

PLUGIN = [] if entry_points(group="pytest11", name="compositor") else ["-p", "compositor.cli.pytest_plugin"]
Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def run(folder: Path, words: dict[str, Any]) -> Run:
    """Runs pytest in the folder, where scenes/posts.yaml is a scene with one variant beside the base."""
    scenes = folder / "scenes"
    scenes.mkdir()
    for picture in ("plate.png", "post.png"):
        (folder / picture).rename(scenes / picture)
    words["variants"] = [{"name": "far", "set": {"elements.post.ground.distance": 8}}]
    (scenes / "posts.yaml").write_text(json.dumps(words, indent=1))
    (scenes / "other.yaml").write_text("kind: something else\n")
    (folder / "pytest.ini").write_text("[pytest]\n")

    def runner(*arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
        clean = {key: value for key, value in environ.items() if not key.startswith(("PYTEST", "CI", "COV"))}
        command = [sys.executable, "-m", "pytest", *PLUGIN, "-q", "-p", "no:cacheprovider", *arguments]
        return subprocess.run(command, cwd=folder, env={**clean, **variables}, capture_output=True, text=True)

    return runner


def test_from_missing_to_approved_to_changed(run: Run, folder: Path) -> None:
    first = run("scenes")
    assert first.returncode == 1 and "2 failed, 1 passed" in first.stdout
    assert "base/composite: missing" in first.stdout and "outputs/posts/base/composite.png" in first.stdout
    assert "Traceback" not in first.stdout

    approved = run("scenes", "--approve-scenes", "-n", "2")
    assert approved.returncode == 0 and "3 passed" in approved.stdout
    assert "far/composite: approved for the first time" in approved.stdout
    assert (folder / "scenes" / "proofs" / "posts" / "far" / "composite.jpg").exists()

    side_by_side = run("scenes", "-n", "2")
    assert side_by_side.returncode == 0 and "3 passed" in side_by_side.stdout

    path = folder / "scenes" / "posts.yaml"
    words = json.loads(path.read_text())
    words["variants"][0]["set"]["elements.post.ground.distance"] = 7
    path.write_text(json.dumps(words))
    changed = run("scenes")
    lines = [line.strip() for line in changed.stdout.splitlines()]
    assert changed.returncode == 1 and "1 failed, 2 passed" in changed.stdout
    at = lines.index("far/composite: differs")
    assert lines[at + 1].startswith("post contact ") and lines[at + 1].endswith("% larger")
    for kind in ("approved:", "new:", "difference:"):
        (place,) = (line.removeprefix(kind).strip() for line in lines[at:] if line.startswith(kind))
        assert (folder / place).exists()
    assert (folder / "outputs" / "posts.verify" / "far" / "page.html").exists()

    words["variants"] = []
    path.write_text(json.dumps(words))
    orphaned = run("scenes")
    assert orphaned.returncode == 1 and "far: orphaned" in orphaned.stdout
    assert "far: taken away" in run("scenes", "--approve-scenes").stdout
    assert not (folder / "scenes" / "proofs" / "posts" / "far").exists()


def test_a_build_server_is_refused_approving(run: Run, folder: Path) -> None:
    refused = run("scenes", "--approve-scenes", CI="true")
    assert refused.returncode == 4 and "--approve-scenes is refused" in refused.stderr
    assert not (folder / "scenes" / "proofs").exists()


def test_nothing_is_approved_of_a_variant_that_fails(run: Run, folder: Path) -> None:
    path = folder / "scenes" / "posts.yaml"
    words = json.loads(path.read_text())
    words["variants"][0]["set"] = {"elements.post.image": "missing.png"}
    path.write_text(json.dumps(words))
    broken = run("scenes", "--approve-scenes")
    assert broken.returncode == 1 and "1 failed, 2 passed" in broken.stdout and "missing.png" in broken.stdout
    assert not (folder / "scenes" / "proofs" / "posts" / "far").exists()


def test_a_scene_with_faults_says_where(run: Run, folder: Path) -> None:
    (folder / "scenes" / "posts.yaml").write_text("scene: 1\nplate: {image: plate.png, camera: {horizont: 3}}\n")
    broken = run("scenes")
    assert broken.returncode == 2 and "posts.yaml:2:" in broken.stdout and "horizont" in broken.stdout


def test_only_wanted_scenes_are_tests(run: Run, folder: Path) -> None:
    """Elsewhere only those that are named; what is no scene never."""
    elsewhere = folder / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "one.yaml").write_text((folder / "scenes" / "posts.yaml").read_text())
    collected = run("--collect-only", ".")
    assert "scenes/posts.yaml::far" in collected.stdout
    assert "elsewhere" not in collected.stdout and "other.yaml" not in collected.stdout
    assert "elsewhere/one.yaml::base" in run("--collect-only", "elsewhere/one.yaml").stdout
    (folder / "pytest.ini").write_text("[pytest]\nscene_folders = elsewhere\n")
    collected = run("--collect-only", ".")
    assert "elsewhere/one.yaml::base" in collected.stdout and "posts.yaml" not in collected.stdout
