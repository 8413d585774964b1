"""A plan's storeys become layers, layers meet in one frame, and what nothing touches stays the plate's own."""

from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compositor.colour.coding import decode_float, encode
from compositor.colour.space import SRGB
from compositor.geometry.camera import Camera
from compositor.pixels.mips import Mips
from compositor.pixels.picture import Picture
from compositor.plan.model import Extension, Source
from compositor.render.compose import compose, compose_linear
from compositor.render.layers import Layer, element_layer, render_layers
from compositor.render.pictures import Pictures
from compositor.render.plate import extend_plate
from compositor.render.view import View, sample_plate, softened_plate, view_plate

VIEW = View.of_frame((160, 120))


def plate_of(kind, seed=0, size=(160, 120)):
    top = 256 if kind is np.uint8 else 65536
    return np.random.default_rng(seed).integers(0, top, (size[1], size[0], 3)).astype(kind)


def flat_layer(name, offset, size, colour, alpha, operator="over", kind=np.uint16):
    full = 65535 if kind is np.uint16 else 1
    samples = np.empty((size[1], size[0], 4), np.float64)
    samples[...] = [*(c * alpha for c in colour), alpha]
    samples = np.rint(samples * full).astype(kind) if kind is np.uint16 else samples.astype(kind)
    return Layer(name, "element", operator, offset, Picture(samples))


def encoded(plate, view, softened=None):
    return compose(view_plate(plate, SRGB, view, softened), SRGB, [])


@dataclass
class Stand:
    """The numbers of a placed element that drawing reads."""

    name: str
    homography_matrix: np.ndarray
    own_contact_px: tuple[float, float]
    source: Source = field(default_factory=lambda: Source("picture"))


@dataclass
class Storeys:
    """The part of a plan that drawing reads."""

    stack: tuple
    things: dict = field(default_factory=dict)
    light: None = None
    plate: None = None

    def element(self, name):
        return self.things[name]

    def holdout(self, name):
        return SimpleNamespace(matte=name)


def shifted(x, y):
    return np.array([[1.0, 0, x], [0, 1, y], [0, 0, 1]])


@settings(deadline=None, max_examples=30)
@given(st.integers(-60, 170), st.integers(-60, 130), st.floats(0, 1), st.sampled_from([np.uint8, np.uint16]))
def test_pixels_that_no_layer_reaches_keep_their_bytes(x, y, alpha, kind):
    plate = plate_of(kind)
    samples = np.uint16 if kind is np.uint8 else np.float32
    layer = flat_layer("chair", (x, y), (50, 40), (0.5, 0.2, 0.9), alpha, kind=samples)
    layer.picture.samples[10:20, 10:30] = 0  # a hole
    frame = compose(plate, SRGB, [layer])
    touched = np.zeros(plate.shape[:2], bool)
    inner = np.ones((40, 50), bool)
    inner[10:20, 10:30] = False
    for row, column in zip(*np.nonzero(inner), strict=True):
        if 0 <= y + row < 120 and 0 <= x + column < 160:
            touched[y + row, x + column] = True
    np.testing.assert_array_equal(frame[~touched], plate[~touched])
    if alpha > 0.9 and touched.any():
        assert (frame[touched] != plate[touched]).any()


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_strips_and_threads_do_not_change_a_byte(kind):
    samples = np.uint16 if kind is np.uint8 else np.float32
    plate = plate_of(kind)
    layers = [
        flat_layer("shadow", (20, 30), (90, 70), (0.3, 0.35, 0.5), 0.7, "multiply", samples),
        flat_layer("chair", (40, 10), (60, 100), (0.8, 0.4, 0.1), 0.6, "over", samples),
        flat_layer("far", (150, 100), (40, 40), (0.8, 0.4, 0.1), 1.0, "over", samples),
    ]
    frames = [compose(plate, SRGB, layers, rows, threads) for rows, threads in ((64, 2), (64, 1), (7, 2), (1000, 3))]
    for frame in frames[1:]:
        np.testing.assert_array_equal(frame, frames[0])
    assert (frames[0] != plate).any()


