"""The whole overlay: everything inside, nothing over another, equal bytes, legible on black and on white."""

from dataclasses import replace

import numpy as np
import pytest
from overlay_plans import PLATE_1, PLATE_2, resized, terrace

from compositor.audit.findings import Finding
from compositor.geometry.camera import Camera
from compositor.overlay.boxes import Box
from compositor.overlay.captions import caption_size_px
from compositor.overlay.draw import draw_overlay
from compositor.overlay.marks import Mark, Ring, Stroke
from compositor.overlay.sheet import Sheet, lay_out
from compositor.overlay.style import Kind, Scale
from compositor.plan.model import Delivery

FINDINGS = [
    Finding("view", "warning", "lounge chair", "photographed from too near: it fits best at 4.85 m"),
    Finding("hidden", "error", "olive pot", "stands behind the parapet, which is not held out"),
]


def grey(camera: Camera, value: int) -> np.ndarray:
    return np.full((camera.size_px[1], camera.size_px[0], 3), value, np.uint8)


def boxes(sheet: Sheet) -> list[Box]:
    return [caption.box for caption in sheet.captions] + [numbered.box for numbered in sheet.numbers]


@pytest.mark.parametrize(
    "camera",
    [
        resized(PLATE_1, 1000),
        resized(PLATE_2, 800),
        replace(PLATE_1, size_px=(3000, 400), principal_px=(1500.0, 200.0)),
        replace(PLATE_1, size_px=(500, 2000), principal_px=(250.0, 1000.0)),
        replace(resized(PLATE_1, 900), roll_deg=-18.0, pitch_deg=-35.0, height_m=6.0),
    ],
    ids=["terrace", "rolled", "banner", "column", "steep"],
)
@pytest.mark.parametrize("count", [0, 1, 6, 15, 30])
def test_nothing_covers_another_nor_leaves_the_frame(camera: Camera, count: int) -> None:
    sheet, (width, height) = lay_out(terrace(camera, count), FINDINGS), camera.size_px
    found = boxes(sheet)
    for index, box in enumerate(found):
        assert box.left >= 0 and box.top >= 0 and box.right <= width and box.bottom <= height
        assert not any(box.overlaps(other) for other in found[index + 1 :])
    named = [caption for caption in sheet.captions if caption.kind is Kind.ELEMENT]
    if camera.size_px[1] > 450:
        assert len(named) + len(sheet.numbers) == count
    for caption in sheet.captions:
        size = caption_size_px(caption.lines, Scale.of(camera.size_px), caption.plated)
        assert (caption.box.width, caption.box.height) == size


def test_each_number_has_its_line_in_a_list() -> None:
    sheet = lay_out(terrace(resized(PLATE_1, 1000), 30), FINDINGS)
    numbers = [numbered.number for numbered in sheet.numbers]
    listed = [line.sign for caption in sheet.captions for line in caption.lines if isinstance(line.sign, int)]
    assert numbers == listed == list(range(1, len(numbers) + 1))
    assert numbers


def test_the_same_plan_gives_the_same_bytes_and_the_frame_is_left_alone() -> None:
    camera = resized(PLATE_1, 700)
    plan, frame = terrace(camera, 6), grey(camera, 90)
    once, twice = draw_overlay(plan, FINDINGS, frame), draw_overlay(plan, FINDINGS, frame)
    assert once.tobytes() == twice.tobytes()
    assert (frame == 90).all()
    assert once.shape == frame.shape and once.dtype == np.uint8
    assert (once != frame).any()


