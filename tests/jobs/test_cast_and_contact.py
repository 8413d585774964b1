"""Shadows through the whole: where they fall, how dark they are, and what they leave alone."""

import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from compositor.base.errors import UnusableInput
from compositor.geometry.camera import Camera
from compositor.geometry.sun import Sun, shadow_tip
from compositor.jobs.render import render_scene
from compositor.jobs.solving import solved

Write = Callable[[dict[str, Any]], Path]
Words = dict[str, Any]
PLATE = Camera(400.0, (240.0, 160.0), (480, 320), -6.0, 0.0, 1.6)
GREY = 180
TOP_M = 1.1
SIDE = {"azimuth": -70.0, "elevation": 40.0}


@pytest.fixture
def even(folder: Path, words: Words) -> Words:
    """The post on an even grey plate, so that every change is a shadow's."""
    Image.fromarray(np.full((320, 480, 3), GREY, np.uint8)).save(folder / "plate.png")
    words["elements"][0]["height"] = TOP_M
    words["elements"][0]["top"] = [60, 30]
    return words


def linear(values: np.ndarray) -> np.ndarray:
    value = values / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def rendered(path: Path, out: Path) -> np.ndarray:
    render_scene(path, [], out)
    with Image.open(out / path.stem / "base" / "composite.png") as picture:
        return np.asarray(picture.convert("RGB")).astype(int)


def ratio(path: Path, out: Path) -> np.ndarray:
    """Linear light of the composite over the plate's, (h, w, 3)."""
    return linear(rendered(path, out)) / linear(np.array(float(GREY)))


def layers_of(base: Path) -> dict[str, tuple[np.ndarray, tuple[int, int], str]]:
    with zipfile.ZipFile(base / "layers.ora") as archive:
        root = ElementTree.fromstring(archive.read("stack.xml"))
        found = {}
        for entry in root.iter("layer"):
            with Image.open(io.BytesIO(archive.read(entry.attrib["src"]))) as picture:
                samples = np.asarray(picture.convert("RGBA")).astype(float) / 255.0
            place = (int(entry.attrib["x"]), int(entry.attrib["y"]))
            found[entry.attrib["name"]] = (samples, place, entry.attrib.get("composite-op", "svg:src-over"))
        return dict(reversed(found.items()))


@pytest.mark.parametrize("azimuth", [-160.0, -120.0, -70.0, -20.0, 0.0, 35.0, 90.0, 150.0])
def test_the_tip_lies_where_the_sun_throws_it(
    even: Words, write: Write, folder: Path, tmp_path: Path, azimuth: float
) -> None:
    """Sun ahead, beside and behind: the post's shadow reaches the ground point of its top, to a pixel and a half."""
    even["plate"]["light"] = {"azimuth": azimuth, "elevation": 50.0}
    pole = np.zeros((200, 120, 4), np.uint8)
    pole[30:190, 58:62] = (200, 60, 40, 255)
    Image.fromarray(pole).save(folder / "post.png")
    even["elements"][0].update({"depth": 0.03, "shadow": {"contact": False}})
    path = write(even)
    dark = ratio(path, tmp_path / "out")[..., 1] < 0.75
    with_element = dict(json.loads(path.read_text()))
    del with_element["plate"]["light"]
    covered = np.abs(rendered(write(with_element), tmp_path / "bare") - GREY).max(axis=2) > 2
    sun = Sun(azimuth, 50.0)
    x, y = shadow_tip((-0.5, 6.0, TOP_M), sun)
    tip = PLATE.project([[x, y, 0.0]])[0]
    base = PLATE.project([[-0.5, 6.0, 0.0]])[0]
    rows, columns = np.nonzero(dark & ~covered)
    along = (tip - base) / np.hypot(*(tip - base))
    across = np.array([-along[1], along[0]])
    offset = np.column_stack([columns + 0.5, rows + 0.5]) - base
    assert float((offset @ along).max()) == pytest.approx(np.hypot(*(tip - base)), abs=1.5)
    far = offset @ along > 0.6 * np.hypot(*(tip - base))
    drift = np.degrees(np.arctan2(np.mean((offset @ across)[far]), np.mean((offset @ along)[far])))
    assert abs(float(drift)) < 1.0