def test_half_white_over_black_is_188():
    """IEC 61966-2-1: half the light of white is 188 of 255, not 128."""
    frame = compose(np.zeros((120, 160, 3), np.uint8), SRGB, [flat_layer("w", (0, 0), (160, 120), (1, 1, 1), 0.5)])
    assert (frame == 188).all()


def test_a_shadow_multiplies_light():
    """Linear 0.5 times 0.4 is 0.2: code 188 becomes 124 (IEC 61966-2-1)."""
    plate = np.full((120, 160, 3), 188, np.uint8)
    frame = compose(plate, SRGB, [flat_layer("s", (0, 0), (160, 120), (0.4, 0.4, 0.4), 1.0, "multiply")])
    assert np.abs(frame.astype(int) - 124).max() <= 1


def test_sixteen_bits_stay_sixteen_bits():
    """A gradient half covered by grey has far more than 256 levels, and rises in small steps."""
    ramp = np.linspace(8000, 60000, 4000).astype(np.uint16)
    plate = np.repeat(np.repeat(ramp[None, :, None], 3, axis=0), 3, axis=2)
    frame = compose(plate, SRGB, [flat_layer("mist", (0, 0), (4000, 3), (0.5, 0.5, 0.5), 0.5, kind=np.float32)])
    assert frame.dtype == np.uint16
    levels = frame[1, :, 0].astype(int)
    assert len(np.unique(levels)) > 3000
    assert (np.diff(levels) >= 0).all() and np.diff(levels).max() < 30


def test_layers_of_the_wrong_depth_are_refused():
    with pytest.raises(ValueError, match="float32"):
        compose(plate_of(np.uint16), SRGB, [flat_layer("chair", (0, 0), (5, 5), (1, 1, 1), 1.0)])


def opaque(width=30, height=20):
    return Mips(np.full((height, width, 4), 65535, np.uint16))


def test_an_element_outside_the_view_has_no_layer():
    for x, y in ((-40, 0), (200, 0), (0, -30), (0, 130)):
        assert element_layer(Stand("chair", shifted(x, y), (15, 20)), opaque(), VIEW) is None
    assert element_layer(Stand("nothing", shifted(5, 5), (0, 0)), Mips(np.zeros((9, 9, 4), np.uint16)), VIEW) is None


def test_a_layer_is_cropped_to_the_content_in_the_view():
    samples = np.zeros((20, 30, 4), np.uint16)
    samples[5:15, 8:28] = 40000
    layer = element_layer(Stand("chair", shifted(140, 50), (15, 20)), Mips(samples), VIEW)
    assert layer is not None and (layer.kind, layer.operator) == ("element", "over")
    assert layer.offset_px == (148, 55) and layer.picture.size_px == (12, 10)
    assert (layer.picture.samples == 40000).all()


def test_a_floor_that_passes_under_the_camera_is_cut_at_the_frame():
    homography = np.array([[1.0, 0.8, 20.0], [0.0, 0.9, 5.0], [0.0, 0.02, -0.4]])  # in front from row 20 on
    layer = element_layer(Stand("carpet", homography, (50, 90)), opaque(100, 100), VIEW)
    assert layer is not None
    width, height = layer.picture.size_px
    assert layer.offset_px[0] + width <= 160 and layer.offset_px[1] + height <= 120
    assert layer.offset_px[1] > 45  # the vanishing line of that floor is row 45


def items(*kinds_and_names):
    return tuple(SimpleNamespace(kind=kind, name=name) for kind, name in kinds_and_names)


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_holdout_brings_the_plate_back_over_farther_things_only(kind):
    plate = plate_of(kind, seed=4)
    full, samples = (65535, np.uint16) if kind is np.uint8 else (1, np.float32)
    matte = np.zeros((120, 160), samples)
    matte[:, 70:80] = full
    mips = Mips(np.full((40, 60, 4), full, samples))
    far, near = Stand("far", shifted(40, 20), (30, 40)), Stand("near", shifted(50, 70), (30, 40))
    plan = Storeys(items(("element", "far"), ("holdout", "post"), ("element", "near")), {"far": far, "near": near})
    pictures = Pictures(lambda source: mips, lambda name: matte)
    layers = render_layers(plan, pictures, plate, SRGB, VIEW)
    assert [(layer.name, layer.kind) for layer in layers] == [
        ("far", "element"),
        ("post", "holdout"),
        ("near", "element"),
    ]
    assert layers[1].offset_px == (70, 20) and layers[1].picture.size_px == (10, 40)  # only over what is farther
    frame = compose(plate, SRGB, layers)
    white = 255 if kind is np.uint8 else 65535
    np.testing.assert_array_equal(frame[20:60, 70:80], plate[20:60, 70:80])
    assert (frame[20:60, 40:70] == white).all() and (frame[70:110, 50:110] == white).all()
    np.testing.assert_array_equal(frame[:20], plate[:20])
    np.testing.assert_array_equal(frame[110:], plate[110:])


