"""A run that is killed, interrupted or asked to go at any moment: no half file, and what is left to do is done by
`--resume`, to the same bytes.

KILLED_ROUNDS=30 kills as often; the figure in the suite is small because each round starts two programs.
"""

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from compositor.files.atomic import PART_SUFFIX, remove_parts, write_whole
from compositor.jobs.batch import Choice
from compositor.jobs.render import LAYERS, Rendering, render_variants

Write = Callable[[dict[str, Any]], Path]
Words = dict[str, Any]
ROUNDS = int(os.environ.get("KILLED_ROUNDS", "3"))


def bytes_of(folder: Path) -> dict[str, bytes]:
    """Of files that are there to be seen."""
    files = [path for path in folder.rglob("*") if path.is_file() and path.suffix != PART_SUFFIX]
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(files)}


def start(path: Path, out: Path, *words: str) -> subprocess.Popen[str]:
    line = [sys.executable, "-m", "compositor", "render", str(path), "--out", str(out), "--without", "layers", *words]
    return subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True)


def wait_for_variants(run: subprocess.Popen[str], count: int) -> None:
    """Until so many are told as done, or the run has ended: how long a program takes to begin swings too much to hit
    the work by the clock alone."""
    assert run.stderr is not None
    for _ in range(count):
        run.stderr.readline()


@pytest.fixture
def many(words: Words) -> Words:
    words["variants"] = [{"name": f"v{i:02}", "set": {"elements.post.ground.distance": 5 + i / 4}} for i in range(30)]
    words["deliveries"] = [{"name": "small", "size": [240, 160]}, {"name": "whole", "size": [480, 320]}]
    return words


def test_killed_at_random_moments(many: Words, write: Write, tmp_path: Path) -> None:
    path, chance = write(many), random.Random(11)
    begin = time.monotonic()
    whole = start(path, tmp_path / "whole")
    whole.communicate()
    assert whole.returncode == 0
    duration = time.monotonic() - begin
    expected = bytes_of(tmp_path / "whole" / "scene")
    assert len(expected) == 31 * 4
    came_far = 0
    for number in range(ROUNDS):
        out, cache = tmp_path / str(number), ["--cache", str(tmp_path / "cache")]
        workers = ["--workers", "processes"] if number % 3 == 2 else ["--jobs", str(1 + number % 2)]
        run = start(path, out, *cache, *workers)
        wait_for_variants(run, chance.randrange(31))
        time.sleep(chance.uniform(0.0, 0.1) * duration)
        os.killpg(run.pid, signal.SIGKILL)
        run.communicate()
        seen = bytes_of(out / "scene")
        came_far += 0 < len(seen) < len(expected)
        assert all(expected[name] == content for name, content in seen.items())
        done = start(path, out, "--resume", *cache, *workers)
        told, errors = done.communicate()
        assert done.returncode == 0, errors
        assert bytes_of(out / "scene") == expected
        assert not list(out.rglob(f"*{PART_SUFFIX}"))
        print(f"round {number}: {len(seen)} of {len(expected)} files at the kill; {told.splitlines()[-1]}")
    assert ROUNDS < 10 or came_far >= ROUNDS // 3


@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_interrupted(number: signal.Signals, status: int, many: Words, write: Write, tmp_path: Path) -> None:
    run = start(write(many), tmp_path / "out")
    assert run.stderr is not None
    run.stderr.readline()  # the first variant is done
    os.killpg(run.pid, number)
    _, errors = run.communicate()
    assert run.returncode == status
    assert "Traceback" not in errors and ("--resume" in errors) == (number == signal.SIGINT)
    assert len(bytes_of(tmp_path / "out" / "scene")) < 31 * 4
    assert not list((tmp_path / "out").rglob(f"*{PART_SUFFIX}"))


def test_resume_does_what_is_not_done(many: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    path, out = write({**many, "variants": many["variants"][:3]}), tmp_path / "out"

    def resumed(*settings: tuple[str, str]) -> list[str]:
        outcome = render_variants(Choice(path, settings), Rendering(out, frozenset((LAYERS,)), resume=True))
        return [solved.variant for solved in outcome.variants if not (solved.labour and solved.labour.done)]

    assert resumed() == ["base", "v00", "v01", "v02"]
    expected = bytes_of(out)
    assert resumed() == []
    (out / "scene" / "v01" / "small.png").unlink()
    with (out / "scene" / "v02" / "whole.png").open("ab") as file:
        file.write(b"more")
    assert resumed() == ["v01", "v02"] and bytes_of(out) == expected
    assert resumed(("elements.post.flip", "true")) == ["base", "v00", "v01", "v02"]
    assert resumed() == ["base", "v00", "v01", "v02"] and bytes_of(out) == expected
    for entry in (out / ".made" / "scene").iterdir():
        entry.write_text("[]" if entry.stem == "base" else "{")
    assert resumed() == ["base", "v00", "v01", "v02"] and bytes_of(out) == expected
    plate = folder / "plate.png"
    plate.write_bytes(plate.read_bytes() + b"more")  # the same picture, another file: its hash is in the report
    assert resumed() == ["base", "v00", "v01", "v02"] and resumed() == []


def test_a_rendering_without_resume_makes_all(words: Words, write: Write, tmp_path: Path) -> None:
    for _ in range(2):
        outcome = render_variants(Choice(write(words)), Rendering(tmp_path, frozenset((LAYERS,))))
        assert outcome.variants[0].labour is not None and not outcome.variants[0].labour.done


def test_leftovers_go_and_what_is_being_written_stays(tmp_path: Path) -> None:
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom compositor.files import atomic\n"
        "os.fsync = lambda number: os.kill(os.getpid(), 9) if 'die' in sys.argv else (print('writing', flush=True), "
        "sys.stdin.read())\natomic.write_whole(Path(sys.argv[1]) / 'picture.png', b'half')\n"
    )
    line = [sys.executable, "-c", code, str(tmp_path)]
    assert subprocess.run([*line, "die"]).returncode == -9
    (left,) = tmp_path.iterdir()
    assert left.suffix == PART_SUFFIX and left.name.startswith(".picture.png.")
    alive = subprocess.Popen(line, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert alive.stdout is not None and alive.stdout.readline() == "writing\n"
    (tmp_path / "own.part").write_text("somebody's")
    remove_parts(tmp_path)
    assert not left.exists() and len(list(tmp_path.iterdir())) == 2
    alive.communicate("")
    assert {path.name for path in tmp_path.iterdir()} == {"picture.png", "own.part"}
    write_whole(tmp_path / "picture.png", b"whole")
    assert (tmp_path / "picture.png").read_bytes() == b"whole"