def test_darkness_and_colour_are_those_of_the_light_left(even: Words, write: Write, tmp_path: Path) -> None:
    even["plate"]["light"] = {**SIDE, "sun": 0.75}
    path = write(even)
    light = solved(path, []).plan.light
    assert light is not None
    left = np.array(light.left_ratio)
    assert float(left @ [0.2126, 0.7152, 0.0722]) == pytest.approx(0.25, abs=1e-6)
    assert 0.57 <= left[0] / left[1] <= 0.85  # photographs of open ground under a sun above 30°
    assert 1.26 <= left[2] / left[1] <= 1.90
    even["elements"][0]["shadow"] = {"contact": False}
    found = ratio(write(even), tmp_path / "out")
    x, y = shadow_tip((-0.5, 6.0, 0.3), Sun(-70.0, 40.0))
    u, v = (int(value) for value in PLATE.project([[x, y, 0.0]])[0])
    assert np.allclose(found[v, u], left, atol=0.01)


def test_two_shadows_of_one_sun_never_multiply(even: Words, write: Write, tmp_path: Path) -> None:
    even["plate"]["light"] = SIDE
    one = ratio(write(even), tmp_path / "one")
    second = {"name": "second", "like": "post", "ground": {"distance": 6.03, "offset": -0.9}}
    even["elements"].append(second)
    both = ratio(write(even), tmp_path / "both")
    problem = solved(write(even), [])
    assert problem.plan.light is not None
    least = min(problem.plan.light.left_ratio)
    ground = np.zeros(one.shape[:2], bool)
    ground[:, 265:400] = True  # beside both posts
    assert both[ground].min() >= least * (1 - 0.02) * 0.9  # contact shadow of 10 % of the rest at most, there
    twice = (one[..., 1] < 0.45) & (both[..., 1] < 0.45) & ground
    assert twice.sum() > 50
    assert np.allclose(both[twice].min(axis=0), one[twice].min(axis=0), atol=0.03)