@pytest.mark.parametrize("wanted", [False, True])
def test_a_picture_is_let_go_after_the_last_element_that_shows_it(wanted):
    told = []

    class Told(Mips):
        def cut(self, box, number=0):
            told.append("looked")
            return super().cut(box, number)

        def part(self, box, number=0):
            told.append("looked")
            return super().part(box, number)

        def let_go(self):
            told.append("let go")

    mips = Told(np.full((40, 60, 4), 65535, np.uint16))
    far, near = Stand("far", shifted(40, 20), (30, 40)), Stand("near", shifted(50, 70), (30, 40))
    plan = Storeys(items(("element", "far"), ("element", "near")), {"far": far, "near": near})
    pictures = Pictures(lambda source: mips, lambda name: None, let_go=wanted)
    layers = render_layers(plan, pictures, plate_of(np.uint8), SRGB, VIEW)
    assert [layer.name for layer in layers] == ["far", "near"] and "looked" in told
    assert told.count("let go") == wanted and (not wanted or told[-1] == "let go")


def test_a_holdout_over_nothing_is_no_layer():
    matte = np.full((120, 160), 65535, np.uint16)
    pictures = Pictures(lambda source: opaque(), lambda name: matte)
    assert render_layers(Storeys(items(("holdout", "post"))), pictures, plate_of(np.uint8), SRGB, VIEW) == []


def test_a_cut_along_whole_pixels_is_the_plate_itself():
    plate = plate_of(np.uint8)
    np.testing.assert_array_equal(view_plate(plate, SRGB, VIEW), plate)
    cut = View.of_window((30, 20, 50, 40), (50, 40))
    np.testing.assert_array_equal(view_plate(plate, SRGB, cut), plate[20:60, 30:80])


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_smaller_view_averages_light(kind):
    """A black-and-white checkerboard at a quarter of its size is 188 of 255 (IEC 61966-2-1), to the edge."""
    y, x = np.mgrid[:200, :240]
    white = 255 if kind is np.uint8 else 65535
    plate = np.repeat((((x + y) % 2) * white).astype(kind)[..., None], 3, axis=2)
    shown = encoded(plate, View.of_window((0, 0, 240, 200), (60, 50)))
    assert shown.shape == (50, 60, 3) and shown.dtype == kind
    assert np.abs(shown.astype(float) / white * 255 - 187.5).max() <= 1.0


