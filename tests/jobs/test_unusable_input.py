"""Every kind of unusable input through the real command: exit 2, a line for each fault with its place, no output."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from compositor.base.errors import UnusableInput
from compositor.jobs.check import check_scene

Write = Callable[[dict[str, Any]], Path]
Words = dict[str, Any]


def change(words: Words, key: str, value: Any) -> Words:
    """Sets a dotted key of nested words."""
    at: Any = words
    *path, last = key.split(".")
    for part in path:
        at = at[int(part)] if part.isdigit() else at[part]
    at[last] = value
    return words


PICTURES = [
    ("plate.image", "nowhere.png", "plate.image", "no such file"),
    ("plate.image", "a-folder", "plate.image", "folder"),
    ("elements.0.image", "nowhere.png", "elements.post.image", "no such file"),
    ("elements.0.image", "a-folder", "elements.post.image", "folder"),
    ("elements.0.image", "text.png", "elements.post.image", "not a picture"),
    ("elements.0.image", "truncated.png", "elements.post.image", "truncated"),
    ("elements.0.image", "pointer.png", "elements.post.image", "git lfs pull"),
    ("elements.0.image", "empty.png", "elements.post.image", "empty matte"),
    ("elements.0.matte", "matte.png", "elements.post.matte", "sizes must be equal"),
    ("plate.holdouts", [{"name": "h", "matte": "small-matte.png", "distance": 3}], "plate.holdouts.h.matte", "sizes"),
]
GEOMETRY = [
    ("elements.0.contact", [60, 900], "elements.post.contact", "outside its picture"),
    ("elements.0.contact", [60, 0], "elements.post.contact", "above the horizon of its own camera"),
    ("elements.0.top", [60, 195], "elements.post.top", "does not lie above the contact"),
    ("elements.0.ground", {"pixel": [240, 30]}, "elements.post.ground.pixel", "above the horizon of the plate"),
    ("elements.0.ground", {"distance": 0}, "elements.post.ground.distance", "greater than 0"),
    ("elements.0.ground", {"distance": -3}, "elements.post.ground.distance", "greater than 0"),
]


@pytest.mark.parametrize(("key", "value", "where", "text"), PICTURES + GEOMETRY)
def test_fault_is_named_by_place_and_key(
    words: Words, write: Write, key: str, value: Any, where: str, text: str
) -> None:
    path = write(change(words, key, value))
    with pytest.raises(UnusableInput) as caught:
        check_scene(path, [])
    lines = [str(fault) for fault in caught.value.faults]
    assert len(lines) == 1, lines
    place, line, column, rest = lines[0].split(":", 3)
    assert place == str(path) and int(line) > 1 and int(column) > 1
    assert rest.startswith(f" {where}: ") and text in rest, lines[0]


def test_faults_of_several_kinds_in_one_run(words: Words, write: Write) -> None:
    words["elements"].append({"name": "second", "like": "post", "image": "nowhere.png"})
    words["elements"].append({"name": "third", "like": "post", "contact": [60, 900]})
    with pytest.raises(UnusableInput) as caught:
        check_scene(write(words), [])
    assert [fault.key for fault in caught.value.faults] == ["elements.second.image", "elements.third.contact"]


@pytest.mark.parametrize("command", ["render", "check"])
def test_command_says_it_on_standard_error_and_exits_2(
    words: Words, write: Write, command: str, tmp_path: Path
) -> None:
    path = write(change(words, "elements.0.contact", [60, 900]))
    out = ["--out", str(tmp_path / "out")] if command == "render" else []
    environment = {**os.environ, "NO_COLOR": "1"}
    done = subprocess.run(
        [sys.executable, "-m", "compositor", command, str(path), *out], capture_output=True, text=True, env=environment
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith(f"{path}:") and "Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_json_stands_alone_on_standard_output(words: Words, write: Write) -> None:
    import json

    command = [sys.executable, "-m", "compositor", "check", str(write(words)), "--json"]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0 and done.stderr == ""
    assert json.loads(done.stdout)["elements"][0]["name"] == "post"


def test_findings_set_the_exit_status(words: Words, write: Write) -> None:
    words["elements"][0]["ground"] = {"distance": 3.2}  # 11° too steep, its foot in the frame
    path = str(write(words))
    for fail_on, status in (("error", 1), ("warning", 1), ("info", 1)):
        command = [sys.executable, "-m", "compositor", "check", path, "--fail-on", fail_on]
        assert subprocess.run(command, capture_output=True).returncode == status
    words["elements"][0]["ground"] = {"distance": 6}
    command = [sys.executable, "-m", "compositor", "check", str(write(words)), "--fail-on", "error"]
    assert subprocess.run(command, capture_output=True).returncode == 0


@pytest.mark.parametrize("pair", ["nonsense", "=5", "elements.pots.flip=true", "plate.camera.horizon=high"])
def test_unusable_settings_exit_2(words: Words, write: Write, pair: str) -> None:
    command = [sys.executable, "-m", "compositor", "check", str(write(words)), "--set", pair]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 2 and "Traceback" not in done.stderr and done.stderr


def test_an_output_folder_that_cannot_be_is_named_before_anything_is_drawn(words: Words, write: Write) -> None:
    scene = write(words)
    taken = scene.parent / "taken"
    taken.write_text("a file")
    done = run_render(scene, taken)
    assert done.returncode == 2
    assert done.stderr == f"--out:1:1: {taken} is a file, not a folder ({taken / scene.stem / 'base'})\n"


def test_a_file_that_cannot_be_written_is_named(words: Words, write: Write) -> None:
    scene = write(words)
    blocked = scene.parent / "out" / scene.stem / "base" / "composite.png"
    blocked.mkdir(parents=True)
    done = run_render(scene, scene.parent / "out")
    assert done.returncode == 2
    assert done.stderr == f"--out:1:1: cannot be written: Is a directory ({blocked})\n"
    assert list(blocked.parent.iterdir()) == [blocked]  # no part of a file is left


def run_render(scene: Path, out: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "compositor", "render", str(scene), "--out", str(out)]
    return subprocess.run(command, capture_output=True, text=True)


@pytest.mark.parametrize(
    ("words_", "text"),
    [
        (["check"], "scene: "),
        (["check", "x.yaml", "--bogus"], "No such option: --bogus"),
        (["nonsense"], "No such command"),
        (["check", "x.yaml", "--set", "a"], "--set: must be KEY=VALUE (a)"),
        (["render", "x.yaml", "--jobs", "0"], "--jobs: "),
    ],
)
def test_unusable_options_are_told_in_one_line(words_: list[str], text: str) -> None:
    done = subprocess.run([sys.executable, "-m", "compositor", *words_], capture_output=True, text=True)
    assert done.returncode == 2 and done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert line.startswith("command line:1:1: ") and text in line


def test_a_full_disk_behind_standard_output_is_no_traceback() -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("no /dev/full on this system")
    with full.open("w") as sink:
        done = subprocess.run(
            [sys.executable, "-m", "compositor", "schema"], stdout=sink, stderr=subprocess.PIPE, text=True
        )
    assert done.returncode == 2 and "Traceback" not in done.stderr and len(done.stderr.splitlines()) == 1
