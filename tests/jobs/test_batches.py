"""Variants as a batch: names, what is written, one bad variant among good ones, exit statuses, pictures opened once."""

import json
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.base.errors import PictureError, UnusableInput
from compositor.files.header import PictureFile
from compositor.files.load import load_element, load_plate
from compositor.jobs import cut_outs as cut_outs_room
from compositor.jobs import inputs as inputs_room
from compositor.jobs import shelf as shelf_room
from compositor.jobs.check import check_scene
from compositor.jobs.listing import list_variants
from compositor.jobs.render import render_scene
from compositor.jobs.shelf import Shelf

Write = Callable[[dict[str, Any]], Path]
Words = dict[str, Any]


def command(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "compositor", *words], capture_output=True, text=True)


@pytest.fixture
def three(words: Words, folder: Path) -> Words:
    """A scene whose variants come from a list, from axes and from a table."""
    words["variants"] = [{"name": "far", "set": {"elements.post.ground.distance": 9}}]
    words["axes"] = {
        "size": {"short": {"elements.post.height": 1.0}, "tall": {"elements.post.height": 2.0}},
        "side": {"left": {}, "right": {"elements.post.ground.offset": 0.7}},
    }
    words["table"] = "markets.csv"
    (folder / "markets.csv").write_bytes(
        "\ufeffname;title;elements.post.ground.distance\r\nuk;A post;\r\nde;;7,5\r\n".encode()
    )
    return words


NAMES = [
    "base",
    "far",
    "size-short_side-left",
    "size-short_side-right",
    "size-tall_side-left",
    "size-tall_side-right",
    "uk",
    "de",
]


def test_list_axes_and_table_add_up(three: Words, write: Write) -> None:
    listing = list_variants(write(three), [])
    assert [variant.name for variant in listing.variants] == NAMES
    told = json.loads(listing.as_json())["variants"]
    assert told[3]["set"] == {"elements.post.height": "1", "elements.post.ground.offset": "0.7"}
    assert told[6]["set"] == {"title": "A post"}
    assert told[7]["set"] == {"elements.post.ground.distance": "7.5"}
    assert "far\n    elements.post.ground.distance = 9\n" in listing.as_text()


def test_list_on_the_command_line(three: Words, write: Write) -> None:
    done = command("list", str(write(three)), "--variant", "size-*left", "--json")
    assert done.returncode == 0 and done.stderr == ""
    assert [v["name"] for v in json.loads(done.stdout)["variants"]] == ["size-short_side-left", "size-tall_side-left"]
    done = command("list", str(write(three)), "--variant", "de")
    assert done.stdout == "de\n    elements.post.ground.distance = 7.5\n"
    assert command("list", str(write(three)), "--variant", "dee").returncode == 2


def test_each_variant_is_solved_with_its_changes(three: Words, write: Write) -> None:
    outcome = check_scene(write(three), [])
    posts = {solved.variant: solved.record["elements"][0] for solved in outcome.variants}
    assert list(posts) == NAMES
    assert [posts[name]["distance_m"] for name in ("base", "far", "de", "uk")] == [6, 9, 7.5, 6]
    assert posts["size-tall_side-right"]["height_m"] == pytest.approx(2.0)
    assert posts["size-tall_side-right"]["offset_m"] == 0.7 and posts["size-tall_side-left"]["offset_m"] == -0.5


@pytest.mark.parametrize(
    ("patterns", "names"),
    [
        (["far"], ["far"]),
        (["base"], ["base"]),
        (["size-*_side-left", "de"], ["size-short_side-left", "size-tall_side-left", "de"]),
        (["?e"], ["de"]),
        (["[u]*"], ["uk"]),
    ],
)
def test_patterns(patterns: list[str], names: list[str], three: Words, write: Write) -> None:
    assert [solved.variant for solved in check_scene(write(three), [], patterns).variants] == names