@pytest.mark.parametrize("window", [(0, 0, 240, 200), (31.3, 17.8, 133.1, 99.9), (101, 55, 120, 120)])
@pytest.mark.parametrize("size", [(120, 90), (20, 15), (400, 300)])
def test_a_plate_made_linear_as_a_whole_is_shown_alike(window, size):
    """Bit by bit, so that it does not matter how many views share it."""
    plate = np.random.default_rng(5).integers(0, 256, (200, 240, 3), dtype=np.uint8)
    view = View.of_window(window, size)
    kept = softened_plate(plate, SRGB, kept=True)
    np.testing.assert_array_equal(encoded(plate, view), encoded(plate, view, kept))


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("size", [(107, 83), (80, 61), (41, 30), (190, 152)])
def test_a_sampled_plate_is_the_same_whoever_asks_for_how_much_of_it(kind, size):
    """Strip by strip, all at once or a part of it; what no layer touches has the bytes of the plate alone."""
    plate, view = plate_of(kind, size=(240, 200)), View.of_window((7.3, 5.9, 215.0, 170.0), size)
    full, samples = (65535, np.uint16) if kind is np.uint8 else (1, np.float32)
    layers = [
        flat_layer("shadow", (5, 4), (30, 20), (0.3, 0.35, 0.5), 0.7, "multiply", samples),
        flat_layer("chair", (-3, 12), (25, 40), (0.8, 0.4, 0.1), 0.6, "over", samples),
    ]
    layers[1].picture.samples[3:9, 8:14] = 0  # a hole
    sampled = sample_plate(plate, SRGB, view)
    held = sampled.whole()
    assert held.held is not None and held.rows_at_once == sampled.rows_at_once
    np.testing.assert_array_equal(sampled.part((3, 5, 40, 29)), held.held[5:29, 3:40])
    frame, light = compose(sampled, SRGB, layers, threads=1), compose_linear(sampled, SRGB, layers)
    np.testing.assert_array_equal(compose(held, SRGB, layers, threads=2), frame)
    np.testing.assert_array_equal(compose_linear(held, SRGB, layers), light)
    codes = encode(np.ascontiguousarray(light[..., :3]), SRGB, plate.itemsize * 8)
    np.testing.assert_array_equal(codes, frame)
    alone, touched = compose(sampled, SRGB, []), np.zeros(frame.shape[:2], bool)
    touched[4:24, 5:35] = touched[12:52, :22] = True
    np.testing.assert_array_equal(frame[~touched], alone[~touched])
    assert (held.held[..., 3] == full).all() and (frame[touched] != alone[touched]).any()


@pytest.mark.parametrize("scale", [0.45, 0.57, 0.7, 0.9, 1.4])
def test_view_and_layer_agree_on_where_things_are(scale):
    """A white disc in the plate and the same disc as an element, both seen through one view, lie where it puts their
    centre and cover as much. They are sampled in two ways, so the edge is alike in light, not in its darkest codes."""
    y, x = np.mgrid[:300, :400] + 0.5
    alpha = np.clip(40 - np.hypot(x - 201.3, y - 148.6) + 0.5, 0, 1)
    white = np.repeat(np.rint(alpha * 65535).astype(np.uint16)[..., None], 4, axis=2)
    black = np.zeros((300, 400, 3), np.uint8)
    full_frame = compose(black, SRGB, [Layer("disc", "element", "over", (0, 0), Picture(white))])
    view = View(33.4, 21.7, scale, (int(330 * scale), int(260 * scale)))
    layer = element_layer(Stand("disc", np.eye(3), (200.0, 150.0)), Mips(white), view)
    plate, element = (
        decode_float(picture, SRGB)[..., 1].astype(np.float64)
        for picture in (encoded(full_frame, view), compose(view_plate(black, SRGB, view), SRGB, [layer]))
    )
    for light in (plate, element):
        y, x = np.mgrid[: light.shape[0], : light.shape[1]] + 0.5
        found = (light * x).sum() / light.sum(), (light * y).sum() / light.sum()
        np.testing.assert_allclose(found, ((201.3 - 33.4) * scale, (148.6 - 21.7) * scale), atol=0.01)
        assert light.max() == 1.0
    assert plate.sum() == pytest.approx(element.sum(), rel=5e-4)
    assert np.abs(plate - element).max() <= 0.05 and np.sqrt(np.mean((plate - element) ** 2)) <= 0.002


@pytest.mark.parametrize("fill", ["mirror", "stretch", "inpaint"])
def test_an_extended_plate_keeps_its_own_pixels(fill):
    plate = plate_of(np.uint8, size=(150, 140))
    camera = Camera(200.0, (85.0, 80.0), (150 + 30, 140 + 55), -3.0, 1.0, 1.6)
    result = extend_plate(plate, SRGB, Extension(10, 15, 20, 40, fill), camera)
    assert result.shape == (140 + 55, 150 + 30, 3)
    np.testing.assert_array_equal(result[15:155, 10:160], plate)
    assert result[155:].std() > 20


def test_no_extension_is_the_plate_itself():
    plate = plate_of(np.uint8)
    camera = Camera(200.0, (80.0, 60.0), (160, 120), -3.0, 0.0, 1.6)
    assert extend_plate(plate, SRGB, Extension(), camera) is plate