def luminance(pixels: np.ndarray) -> np.ndarray:
    """Relative luminance as WCAG 2.2 defines it."""
    value = pixels / 255.0
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return linear @ np.array([0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("value", [0, 128, 255])
def test_every_caption_is_legible_in_the_drawn_picture(value: int) -> None:
    """Contrast of the lightest pixels of a caption (its letters) to its most frequent one: 4.5:1 (WCAG 2.2, 1.4.3)."""
    camera = resized(PLATE_1, 1500)
    plan = terrace(camera, 6)
    result = draw_overlay(plan, FINDINGS, grey(camera, value))
    plated = [caption for caption in lay_out(plan, FINDINGS).captions if caption.plated]
    assert len(plated) >= 8
    for caption in plated:
        box = caption.box
        inside = result[int(box.top) + 1 : int(box.bottom) - 1, int(box.left) + 1 : int(box.right) - 1]
        seen = luminance(inside.reshape(-1, 3))
        assert (np.quantile(seen, 0.99) + 0.05) / (np.median(seen) + 0.05) >= 4.5


@pytest.mark.parametrize("value", [0, 255])
@pytest.mark.parametrize("kind", list(Kind))
def test_every_kind_of_line_shows_on_black_and_on_white(value: int, kind: Kind) -> None:
    """At the middle of a stroke the picture changes by at least 20 of 255, or its casing does beside it."""
    camera = resized(PLATE_1, 1500)
    plan, frame = terrace(camera, 6), grey(camera, value)
    plan = replace(plan, deliveries=(Delivery("square", "png", 92, (300.0, 60.0, 800.0, 800.0), (800, 800)),))
    sheet, result = lay_out(plan, FINDINGS), draw_overlay(plan, FINDINGS, frame)
    changed = np.abs(result.astype(int) - value).max(axis=2)
    strokes = [m for m in (*sheet.ground, *sheet.marks) if isinstance(m, Stroke) and m.kind is kind]
    best = 0
    for stroke in strokes:
        u, v = (np.array(stroke.start_px) + stroke.end_px) / 2
        if 4 <= u < camera.size_px[0] - 4 and 4 <= v < camera.size_px[1] - 4 and not covered(sheet, (u, v)):
            best = max(best, int(changed[int(v) - 3 : int(v) + 4, int(u) - 3 : int(u) + 4].max()))
    assert best >= 20


def covered(sheet: Sheet, point: tuple[float, float]) -> bool:
    return any(caption.box.grown(6).holds(point) for caption in sheet.captions)


def test_the_grid_runs_behind_the_elements() -> None:
    camera = resized(PLATE_1, 1000)
    free, taken = lay_out(terrace(camera, 0), []), lay_out(terrace(camera, 6), [])

    def length(sheet: Sheet) -> float:
        return sum(float(np.hypot(*(np.array(m.end_px) - m.start_px))) for m in sheet.ground if isinstance(m, Stroke))

    assert 0.2 * length(free) < length(taken) < 0.95 * length(free)


def test_everything_is_in_proportion_to_the_picture() -> None:
    """At twice the size every mark lies at twice its place and every text is about twice as large."""
    small, large = (lay_out(terrace(resized(PLATE_1, width), 6), FINDINGS) for width in (1500, 3000))
    assert len(small.marks) == len(large.marks) > 60
    for one, two in zip((*small.ground, *small.marks), (*large.ground, *large.marks), strict=True):
        assert type(one) is type(two) and one.kind is two.kind
        assert np.allclose(2 * numbers(one), numbers(two), rtol=1e-9, atol=1e-6)
    labels = [[caption for caption in sheet.captions if caption.kind is Kind.ELEMENT] for sheet in (small, large)]
    assert len(labels[0]) == len(labels[1]) == 6
    for one, two in zip(*(sorted(found, key=lambda label: label.lines[0].text) for found in labels), strict=True):
        assert one.lines[0].text == two.lines[0].text
        assert two.box.height == pytest.approx(2 * one.box.height, rel=0.06)


def numbers(mark: Mark) -> np.ndarray:
    """The lengths and places that a mark is made of, in pixels."""
    if isinstance(mark, Stroke):
        return np.array([*mark.start_px, *mark.end_px])
    return np.array([*mark.centre_px, mark.radius_px] if isinstance(mark, Ring) else [*mark.upper_px, *mark.lower_px])


@pytest.mark.parametrize("size", [(8, 8), (40, 30), (200, 20), (16, 400)])
def test_very_small_frames_are_drawn_without_text_that_does_not_fit(size: tuple[int, int]) -> None:
    camera = replace(PLATE_1, size_px=size, focal_px=size[0] * 0.9, principal_px=(size[0] / 2, size[1] / 2))
    plan = terrace(camera, 2)
    result = draw_overlay(plan, FINDINGS, grey(camera, 90))
    assert result.shape == (size[1], size[0], 3)
    assert all(box.right <= size[0] and box.bottom <= size[1] for box in boxes(lay_out(plan, FINDINGS)))


def test_a_frame_of_another_size_or_type_is_refused() -> None:
    camera = resized(PLATE_1, 300)
    plan = terrace(camera, 1)
    with pytest.raises(ValueError, match="wanted"):
        draw_overlay(plan, [], np.zeros((10, 10, 3), np.uint8))
    with pytest.raises(ValueError, match="wanted"):
        draw_overlay(plan, [], np.zeros((200, 300, 3), np.uint16))  # type: ignore[arg-type]