def test_an_unknown_variant_gets_the_nearest(three: Words, write: Write) -> None:
    with pytest.raises(UnusableInput) as caught:
        check_scene(write(three), [], ["far", "size-shrt_side-left"])
    (fault,) = caught.value.faults
    assert str(fault) == (
        "--variant:2:1: no variant of that name; did you mean `size-short_side-left`? (size-shrt_side-left)"
    )


def test_options_have_the_last_word(three: Words, write: Write) -> None:
    outcome = check_scene(write(three), [("elements.post.ground.distance", "5")], ["base", "far", "de"])
    assert [solved.record["elements"][0]["distance_m"] for solved in outcome.variants] == [5, 5, 5]


def test_a_render_of_all(three: Words, write: Write, tmp_path: Path) -> None:
    outcome = render_scene(write(three), [], tmp_path / "out", jobs=2)
    written = {path.parent.name for path in (tmp_path / "out" / "scene").rglob("composite.png")}
    assert written == set(NAMES) and not outcome.failed and outcome.exit_status("error") == 0
    one = render_scene(write(three), [], tmp_path / "one", ["far"], jobs=1)
    for path in (tmp_path / "one" / "scene" / "far").iterdir():
        assert path.read_bytes() == (tmp_path / "out" / "scene" / "far" / path.name).read_bytes()
    assert json.loads(one.as_json())["elements"][0]["distance_m"] == 9


def test_one_bad_variant_never_sinks_the_others(words: Words, write: Write, tmp_path: Path) -> None:
    words["variants"] = [
        {"name": "gone", "set": {"elements.post.image": "nowhere.png"}},
        {"name": "up", "set": {"elements.post.ground": {"pixel": [240, 3]}}},
        {"name": "good", "set": {"elements.post.ground.distance": 8}},
    ]
    path = write(words)
    done = command("render", str(path), "--out", str(tmp_path / "out"), "--json")
    assert done.returncode == 3
    record = json.loads(done.stdout)
    assert [variant["variant"] for variant in record["variants"]] == ["base", "good"]
    assert {failed["variant"] for failed in record["failed"]} == {"gone", "up"}
    lines = done.stderr.splitlines()
    place = path.read_text().splitlines().index('    "elements.post.image": "nowhere.png"') + 1
    assert f"variant gone failed: {path}:{place}:28: elements.post.image: no such file (nowhere.png)" in lines
    assert any(line.startswith("variant up failed: ") and "elements.post.ground" in line for line in lines)
    assert sum(line.endswith((" done", " failed")) for line in lines) == 4
    folders = {path.name for path in (tmp_path / "out" / "scene").iterdir()}
    assert folders == {"base", "good"}
    for folder in folders:
        assert (tmp_path / "out" / "scene" / folder / "report.json").is_file()


def test_a_bad_base_and_all_bad_are_unusable_input(words: Words, write: Write, tmp_path: Path) -> None:
    words["variants"] = [{"name": "gone", "set": {"elements.post.image": "nowhere.png"}}]
    path = write(words)
    done = command("check", str(path), "--variant", "gone")
    assert done.returncode == 2 and "no such file" in done.stderr and done.stdout == ""
    words["elements"][0]["image"] = "absent.png"
    words["variants"] = [{"name": "good", "set": {"elements.post.image": "post.png"}}]
    done = command("render", str(write(words)), "--out", str(tmp_path / "out"))
    assert done.returncode == 2 and "absent.png" in done.stderr
    assert not (tmp_path / "out").exists()
    assert command("check", str(path), "--variant", "good").returncode == 0


def test_faults_in_the_text_stop_everything_and_are_all_told(words: Words, write: Write, tmp_path: Path) -> None:
    words["variants"] = [
        {"name": "a", "set": {"elements.post.height": -1}},
        {"name": "b", "set": {"elements.pots.height": 1}},
        {"name": "good", "set": {"title": "x"}},
    ]
    done = command("render", str(write(words)), "--out", str(tmp_path / "out"))
    assert done.returncode == 2
    assert "greater than 0" in done.stderr and "did you mean `post`" in done.stderr
    assert not (tmp_path / "out").exists()


