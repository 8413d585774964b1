"""Effects on elements: off they leave no trace; on they do what was asked, where it was asked, alike in every view."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.base.opencv import cv2
from compositor.colour.coding import decode_float
from compositor.colour.curves import linear_to_srgb, srgb_to_linear
from compositor.colour.space import Space
from compositor.jobs.pictures import prepared
from compositor.jobs.solving import solved
from compositor.measure.noise import Noise, noise_of, patches_of
from compositor.render import finish, surround
from compositor.render.air import hazed
from compositor.render.compose import compose
from compositor.render.focus import defocused
from compositor.render.grain import field_of
from compositor.render.layers import Layer, render_layers
from compositor.render.view import View, view_plate

WIDTH, HEIGHT, HORIZON = 360, 240, 80
CAMERA = {"horizon": HORIZON, "lens": {"pixels": 400}, "height": 1.5}
SKY, GROUND = (0.55, 0.62, 0.7), (0.35, 0.28, 0.2)
Draw = Callable[..., tuple[np.ndarray, list[Layer]]]


def coded(linear: np.ndarray) -> np.ndarray:
    return np.rint(linear_to_srgb(np.clip(linear, 0, 1)) * 255).astype(np.uint8)


def plate(noise: float = 0.0) -> np.ndarray:
    """Sky over paved ground: plain sky, joints and a kerb with edges, and noise if asked for."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    light = np.where((y < HORIZON)[..., None], SKY, GROUND)
    light = light * np.where((y > HORIZON) & ((y // 20 + x // 30) % 2 == 0), 0.7, 1.0)[..., None]
    return coded(light + noise * np.random.default_rng(1).standard_normal(light.shape))


def cut_out() -> np.ndarray:
    """A red thing with dark lettering, 200 × 300, antialiased, straight alpha, white stored under nothing."""
    y, x = np.mgrid[:300, :200] + 0.5
    alpha = np.clip(90.5 - np.abs(x - 100), 0, 1) * np.clip(290.5 - y, 0, 1) * np.clip(y - 9.5, 0, 1)
    light = np.where(((y // 24) % 3 == 1)[..., None], (0.04, 0.04, 0.05), (0.5, 0.1, 0.08))
    colour = np.where((alpha > 0)[..., None], coded(light), 255)
    return np.concatenate([colour, np.rint(alpha * 255)[..., None]], axis=2).astype(np.uint8)


@pytest.fixture
def draw(tmp_path: Path) -> Draw:
    """Composite and layers of the scene with changed keys of plate and element, as a view shows them."""

    def drawn(
        plate_keys: dict[str, Any] | None = None,
        keys: dict[str, Any] | None = None,
        view: View | None = None,
        noise: float = 0.0,
    ) -> tuple[np.ndarray, list[Layer]]:
        Image.fromarray(plate(noise)).save(tmp_path / "plate.png")
        Image.fromarray(cut_out()).save(tmp_path / "thing.png")
        element = {
            "name": "thing",
            "image": "thing.png",
            "camera": {"horizon": 100, "lens": {"pixels": 500}},
            "contact": [100, 290],
            "height": 1.2,
            "ground": {"distance": 5, "offset": 0.3},
            **(keys or {}),
        }
        element = {key: value for key, value in element.items() if value is not None}
        words = {
            "scene": 1,
            "plate": {"image": "plate.png", "camera": CAMERA, **(plate_keys or {})},
            "elements": [element],
        }
        scene = tmp_path / "scene.json"
        scene.write_text(json.dumps(words))
        problem = solved(scene, [])
        ready = prepared(problem)
        seen = View.of_frame(problem.plan.plate.size_px) if view is None else view
        below = view_plate(ready.plate, ready.space, seen)
        layers = render_layers(problem.plan, ready.pictures, below, ready.space, seen)
        return compose(below, ready.space, layers), layers

    return drawn


def light_of(layer: Layer) -> np.ndarray:
    """Straight linear colour of a layer's opaque pixels (n, 3)."""
    samples = layer.picture.samples / 65535.0
    return samples[samples[..., 3] > 0.999][:, :3]


OFF: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "look of nothing": ({}, {"look": {}}),
    "look of zeros": (
        {},
        {"look": {"match": 0, "exposure": 0, "temperature": 0, "tint": 0, "contrast": 0, "grain": False}},
    ),
    "protection of what no match changes": ({}, {"look": {"protect_chroma": True, "sharpness": False}}),
    **{f"{key} of 0": ({}, {"look": {key: 0}}) for key in ("match", "exposure", "temperature", "tint", "saturation")},
    "no choke": ({}, {"edges": {"clean": False, "choke": 0, "soften": 0}}),
    "focus on it": ({"focus": {"distance": 5, "f_number": 8, "focal_mm": 24}}, {}),
}


@pytest.mark.parametrize("name", OFF)
def test_off_leaves_no_trace(name: str, draw: Draw) -> None:
    plain, _ = draw()
    off, _ = draw(*OFF[name])
    assert np.array_equal(off, plain)


ON: dict[str, tuple[dict[str, Any], dict[str, Any], float]] = {
    "match": ({}, {"look": {"match": 1}}, 0.0),
    "exposure": ({}, {"look": {"exposure": -1}}, 0.0),
    "temperature": ({}, {"look": {"temperature": 40}}, 0.0),
    "tint": ({}, {"look": {"tint": 10}}, 0.0),
    "contrast": ({}, {"look": {"contrast": 0.2}}, 0.0),
    "saturation": ({}, {"look": {"saturation": -0.5}}, 0.0),
    "grain": ({}, {"look": {"grain": True}}, 0.02),
    "choke": ({}, {"edges": {"choke": 1.5}}, 0.0),
    "soften": ({}, {"edges": {"soften": 3}}, 0.0),
    "air": ({"air": {"visibility": 60}}, {}, 0.0),
    "focus": ({"focus": {"distance": 1.2, "f_number": 1.4, "focal_mm": 50}}, {}, 0.0),
    "focus along a floor": (
        {"focus": {"distance": 3, "f_number": 1.4, "focal_mm": 85}},
        {"stance": "flat", "size": [1.0, 3.0], "camera": None, "height": None, "look": {"grain": True}},
        0.02,
    ),
    "all": (
        {"air": {"visibility": 60}, "focus": {"distance": 2, "f_number": 2, "focal_mm": 35}},
        {
            "look": {"match": 1, "contrast": 0.1, "grain": True, "sharpness": True},
            "edges": {"choke": 1, "soften": 1},
        },
        0.02,
    ),
}


@pytest.mark.parametrize("name", ON)
def test_on_changes_the_element_and_nothing_beside_it(name: str, draw: Draw) -> None:
    plate_keys, keys, noise = ON[name]
    plain, layers = draw(noise=noise)
    changed, _ = draw(plate_keys, keys, noise=noise)
    different = (changed != plain).any(axis=2)
    assert different.sum() > 50, "an effect that changes nothing shows nothing"
    (x, y), (width, height) = layers[0].offset_px, layers[0].picture.size_px
    different[max(y - 20, 0) : y + height + 20, max(x - 20, 0) : x + width + 20] = False
    assert not different.any()


@pytest.mark.parametrize("name", ON)
def test_a_cut_of_the_view_is_a_cut_of_the_picture(name: str, draw: Draw) -> None:
    """So deliveries agree with the full frame, with blur and grain running through their edges. How finely a picture is
    sampled is decided by tiles, which begin where the view does: where one way of sampling meets the next, a cut may
    show the other one. And places are reckoned from the cut's corner, to the last digits of a float."""
    plate_keys, keys, noise = ON[name]
    whole, _ = draw(plate_keys, keys, noise=noise)
    corners = [(170, 90), *np.random.default_rng(5).integers((120, 60), (200, 130), (5, 2)).tolist()]
    apart = []
    for left, top in corners:
        part, _ = draw(plate_keys, keys, View(float(left), float(top), 1.0, (60, 110)), noise)
        apart.append(np.abs(part.astype(int) - whole[top : top + 110, left : left + 60]))
    assert np.max(apart) <= 2
    assert np.mean(np.array(apart) > 0) < 2e-3


@pytest.mark.parametrize("name", ON)
def test_twice_gives_the_same_bytes(name: str, draw: Draw) -> None:
    plate_keys, keys, noise = ON[name]
    first, second = draw(plate_keys, keys, noise=noise)[0], draw(plate_keys, keys, noise=noise)[0]
    assert first.tobytes() == second.tobytes()


def test_tiles_show_no_seams(draw: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    whole, _ = draw(*ON["all"][:2], noise=0.02)
    monkeypatch.setattr(finish, "_TILE_PX", 1)  # then tiles are as small as four margins
    assert np.array_equal(draw(*ON["all"][:2], noise=0.02)[0], whole)


@pytest.mark.parametrize("name", ON)
def test_little_of_a_large_plate_is_looked_at(name: str, draw: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    """However large the plate: what is measured of it is made linear, and that is counted here."""
    plate_keys, keys, _ = ON[name]
    looked_at = []

    def counted(samples: np.ndarray, space: Space) -> np.ndarray:
        looked_at.append(samples.size // 3)
        return decode_float(samples, space)

    monkeypatch.setattr(surround, "decode_float", counted)
    large = np.broadcast_to(np.uint8(90), (8000, 12000, 3))
    monkeypatch.setattr(surround.Surround, "__init__", _on_another_plate(surround.Surround.__init__, large))
    draw(plate_keys, keys)
    assert sum(looked_at) < 3_000_000, "3 % of 96 million"


def _on_another_plate(made: Callable[..., None], plate: np.ndarray) -> Callable[..., None]:
    def begun(self: Any, _: np.ndarray, *rest: Any) -> None:
        made(self, plate, *rest)

    return begun


def test_a_smaller_view_shows_the_same_picture(draw: Draw) -> None:
    keys = {"look": {"grain": True, "exposure": 0.3}, "edges": {"choke": 1, "soften": 2}}
    plate_keys = {"focus": {"distance": 2, "f_number": 2.8, "focal_mm": 35}, "air": {"visibility": 80}}
    whole, _ = draw(plate_keys, keys, noise=0.02)
    half, _ = draw(plate_keys, keys, View(0.0, 0.0, 0.5, (WIDTH // 2, HEIGHT // 2)), 0.02)
    small = cv2.resize(srgb_to_linear(whole / 255.0), (WIDTH // 2, HEIGHT // 2), interpolation=cv2.INTER_AREA)
    error = np.abs(linear_to_srgb(small) * 255.0 - half)
    assert error.mean() < 0.5 and np.quantile(error, 0.99) < 8


def test_exposure_is_in_stops(draw: Draw) -> None:
    plain, darker = light_of(draw()[1][0]), light_of(draw({}, {"look": {"exposure": -1}})[1][0])
    assert darker == pytest.approx(plain / 2, abs=2e-5)


def test_a_protected_product_keeps_its_colours(draw: Draw) -> None:
    """The match alone tints by the warm ground; protected, each colour stays in proportion, as bright as matched."""
    plain, tinted = (light_of(draw({}, {"look": {"match": share}})[1][0]) for share in (0, 1))
    kept = light_of(draw({}, {"look": {"match": 1, "protect_chroma": True}})[1][0])
    ratio = kept / plain
    assert np.ptp(ratio.mean(axis=0)) < 1e-3 < np.ptp((tinted / plain).mean(axis=0))
    luminance = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709
    assert ratio.mean() == pytest.approx(luminance @ (tinted / plain).mean(axis=0), abs=2e-3)
    assert np.array_equal(draw({}, {"look": {"protect_chroma": True}})[0], draw()[0])


def test_what_hangs_is_matched_by_the_ground_below(draw: Draw) -> None:
    """At eye level there is no ground in the picture; the bounced light comes from below all the same."""
    on_ground = light_of(draw({}, {"look": {"match": 1}})[1][0]) / light_of(draw()[1][0])
    hung = light_of(draw({}, {"raise": 1.4, "look": {"match": 1}})[1][0]) / light_of(draw({}, {"raise": 1.4})[1][0])
    assert hung.mean(axis=0) == pytest.approx(on_ground.mean(axis=0), abs=0.01)
    assert np.abs(hung.mean(axis=0) - 1.0).max() > 0.01


def test_what_hangs_and_what_stands_in_one_place_are_measured_each_for_itself(draw: Draw, tmp_path: Path) -> None:
    draw()
    either, alone = (prepared(solved(tmp_path / "scene.json", [])).pictures.surround for _ in range(2))
    assert either is not None and alone is not None
    stands = solved(tmp_path / "scene.json", []).plan.elements[0]
    u, v = stands.contact_px
    hangs = replace(stands, contact_px=(u, (v + stands.top_px[1]) / 2.0))  # half as high, over the same foot
    grounds = either.ground(stands), either.ground(hangs)
    assert np.array_equal(grounds[1], alone.ground(hangs))
    assert not np.array_equal(*grounds)


def test_a_wall_that_is_seen_edge_on_takes_no_shadow(draw: Draw) -> None:
    """It runs straight away from the camera, along the middle column, whichever of its ends is said first."""
    ends = [[WIDTH / 2, 230.0], [WIDTH / 2, 110.0]]
    pictures = [
        draw({"light": {"azimuth": -60, "elevation": 30, "walls": [wall]}})[0] for wall in (ends, list(reversed(ends)))
    ]
    assert np.abs(pictures[0].astype(int) - pictures[1]).max() <= 1


def test_air_is_koschmieders(draw: Draw) -> None:
    """L = J·t + A·(1 − t), A the sky at the horizon, t = exp(−3.912·d / V), d along the ray to the thing."""
    clear, hazy = light_of(draw()[1][0]), light_of(draw({"air": {"visibility": 60}})[1][0])
    for distance_m in (np.hypot(5.0, 1.5), np.hypot(5.0, 0.0)):  # foot and eye level; the thing is in between
        share = np.exp(-np.log(50) * distance_m / 60)
        air = srgb_to_linear(coded(np.array(SKY)) / 255.0)
        assert hazy == pytest.approx(clear * share + air * (1 - share), abs=0.012)


def test_air_of_a_given_colour(draw: Draw) -> None:
    _, layers = draw({"air": {"visibility": 0.1, "colour": "#8090a0"}})
    wanted = srgb_to_linear(np.array([0x80, 0x90, 0xA0]) / 255.0)
    assert light_of(layers[0]) == pytest.approx(np.tile(wanted, (len(light_of(layers[0])), 1)), abs=1e-3)


def test_haze_against_the_published_table() -> None:
    """Thing .2, air .8, V = 10 km: .223018949 at 100 m, .394253997 at 1 km, .715147186 at 5 km (Koschmieder 1924)."""
    samples = np.tile(np.float32([0.2, 0.2, 0.2, 1.0]), (1, 3, 1))
    found = hazed(samples, np.log(50) / 10_000, np.array([[100.0, 1000.0, 5000.0]]), np.full(3, 0.8))
    assert found[0, :, 0] == pytest.approx([0.223018949, 0.394253997, 0.715147186], abs=1e-6)


def test_focus_spreads_by_the_disc_of_confusion(draw: Draw) -> None:
    """The side of the thing widens to the disc: a straight edge takes d from its first to its last light (by similar
    triangles c = A·f·|d − s| / (d·(s − f)), here 50 mm at f/1.4, focused at 1.2 m, seen at 5 m)."""
    _, layers = draw({"focus": {"distance": 1.2, "f_number": 1.4, "focal_mm": 50}})
    disc_px = 50 / 1.4 * 50 * 3800 / (5000 * (1200 - 50)) / 50 * 400
    alpha = layers[0].picture.samples[layers[0].picture.size_px[1] // 2, :, 3] / 65535.0
    rising = np.flatnonzero(alpha[: len(alpha) // 2] < 0.9999).max() - np.flatnonzero(alpha > 0.0001).min() + 1
    assert rising == pytest.approx(disc_px, abs=2.5)


def test_edges_stay_clean_out_of_focus(draw: Draw) -> None:
    """White is stored under the cut-out's nothing; blurred, its rim has the thing's colours and no other."""
    _, layers = draw({"focus": {"distance": 1.2, "f_number": 1.4, "focal_mm": 50}})
    samples = layers[0].picture.samples / 65535.0
    seen = samples[..., 3] > 0.02
    straight = samples[seen][:, :3] / samples[seen][:, 3:]
    assert straight[:, 0].max() < 0.51 and straight[:, 1].max() < 0.11


def test_a_floor_blurs_by_its_own_depth() -> None:
    """Discs that grow along a picture: its sharp end stays, its far end is spread, light is kept between."""
    stripes = np.zeros((40, 200, 4), np.float32)
    stripes[:, 10::20] = 1.0
    discs = np.tile(np.linspace(1.0, 12.0, 200), (40, 1))
    blurred = defocused(stripes, discs, (1.0, 12.0))
    assert blurred[20, 10, 3] > 0.7 and blurred[20, 190, 3] < 0.25
    assert blurred[20, 20:180, 3].mean() == pytest.approx(0.05, rel=0.1)


def test_grain_comes_to_that_of_the_plate(draw: Draw) -> None:
    """The finished element has the plate's noise at its brightness, by the same measure, within a fifth."""
    _, layers = draw({}, {"look": {"grain": True}}, noise=0.02)
    wanted = noise_of(patches_of(srgb_to_linear(plate(0.02).astype(np.float32) / 255)))
    assert wanted is not None
    (grained,), (plain,) = layers, draw(noise=0.02)[1]
    difference = (grained.picture.samples.astype(float) - plain.picture.samples)[..., :3] / 65535.0
    red = light_near(plain, (0.5, 0.1, 0.08))
    found = difference[..., 0][red]
    # Immerkær's mask sees the deviation of white noise as it is.
    assert found.std() == pytest.approx(float(wanted.at(np.array([[0.5, 0.1, 0.08]]))[0, 0]), rel=0.2)
    assert abs(found.mean()) < 0.2 * found.std()


def light_near(layer: Layer, colour: tuple[float, ...]) -> np.ndarray:
    samples = layer.picture.samples / 65535.0
    return (np.abs(samples[..., :3] - colour).max(axis=2) < 0.01) & (samples[..., 3] > 0.999)


def test_the_field_of_grain_is_one() -> None:
    """Any part of it is the same as cut from the whole: it belongs to the frame's pixels."""
    noise = Noise(np.full((1, 3), 0.5), np.full((1, 3), 0.01), np.eye(3) * 0.4 + 0.6, 0.6)
    whole = field_of(noise, -30, 10, (300, 200))
    assert np.array_equal(field_of(noise, 37, 50, (101, 77)), whole[40:117, 67:168])
    found = noise_of(patches_of((0.4 + 0.01 * field_of(noise, 0, 0, (400, 400))).astype(np.float32)))
    assert found is not None
    assert found.deviations == pytest.approx(np.full_like(found.deviations, 0.01), rel=0.2)
    assert found.grain_px == pytest.approx(0.6, abs=0.08)
    assert found.together[0, 2] == pytest.approx(0.6, abs=0.06)


def test_a_sharp_element_softens_to_a_soft_plate_and_never_the_other_way(draw: Draw, monkeypatch: Any) -> None:
    plain, _ = draw()
    for plate_px, softer in ((1.6, True), (0.1, False)):
        monkeypatch.setattr(surround.Surround, "edge_sigma_px", lambda self, element, px=plate_px: px)
        changed, _ = draw({}, {"look": {"sharpness": True}})
        assert np.array_equal(changed, plain) is not softer


def test_a_part_of_the_plate_has_its_air_already(draw: Draw) -> None:
    """Cut from the plate and put back where it was, it is the same under any air and focus."""
    part = {
        "image": None, "camera": None, "height": None, "from_plate": [[140, 120], [220, 120], [220, 200], [140, 200]],
        "contact": [180, 200], "ground": {"pixel": [180, 200]},
    }  # fmt: skip
    plain, _ = draw({}, part)
    haze = {"air": {"visibility": 30}, "focus": {"distance": 2, "f_number": 1.4, "focal_mm": 50}}
    changed, _ = draw(haze, part)
    assert np.array_equal(changed, plain)
    farther, _ = draw(haze, {**part, "ground": {"distance": 12}})
    assert not np.array_equal(farther, draw({}, {**part, "ground": {"distance": 12}})[0])
