"""What is kept from variant to variant and run to run: never a byte of a difference, and only what moved is made."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.base.errors import PictureError
from compositor.files.atomic import PART_SUFFIX, bytes_hash, content_hash
from compositor.files.header import PictureFile, read_file
from compositor.files.png import encode_png
from compositor.jobs import contents as contents_room
from compositor.jobs import cut_outs as cut_outs_room
from compositor.jobs import delivering as delivering_room
from compositor.jobs import entries as entries_room
from compositor.jobs import shelf as shelf_room
from compositor.jobs.batch import Choice, Means, run_batch
from compositor.jobs.cache import ENDING, Cache, default_cache
from compositor.jobs.contents import Contents
from compositor.jobs.entries import Damaged, Stored
from compositor.jobs.outcome import Solved
from compositor.jobs.render import LAYERS, OVERLAY, Rendering, render_variant, render_variants
from compositor.jobs.shelf import Shelf
from compositor.jobs.solving import Problem
from compositor.pixels.mips import Mips
from compositor.pixels.softened import Softened
from compositor.render.view import Sampled, sample_plate, view_plate

Write = Callable[[dict[str, Any]], Path]
Words = dict[str, Any]
BARE = frozenset((OVERLAY, LAYERS))


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def layers_of(path: Path, out: Path, cache: Path | None, settings: Any = (), **more: Any) -> tuple[int, int]:
    """Kept and made of a run over all variants."""
    outcome = render_variants(Choice(path, settings, means=Means(cache=cache), **more), Rendering(out, BARE))
    assert not outcome.failed
    told = json.loads(outcome.as_json())["layers"]
    assert f"layers: {told['kept']} used again, {told['made']} made" in outcome.as_text()
    return told["kept"], told["made"]


@pytest.fixture
def lit(words: Words, folder: Path) -> Words:
    """Two posts, the second with effects that look at the plate; one small delivery."""
    ground, look = {"distance": 8, "offset": 0.6}, {"match": 1, "grain": True}
    words["elements"].append({"name": "second", "like": "post", "ground": ground, "look": look})
    words["deliveries"] = [{"name": "small", "size": [120, 80]}]
    return words


def hundred(words: Words) -> Words:
    """With a hundred variants: ten places for one post, ten texts that are in no picture."""
    words["axes"] = {
        "place": {f"p{i}": {"elements.post.ground.offset": -0.5 - 0.05 * i} for i in range(10)},
        "title": {f"t{i}": {"title": f"Post {i}"} for i in range(10)},
    }
    return words


def test_horizon_moved_in_a_hundred_variants(lit: Words, write: Write, tmp_path: Path) -> None:
    path, cache = write(hundred(lit)), tmp_path / "cache"
    horizon = lit["plate"]["camera"]["horizon"]
    layers_of(path, tmp_path / "out", cache)
    moved = [("plate.camera.horizon", str(horizon + 10))]
    kept, made = layers_of(path, tmp_path / "out", cache, moved)
    assert kept + made == 202 and made == 11  # the second post, and the other in ten places
    layers_of(path, tmp_path / "fresh", None, moved)
    after = bytes_of(tmp_path / "out" / "scene")
    assert len(after) == 202 and after == bytes_of(tmp_path / "fresh" / "scene")


def test_what_did_not_move_is_not_made_again(lit: Words, write: Write, tmp_path: Path) -> None:
    path, cache = write(lit), tmp_path / "cache"
    assert layers_of(path, tmp_path / "out", cache) == (0, 2)
    assert layers_of(path, tmp_path / "out", cache) == (2, 0)
    assert layers_of(path, tmp_path / "out", cache, [("elements.post.ground.distance", "7")]) == (1, 1)
    assert layers_of(path, tmp_path / "out", cache, [("elements.second.look.exposure", "0.2")]) == (1, 1)
    assert layers_of(path, tmp_path / "out", cache, [("title", "else"), ("tolerances.roll", "3")]) == (2, 0)


def test_a_cut_out_is_opened_once_for_all_runs(
    lit: Words, write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, cache = write(lit), tmp_path / "cache"
    layers_of(path, tmp_path / "out", cache)
    monkeypatch.setattr(cut_outs_room, "load_element", None)
    moved = [("elements.post.ground.distance", "7"), ("plate.camera.horizon", "150")]
    kept, made = layers_of(path, tmp_path / "out", cache, moved)
    assert (kept, made) == (0, 2)
    monkeypatch.undo()
    layers_of(path, tmp_path / "fresh", None, moved)
    assert bytes_of(tmp_path / "out" / "scene") == bytes_of(tmp_path / "fresh" / "scene")


def test_other_pictures_are_other_layers(lit: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    path, cache = write(lit), tmp_path / "cache"
    layers_of(path, tmp_path / "out", cache)
    samples = np.asarray(Image.open(folder / "plate.png"))
    Image.fromarray(255 - samples).save(folder / "plate.png")
    assert layers_of(path, tmp_path / "out", cache) == (1, 1)  # one of them is matched to the plate
    post = np.asarray(Image.open(folder / "post.png")).copy()
    post[40:60, 50:60, 1] = 200
    Image.fromarray(post).save(folder / "post.png")
    assert layers_of(path, tmp_path / "out", cache) == (0, 2)
    layers_of(path, tmp_path / "fresh", None)
    assert bytes_of(tmp_path / "out" / "scene") == bytes_of(tmp_path / "fresh" / "scene")


def test_shadows_know_the_colours_that_light_them(lit: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    """The element's own face and the plate's ground send light into a contact shadow."""
    lit["plate"]["light"] = {"azimuth": -70, "elevation": 40}
    path, cache = write(lit), tmp_path / "cache"
    layers_of(path, tmp_path / "out", cache)
    assert layers_of(path, tmp_path / "out", cache)[1] == 0
    moved = [("elements.post.look.exposure", "1")]
    kept, made = layers_of(path, tmp_path / "out", cache, moved)
    assert kept > 0 and made > 1  # the post and all shadows
    samples = np.asarray(Image.open(folder / "plate.png"))
    Image.fromarray(samples // 2).save(folder / "plate.png")
    layers_of(path, tmp_path / "out", cache, moved)
    layers_of(path, tmp_path / "fresh", None, moved)
    assert bytes_of(tmp_path / "out" / "scene") == bytes_of(tmp_path / "fresh" / "scene")


def test_a_change_of_copy_makes_no_layer(lit: Words, write: Write, tmp_path: Path) -> None:
    lit["graphics"] = [{"name": "band", "box": [0, 0, 1, 0.2], "fill": "#204060"}]
    lit["variants"] = [{"name": f"v{i}", "set": {"graphics.band.fill": f"#{i}04060"}} for i in range(5)]
    path = write(lit)
    kept, made = layers_of(path, tmp_path / "out", None)
    assert (kept, made) == (10, 2)
    pictures = {file for name, file in bytes_of(tmp_path / "out" / "scene").items() if name.endswith(".png")}
    assert len(pictures) == 5  # one of the colours is the base's


def damaged(data: bytes, damage: str) -> bytes:
    """An entry's file as a fault of the disk or a torn write may leave it."""
    start = 16 + int.from_bytes(data[8:12], "little")  # of the arrays
    if damage in ("flip", "head"):
        flipped = bytearray(data)
        for place in range(start, len(data), 509) if damage == "flip" else [start // 2]:
            flipped[place] ^= 4
        return bytes(flipped)
    if damage == "torn":
        return data[:start] + bytes(len(data) - start)
    if damage == "length":
        return data[:8] + b"\xff\xff\xff\xff" + data[12:]
    return {"cut": data[: len(data) // 2], "empty": b"", "longer": data + b"more", "words": b"[]"}[damage]


def test_damage_is_noticed_and_made_good(lit: Words, write: Write, tmp_path: Path) -> None:
    path, cache = write(lit), tmp_path / "cache"
    layers_of(path, tmp_path / "out", cache)
    whole = bytes_of(tmp_path / "out" / "scene")
    for damage in ("flip", "head", "torn", "length", "cut", "empty", "longer", "words", "gone"):
        files = sorted(cache.rglob(f"*{ENDING}"))
        assert len(files) == 4, "the cut-out, its means and two layers"
        for file in files:
            if damage == "gone":
                file.unlink()
            else:
                file.write_bytes(damaged(file.read_bytes(), damage))
        assert layers_of(path, tmp_path / "out", cache) == (0, 2), damage
        assert bytes_of(tmp_path / "out" / "scene") == whole
        assert layers_of(path, tmp_path / "out", cache) == (2, 0), damage


@pytest.mark.parametrize("kind", [np.uint16, np.float32])
def test_means_of_a_kept_pyramid_are_those_of_one_that_is_made(
    kind: type, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are read by themselves, whatever happened to their entry."""
    full, key, opened = 65535 if kind == np.uint16 else 1, "1" * 64, []
    made = Mips((np.random.default_rng(3).uniform(0, 1, (70, 90, 4)) * full).astype(kind))
    everywhere, box = (0, 0, 91, 71), (7, 3, 60, 71)
    array = Stored.array

    def watched(stored: Stored, number: int) -> np.ndarray:
        opened.append((Path(stored.path).name, number))
        return array(stored, number)

    monkeypatch.setattr(Stored, "array", watched)
    for damage in (None, None, "flip", "gone", "empty"):
        cache = Cache(tmp_path / "cache")
        if damage is not None:
            (entry,) = cache.root.rglob(f"*-means{ENDING}")
            data = entry.read_bytes()
            entry.unlink()
            if damage != "gone":
                entry.write_bytes(damaged(data, damage))
        kept = cut_outs_room.kept_mips(cache, key, lambda: made)
        opened.clear()
        np.testing.assert_array_equal(kept.means(everywhere), made.means(everywhere))
        np.testing.assert_array_equal(kept.means(box), made.means(box))
        assert {number for _, number in opened} == {0} and all("-means" in name for name, _ in opened)
        np.testing.assert_array_equal(kept.means((0, 0, 46, 36), 1), made.means((0, 0, 46, 36), 1))
        np.testing.assert_array_equal(kept.level(0), made.level(0))


def test_the_cache_keeps_to_its_size_and_forgets_what_is_longest_unused(tmp_path: Path) -> None:
    cache, unhindered = Cache(tmp_path / "cache", most_bytes=40_000), Cache(tmp_path / "cache")
    samples = np.zeros((50, 50, 2), np.uint16)
    keys = [f"{i}{i}" + "0" * 62 for i in range(6)]
    for age, key in enumerate(keys):
        written = unhindered.write(key, {"age": age}, [samples])
        assert written is not None
        os.utime(written.path, (1000 + age, 1000 + age))
    assert (tmp_path / "cache").stat().st_mode & 0o777 == 0o700
    assert cache.read(keys[0]) is not None  # used now
    cache.trim()
    assert [cache.read(key) is not None for key in keys] == [True, False, False, False, True, True]
    stored = cache.read(keys[5])
    assert stored is not None and stored.facts == {"age": 5}
    np.testing.assert_array_equal(stored.array(0), samples)
    assert not stored.array(0).flags.writeable
    cache.remove(keys[5])
    with pytest.raises(Damaged):
        stored.array(0)
    assert cache.read(keys[5]) is None


def test_what_is_in_use_for_long_counts_as_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cache, samples = Cache(tmp_path, most_bytes=20_000), np.zeros((50, 50, 2), np.uint16)
    key, later = "0" * 64, "1" * 64
    stored = cache.write(key, {}, [samples])
    assert stored is not None
    os.utime(stored.path, (1000, 1000))
    monkeypatch.setattr(entries_room, "_MARKED_S", 0.0)
    stored.array(0)
    written = Cache(tmp_path).write(later, {}, [samples])
    assert written is not None
    os.utime(written.path, (2000, 2000))
    cache.trim()
    assert cache.read(key) is not None and cache.read(later) is None


def test_several_arrays_of_any_kind_in_one_file(tmp_path: Path) -> None:
    arrays = [np.arange(7, dtype=np.uint8), np.zeros((0, 3), np.float32), np.arange(6.0).reshape(2, 3).T]
    arrays.append(np.arange(4_000_000, dtype=np.uint16).reshape(1000, 1000, 4)[3:990, 5:990])
    for read in (Cache(tmp_path).write("0" * 64, {"a": [1.5, "b"]}, arrays), Cache(tmp_path).read("0" * 64)):
        assert read is not None and read.facts == {"a": [1.5, "b"]}
        for number, samples in enumerate(arrays):
            np.testing.assert_array_equal(read.array(number), samples)
            assert read.array(number).dtype == samples.dtype
        with pytest.raises(Damaged):
            read.array(len(arrays))


def test_what_is_no_entry_any_more_goes_and_what_is_not_ours_stays(tmp_path: Path) -> None:
    former, own = tmp_path / "ab" / ("ab" + "0" * 62), tmp_path / "ab" / "pictures"
    for folder in (former, own):
        folder.mkdir(parents=True)
        (folder / "0.npy").write_bytes(b"")
    part = tmp_path / "ab" / ".x.part"
    part.write_bytes(b"half")
    os.utime(part, (1000, 1000))
    Cache(tmp_path).write("ab" + "1" * 62, {}, [])
    Cache(tmp_path).trim()
    assert not former.exists() and not part.exists() and (own / "0.npy").exists()


def test_a_folder_that_is_there_keeps_its_rights(tmp_path: Path) -> None:
    tmp_path.chmod(0o755)
    Cache(tmp_path).write("0" * 64, {}, [np.zeros((2, 2), np.uint16)])
    assert Cache(tmp_path).read("0" * 64) is not None
    assert tmp_path.stat().st_mode & 0o777 == 0o755


def test_a_long_run_keeps_to_it_before_its_end(tmp_path: Path) -> None:
    cache, samples = Cache(tmp_path / "cache", most_bytes=100_000), np.zeros((50, 50, 2), np.uint16)
    for number in range(40):
        cache.write(f"{number:02}" + "0" * 62, {}, [samples])
        taken = sum(path.stat().st_size for path in (tmp_path / "cache").rglob("*") if path.is_file())
        assert taken <= 125_000, number  # an eighth, and the entry with which that is noticed
    assert cache.read("39" + "0" * 62) is not None and cache.read("00" + "0" * 62) is None
    assert not list((tmp_path / "cache").rglob(f"*{PART_SUFFIX}"))


def test_a_place_that_cannot_be_written_to_keeps_nothing(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    cache = Cache(tmp_path / "file")
    cache.write("0" * 64, {}, [np.zeros((2, 2), np.uint16)])
    assert cache.read("0" * 64) is None
    cache.trim()


def test_where_the_cache_is(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """XDG Base Directory Specification 0.8: an absolute XDG_CACHE_HOME, else ~/.cache."""
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.delenv("COMPOSITOR_CACHE")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert default_cache() == tmp_path / "xdg" / "compositor"
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    assert default_cache() == tmp_path / ".cache" / "compositor"
    monkeypatch.setenv("COMPOSITOR_CACHE", str(tmp_path / "own"))
    assert default_cache() == tmp_path / "own"
    monkeypatch.setenv("COMPOSITOR_CACHE", "off")
    assert default_cache() is None


def test_a_file_that_changes_while_it_is_read(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(b"one")
    contents = Contents(tmp_path, Shelf())
    assert contents("a.png") == content_hash(tmp_path / "a.png")
    contents.unchanged("a.png")
    (tmp_path / "a.png").write_bytes(b"other")
    with pytest.raises(Exception, match="changed while it was read"):
        contents.unchanged("a.png")


def test_a_picture_is_read_once_for_its_header_its_hash_and_its_samples(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, read = tmp_path / "a.png", []

    def counted(path: Path) -> PictureFile:
        read.append(path.name)
        return read_file(path)

    path.write_bytes(encode_png(np.full((3, 5, 3), 90, np.uint8)))
    monkeypatch.setattr(contents_room, "read_file", counted)
    monkeypatch.setattr(contents_room, "content_hash", None)
    contents = Contents(tmp_path, Shelf())
    assert contents.header("a.png").size_px == (5, 3)
    assert contents("a.png") == bytes_hash(path.read_bytes())
    assert contents.picture("a.png").data == path.read_bytes() and read == ["a.png"]
    assert contents.picture("a.png").header == contents.header("a.png") and read == ["a.png", "a.png"]
    path.write_bytes(b"other")
    with pytest.raises(PictureError, match="changed while it was read"):
        contents.unchanged("a.png")


@pytest.fixture
def made() -> list[str]:
    return []


def taken(shelf: Shelf, made: list[str], name: str, files: tuple[str, ...], size: int) -> None:
    def make() -> np.ndarray:
        made.append(name)
        return np.zeros(size, np.uint8)

    assert shelf.take("thing", files, name, make).nbytes == size


def test_a_shelf_lets_go_of_what_is_longest_unused(made: list[str]) -> None:
    shelf = Shelf(most_bytes=250)
    for name in "ababcb":
        taken(shelf, made, name, ("file",), 100)
    assert made == ["a", "b", "c"] and shelf.held_bytes == 200
    taken(shelf, made, "a", ("file",), 100)
    assert made == ["a", "b", "c", "a"] and shelf.held_bytes == 200


def test_what_passes_stays_little_until_it_is_asked_for_again(made: list[str]) -> None:
    shelf, size = Shelf(), 20 << 20
    for number in range(40):
        taken(shelf, made, f"{number}", (), size)
        assert shelf.held_bytes <= 2 * size
    for _ in range(2):
        for number in range(36, 40):
            taken(shelf, made, f"{number}", (), size)
    assert made[40:] == ["36", "37", "38"] and shelf.held_bytes == 4 * size


def test_passing_things_without_samples_do_not_pile_up(made: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Of elements that no view shows, say."""
    monkeypatch.setattr(shelf_room, "_LEAST_PASSING_BYTES", 10 << 10)
    shelf = Shelf()
    for number in range(100):
        taken(shelf, made, f"{number}", (), 0)
    held = [number for number in range(100) if shelf.holds("thing", (), f"{number}")]
    assert held == list(range(90, 100))


def test_all_of_many_views_look_into_one_softened_plate(
    words: Words, write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    words["deliveries"] = [{"name": "small", "size": [60, 40]}]
    words["variants"] = [{"name": f"v{i}", "set": {"deliveries.small.size": [60 + i, 40]}} for i in range(1, 8)]
    looked: list[Softened | None] = []

    def view(plate: np.ndarray, space: Any, view: Any, softened: Softened | None) -> np.ndarray:
        looked.append(softened)
        return view_plate(plate, space, view, softened)

    monkeypatch.setattr(delivering_room, "view_plate", view)
    layers_of(write(words), tmp_path / "out", None, jobs=1)
    assert len(looked) >= 7 and looked[0] is not None and all(one is looked[0] for one in looked)


@pytest.mark.parametrize("looked_into", [False, True])
def test_a_plate_is_held_from_the_second_variant_with_a_view_on_or_where_layers_look_into_it(
    looked_into: bool, lit: Words, write: Write, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """looked_into: there is a holdout, and shadows in air. Never another byte."""
    if looked_into:
        lit["plate"] |= {"air": {"visibility": 60}, "light": {"azimuth": -70, "elevation": 40}}
        matte = np.zeros(np.asarray(Image.open(folder / "plate.png")).shape[:2], np.uint8)
        matte[:, 40:-40] = 200
        Image.fromarray(matte).save(folder / "front.png")
        lit["plate"]["holdouts"] = [{"name": "front", "matte": "front.png", "distance": 2}]
    lit["variants"] = [{"name": f"v{i}", "set": {"elements.post.raise": i / 20}} for i in range(1, 4)]
    sampled: list[Sampled] = []

    def sample(*given: Any) -> Sampled:
        sampled.append(sample_plate(*given))
        return sampled[-1]

    monkeypatch.setattr(delivering_room, "sample_plate", sample)
    path = write(lit)
    layers_of(path, tmp_path / "out", None, jobs=1)
    assert len(sampled) == 1
    names = ("base", "v1", "v2", "v3")
    for name in names:
        layers_of(path, tmp_path / "alone", None, patterns=(name,))
    assert len(sampled) == 1 + looked_into * len(names)
    assert bytes_of(tmp_path / "out" / "scene") == bytes_of(tmp_path / "alone" / "scene")


def test_what_is_held_does_not_grow_with_the_variants(
    words: Words, write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Counted, not measured: of what variants show there stays what room there is for it, however many they are."""
    monkeypatch.setattr(shelf_room, "_LEAST_PASSING_BYTES", 3 << 20)
    words["deliveries"] = [{"name": "small", "size": [600, 400]}]
    held = {}
    for count in (6, 18):
        words["variants"] = [{"name": f"v{i}", "set": {"elements.post.raise": i / 50}} for i in range(1, count)]
        seen: list[int] = []

        def work(variant: str, problem: Problem, seen: list[int] = seen) -> Solved:
            solved = render_variant(Rendering(tmp_path / "out", BARE), variant, problem)
            seen.append(problem.inputs.shelf.held_bytes)
            return solved

        assert not run_batch(Choice(write(words), jobs=1), work).failed
        held[count] = seen
    assert held[18][:6] == held[6] and max(held[18]) < 1.01 * max(held[6]) and held[6][0] < held[6][1]


def test_everything_at_once_is_the_same_from_the_cache(lit: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    """Light with shadows, air, focus, a holdout, more picture below: after any change as from nothing."""
    lit["plate"] |= {
        "light": {"azimuth": -60, "elevation": 35, "sun": 0.6},
        "air": {"visibility": 2000},
        "focus": {"distance": 3, "f_number": 1.4, "focal_mm": 100},
        "holdouts": [{"name": "bush", "matte": "matte.png", "distance": 7}],
        "extend": {"bottom": 20, "fill": "stretch"},
    }
    path, cache = write(lit), tmp_path / "cache"
    changes: list[list[tuple[str, str]]] = [
        [],
        [("plate.camera.horizon", str(lit["plate"]["camera"]["horizon"] + 10))],
        [("plate.light.azimuth", "-50")],
        [("plate.light.sun", "0.4")],
        [("plate.air.visibility", "900")],
        [("plate.focus.distance", "7")],
        [("plate.holdouts.bush.distance", "9")],
        [("plate.extend.fill", "mirror")],
        [("elements.second.look.match", "0.5")],
        [("elements.post.ground.distance", "5")],
        [("elements.post.shadow.cast", "false")],
        [("elements.second.depth", "0.4")],
    ]
    seen = set()
    for number, settings in enumerate(changes):
        layers_of(path, tmp_path / "out", cache, settings)
        layers_of(path, tmp_path / f"{number}", None, settings)
        fresh = bytes_of(tmp_path / f"{number}" / "scene")
        assert bytes_of(tmp_path / "out" / "scene") == fresh, settings
        assert fresh["base/small.png"] not in seen, settings
        seen.add(fresh["base/small.png"])
    kept, made = layers_of(path, tmp_path / "out", cache)
    assert made <= 1 and kept >= 5  # a holdout is cut from the plate, not kept


def test_on_the_command_line(lit: Words, write: Write, tmp_path: Path) -> None:
    path, out = write(lit), ["--out", str(tmp_path / "out"), "--without", "layers", "--without", "overlay"]
    home = {**os.environ, "XDG_CACHE_HOME": str(tmp_path / "home")}
    del home["COMPOSITOR_CACHE"]

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        line = [sys.executable, "-m", "compositor", "render", str(path), *out, *words]
        return subprocess.run(line, capture_output=True, text=True, env=home)

    assert run("--no-cache").stdout.endswith("layers: 0 used again, 2 made\n") and not (tmp_path / "home").exists()
    assert run("--memory", "1G").stdout.endswith("layers: 0 used again, 2 made\n")
    assert len(list((tmp_path / "home" / "compositor").glob(f"*/*{ENDING}"))) == 4
    assert json.loads(run("--json", "--resume").stdout)["layers"] == {"kept": 0, "made": 0, "variants_done": 1}
    assert json.loads(run("--json").stdout)["layers"] == {"kept": 2, "made": 0, "variants_done": 0}
    wrong = run("--memory", "much")
    assert wrong.returncode == 2 and "command line:1:1: --memory: " in wrong.stderr