def test_ground_in_shade_gets_no_second_shadow(even: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    shade = np.zeros((320, 480), np.uint8)
    shade[:, 250:] = 255
    Image.fromarray(shade).save(folder / "shade.png")
    even["elements"][0]["shadow"] = {"contact": False}
    even["plate"]["light"] = {"azimuth": -85.0, "elevation": 25.0}
    assert ratio(write(even), tmp_path / "lit")[:, 255:].min() < 0.5
    even["plate"]["light"]["shade"] = "shade.png"
    found = ratio(write(even), tmp_path / "shaded")
    assert found[:, 255:].min() > 0.99
    assert found[:, 228:245, 1].min() < 0.5


def test_holdouts_stay_in_front_of_shadows(even: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    matte = np.zeros((320, 480), np.uint8)
    matte[:, 260:300] = 255
    Image.fromarray(matte).save(folder / "column.png")
    even["plate"]["light"] = {"azimuth": -85.0, "elevation": 25.0}
    assert rendered(write(even), tmp_path / "bare")[:, 265:295].min() < 150
    for distance in (3, 30):
        even["plate"]["holdouts"] = [{"name": "column", "matte": "column.png", "distance": distance}]
        assert np.all(rendered(write(even), tmp_path / f"at-{distance}")[:, 260:300] == GREY)


def test_without_shadows_the_bytes_are_those_without_light(words: Words, write: Write, tmp_path: Path) -> None:
    render_scene(write(words), [], tmp_path / "bare")
    words["plate"]["light"] = SIDE
    words["elements"][0]["shadow"] = False
    render_scene(write(words), [], tmp_path / "none")
    for file in ("composite.png", "layers.ora"):
        bytes_of = [(tmp_path / name / "scene" / "base" / file).read_bytes() for name in ("bare", "none")]
        assert bytes_of[0] == bytes_of[1], file


def test_overcast_leaves_the_contact_shadow_only(even: Words, write: Write, folder: Path, tmp_path: Path) -> None:
    paint(folder / "post.png", (120, 120, 120))
    even["plate"]["light"] = {"sun": 0}
    render_scene(write(even), [], tmp_path / "out")
    found = layers_of(tmp_path / "out" / "scene" / "base")
    assert list(found) == ["plate", "post/contact", "post"]
    rgb = found["post/contact"][0][..., :3]
    assert rgb.min() < 0.8
    assert float(np.abs(rgb[..., 0] - rgb[..., 2]).max()) < 0.01  # no sun and a grey post: no tint
    del even["plate"]["light"]
    even["elements"][0]["shadow"] = {"cast": True}
    render_scene(write(even), [], tmp_path / "asked")
    assert list(layers_of(tmp_path / "asked" / "scene" / "base")) == ["plate", "post/contact", "post"]


def paint(path: Path, colour: tuple[int, int, int]) -> None:
    samples = np.asarray(Image.open(path).convert("RGBA")).copy()
    samples[..., :3] = colour
    Image.fromarray(samples).save(path)


def test_a_contact_shadow_gets_light_back_from_the_element(
    even: Words, write: Write, folder: Path, tmp_path: Path
) -> None:
    """More from a light face than from a black one, and of its colour."""
    even["plate"]["light"] = {"sun": 0}
    path, found = write(even), {}
    for name, colour in (("black", (0, 0, 0)), ("grey", (120, 120, 120)), ("red", (160, 20, 20))):
        paint(folder / "post.png", colour)
        render_scene(path, [], tmp_path / name)
        samples = layers_of(tmp_path / name / "scene" / "base")["post/contact"][0]
        found[name] = np.where(samples[..., 3:] > 0, samples[..., :3], 1.0).min(axis=(0, 1))
    assert np.all(found["grey"] > found["black"] + 0.02)
    assert found["red"][0] > found["red"][2] + 0.02
    assert abs(float(found["red"][2] - found["black"][2])) < 0.02


def test_a_contact_shadow_shrinks_with_distance(even: Words, write: Write, tmp_path: Path) -> None:
    even["plate"]["light"] = {"sun": 0}
    widths = []
    for distance in (4.0, 8.0):
        even["elements"][0]["ground"] = {"distance": distance, "offset": 0.0}
        render_scene(write(even), [], tmp_path / str(distance))
        samples = layers_of(tmp_path / str(distance) / "scene" / "base")["post/contact"][0]
        widths.append(float((samples[..., 1] < 0.93).any(axis=0).sum()))
    assert widths[0] / widths[1] == pytest.approx(2.0, abs=0.35)


def test_layers_multiply_to_the_composite(words: Words, write: Write, tmp_path: Path) -> None:
    words["plate"]["light"] = SIDE
    composite = rendered(write(words), tmp_path / "out")
    layers = layers_of(tmp_path / "out" / "scene" / "base")
    assert list(layers) == ["plate", "post/shadow", "post/contact", "post"]
    assert [operator for _, _, operator in layers.values()][1:3] == ["svg:multiply"] * 2
    frame = layers["plate"][0][..., :3].copy()
    for samples, (x, y), operator in list(layers.values())[1:]:
        place = frame[y : y + samples.shape[0], x : x + samples.shape[1]]
        colour, alpha = samples[..., :3], samples[..., 3:]
        blended = place * colour if operator == "svg:multiply" else colour
        place += (blended - place) * alpha
    assert np.abs(frame * 255.0 - composite).max() <= 1.5


def test_a_wall_receives_what_reaches_it(even: Words, write: Write, tmp_path: Path) -> None:
    """A wall square to the view at 8 m, the sun behind the camera: the shadow climbs it, and none lies behind it."""
    even["plate"]["light"] = {"azimuth": 180.0, "elevation": 15.0}
    even["elements"][0]["shadow"] = {"contact": False}
    even["elements"][0]["ground"] = {"distance": 6, "offset": 0.6}
    post = np.abs(
        rendered(write({**even, "plate": {k: v for k, v in even["plate"].items() if k != "light"}}), tmp_path / "x")
        - GREY
    )
    bare = post.max(axis=2) > 2
    feet = [[float(v) for v in PLATE.project([[x, 8.0, 0.0]])[0]] for x in (-3.0, 3.0)]
    even["plate"]["light"]["walls"] = [feet]
    dark = (ratio(write(even), tmp_path / "wall")[..., 1] < 0.6) & ~bare
    # The top's ray is 1.1 m high at 6 m and falls tan 15° per metre: 2 m behind, it meets the wall at 0.564 m.
    u, v = PLATE.project([[0.6, 8.0, TOP_M - 2.0 * np.tan(np.radians(15.0))]])[0]
    foot = PLATE.project([[0.6, 8.0, 0.0]])[0][1]
    seen = np.nonzero(dark.any(axis=1))[0]
    on_wall = seen[seen < foot - 1]
    if len(on_wall):  # what the post itself does not hide
        assert on_wall.min() == pytest.approx(v, abs=2.0)
    even["elements"][0]["ground"] = {"distance": 6, "offset": 0.6}
    even["plate"]["light"] = {"azimuth": 215.0, "elevation": 15.0, "walls": [feet]}
    dark = (ratio(write(even), tmp_path / "beside")[..., 1] < 0.6) & ~bare
    run = 2.0 / np.cos(np.radians(35.0))
    x = 0.6 + 2.0 * np.tan(np.radians(35.0))
    u, v = PLATE.project([[x, 8.0, TOP_M - run * np.tan(np.radians(15.0))]])[0]
    rows, columns = np.nonzero(dark)
    on_wall = rows < foot - 2
    assert on_wall.sum() > 20
    assert rows[on_wall].min() == pytest.approx(v, abs=2.5)
    assert np.median(columns[on_wall]) == pytest.approx(u, abs=4.0)


def test_a_shadow_toward_the_camera_leaves_the_frame(even: Words, write: Write, tmp_path: Path) -> None:
    """A low sun ahead: the shadow runs past the camera, whose foot stands in it."""
    even["plate"]["light"] = {"azimuth": -4.8, "elevation": 6.0}
    found = ratio(write(even), tmp_path / "out")
    bottom = found[-1, :, 1]
    assert bottom.min() < 0.75
    assert 150 < int(np.argmin(bottom)) < 330
    assert bottom[:60].min() > 0.97 and bottom[-60:].min() > 0.97


def test_every_way_to_say_where_the_sun_stands(even: Words, write: Write) -> None:
    sun = Sun(20.0, 12.0)
    across = PLATE.direction_px(sun.direction)
    pixel = [float(value) for value in across[:2] / across[2]]
    tip = shadow_tip((0.5, 7.0, 1.8), sun)
    shadow = {
        "base": [float(v) for v in PLATE.project([[0.5, 7.0, 0.0]])[0]],
        "top": [float(v) for v in PLATE.project([[0.5, 7.0, 1.8]])[0]],
        "tip": [float(v) for v in PLATE.project([[*tip, 0.0]])[0]] if tip[1] > 0.5 else None,
    }
    ways: list[dict[str, Any]] = [{"pixel": pixel}]
    if shadow["tip"] is not None:
        ways.append({"shadow": shadow})
    for way in ways:
        even["plate"]["light"] = way
        light = solved(write(even), []).plan.light
        assert light is not None and light.sun is not None
        assert light.sun.azimuth_deg == pytest.approx(20.0, abs=0.1)
        assert light.sun.elevation_deg == pytest.approx(12.0, abs=0.1)
    # London, row of tests/reference/sun_positions.csv: 178.93439° clockwise from north, 61.94246° high.
    even["plate"]["light"] = {"time": "2024-06-20T13:00:00+01:00", "place": [51.5, -0.12], "heading": 200.0}
    light = solved(write(even), []).plan.light
    assert light is not None and light.sun is not None
    assert light.sun.azimuth_deg == pytest.approx(178.93439 - 200.0, abs=0.02)
    assert light.sun.elevation_deg == pytest.approx(61.94246, abs=0.01)


def test_no_shadow_at_night(even: Words, write: Write) -> None:
    even["plate"]["light"] = {"time": "2024-06-20T01:00:00+01:00", "place": [51.5, -0.12], "heading": 200.0}
    with pytest.raises(UnusableInput, match=r"plate\.light\.time: the sun stands -.* above the horizon"):
        solved(write(even), [])


def test_patches_tell_the_light_left(even: Words, write: Write, folder: Path) -> None:
    plate = np.full((320, 480, 3), GREY, np.uint8)
    plate[200:240, 20:60] = (70, 80, 100)
    Image.fromarray(plate).save(folder / "plate.png")
    lit = [[80, 200], [120, 200], [120, 240], [80, 240]]
    shaded = [[22, 202], [58, 202], [58, 238], [22, 238]]
    even["plate"]["light"] = {**SIDE, "sun": {"lit": lit, "shaded": shaded}}
    light = solved(write(even), []).plan.light
    assert light is not None
    wanted = linear(np.array([70.0, 80.0, 100.0])) / linear(np.array(float(GREY)))
    assert np.allclose(light.left_ratio, wanted, rtol=2e-3)
    even["plate"]["light"]["sun"] = {"lit": shaded, "shaded": lit}
    with pytest.raises(UnusableInput, match=r"plate\.light\.sun: the shaded patch is not darker"):
        solved(write(even), [])


def test_what_is_assumed_of_the_light_is_reported(even: Words, write: Write, tmp_path: Path) -> None:
    even["plate"]["light"] = SIDE
    outcome = render_scene(write(even), [], tmp_path / "out")
    assert any("sun's share" in text for text in outcome.variants[0].record["plate"]["assumed"])
    even["plate"]["light"] = {**SIDE, "sun": 0.8}
    outcome = render_scene(write(even), [], tmp_path / "out")
    assert not any("sun's share" in text for text in outcome.variants[0].record["plate"]["assumed"])