def test_each_picture_is_opened_once_for_all_variants(
    three: Words, write: Write, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: Counter[str] = Counter()
    lock = threading.Lock()

    def counted(load: Callable[..., Any]) -> Callable[..., Any]:
        def opener(file: PictureFile, *more: Any) -> Any:
            with lock:
                opened[file.header.path.name] += 1
            return load(file, *more)

        return opener

    monkeypatch.setattr(inputs_room, "load_plate", counted(load_plate))
    monkeypatch.setattr(cut_outs_room, "load_element", counted(load_element))
    assert len(check_scene(write(three), [], jobs=4).variants) == 8
    assert opened == {"plate.png": 1, "post.png": 1}


def test_a_shelf_lets_go_after_the_last_use() -> None:
    made: list[str] = []

    def make() -> str:
        made.append("x")
        return "thing"

    shelf = Shelf([["a", "b"], ["a"]])
    for _ in range(2):
        assert shelf.take("kind", ("a", "b"), None, make) == "thing"
    assert made == ["x"]
    shelf.done(["a", "b"])  # b is needed no more
    shelf.take("kind", ("a", "b"), None, make)
    assert made == ["x", "x"]


@pytest.mark.parametrize("error", [None, PictureError(Path("a.png"), "cut off"), MemoryError("no room")])
def test_threads_that_want_a_thing_in_hand_wait_for_it(
    error: Exception | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those that wait get what the first gets. Faults of files stay faults; memory may be there the next time."""
    shelf, started, may_end, made = Shelf(), threading.Event(), threading.Event(), Counter[str]()
    waiting = threading.Semaphore(0)

    class Told(Future[Any]):
        def result(self, timeout: float | None = None) -> Any:
            waiting.release()
            return super().result(timeout)

    monkeypatch.setattr(shelf_room, "Future", Told)

    def make() -> list[str]:
        made["times"] += 1
        started.set()
        assert may_end.wait(20)
        if error is not None:
            raise error
        return ["thing"]

    def take() -> object:
        try:
            return shelf.take("kind", ("a",), None, make)
        except (PictureError, MemoryError) as raised:
            return raised

    with ThreadPoolExecutor(4) as threads:
        first = threads.submit(take)
        assert started.wait(20)
        others = [threads.submit(take) for _ in range(3)]
        assert all(waiting.acquire(timeout=20) for _ in others)
        may_end.set()
        found = [future.result(20) for future in (first, *others)]
    assert all(one is found[0] for one in found) and made["times"] == 1
    assert take() is found[0] and made["times"] == (2 if isinstance(error, MemoryError) else 1)


def test_findings_of_a_batch_are_told_once(words: Words, write: Write) -> None:
    words["variants"] = [
        {"name": "far", "set": {"title": "x"}},
        {"name": "gone", "set": {"elements.post.visible": False}},
    ]
    text = check_scene(write(words), []).as_text()
    notice = [line for line in text.splitlines() if "sRGB is assumed" in line and "post" in line]
    assert len(notice) == 1 and notice[0].endswith("[base, far]")


def test_published_sizes_by_our_names(words: Words, write: Write, tmp_path: Path) -> None:
    """Every size of IAB Tech Lab, Fixed Size Ad Specifications, 2017 (copied from the published table)."""
    published = [
        *((970, 250), (300, 50), (320, 50), (728, 90), (970, 90), (300, 1050), (160, 600), (300, 250), (120, 60)),
        *((640, 1136), (750, 1334), (1080, 1920), (120, 20), (168, 28), (216, 36)),
    ]
    from compositor.scene.sizes import SIZES

    assert sorted(SIZES.values()) == sorted(published)
    words["deliveries"] = [{"name": name, "size": name} for name in SIZES if max(SIZES[name]) < 1000]
    render_scene(write(words), [], tmp_path / "out")
    for name, size in SIZES.items():
        if max(size) < 1000:
            with Image.open(tmp_path / "out" / "scene" / "base" / f"{name}.png") as picture:
                assert picture.size == size
                assert np.asarray(picture).std() > 0
