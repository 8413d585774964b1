"""More picture around a plate; lens distortion off."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compositor.pixels.fill import Border, ground_below, mirrored
from compositor.pixels.mips import Mips
from compositor.pixels.quilt import continued
from compositor.pixels.undistort import undistorted

sides = st.integers(0, 40)


@settings(deadline=None)
@given(sides, sides, sides, sides, st.sampled_from([np.uint8, np.uint16]))
def test_mirroring_does_what_numpy_calls_reflect(left, top, right, bottom, kind):
    """numpy.pad, mode "reflect": the edge pixel is not repeated, and it goes on for sizes beyond the picture's."""
    plate = np.random.default_rng(left).integers(0, 200, (9, 13, 3)).astype(kind)
    wanted = np.pad(plate, ((top, bottom), (left, right), (0, 0)), mode="reflect")
    np.testing.assert_array_equal(mirrored(plate, Border(left, top, right, bottom)), wanted)


def ground_picture(height, width, vanishing, period):
    """Opaque samples of a floor: a wave along the ground across, constant in depth (a fan through one point)."""
    y, x = np.mgrid[:height, :width] + 0.5
    wave = 0.5 + 0.4 * np.sin((x - vanishing[0]) / np.maximum(y - vanishing[1], 1) * period)
    return np.dstack([wave, wave, wave, np.ones_like(wave)]).astype(np.float32)


def test_lines_in_depth_go_on_straight_below_the_plate():
    """The ground mirrored in depth keeps every line through the vanishing point, to the last new row."""
    vanishing = (150.0, -40.0)
    whole = ground_picture(300, 320, vanishing, 25.0)
    new = ground_below(whole[:200], 100, vanishing)
    assert new is not None and new.shape == (100, 320, 4)
    np.testing.assert_allclose(new[:, 3:-3, 0], whole[200:, 3:-3, 0], atol=0.02)


def test_the_new_ground_starts_as_the_old_ends():
    """Depth is mirrored about the last row of pixels: the first new row shows the last but one again, which differs
    from the last; beside the vanishing point's column it is a little larger too."""
    y, x = np.mgrid[:200, :160]
    grey = 0.5 + 0.3 * np.sin(y / 9.0) + 0.1 * np.cos(x / 7.0)
    plate = np.dstack([grey, grey, grey, np.ones_like(grey)]).astype(np.float32)
    new = ground_below(plate, 60, (80.0, 20.0))
    assert new is not None
    assert np.abs(new[0, 65:95] - plate[-2, 65:95]).max() < 0.004 < np.abs(plate[-1, 65:95] - plate[-2, 65:95]).max()
    steps = np.abs(np.diff(np.concatenate([plate, new])[:, 80, 0]))
    assert steps[195:].max() < 0.05


def test_a_plate_whose_lower_edge_shows_no_ground_has_none_to_go_on_with():
    assert ground_below(np.ones((50, 60, 4), np.float32), 10, (30.0, 70.0)) is None


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_quilting_leaves_the_picture_and_adds_only_its_own_pixels(kind):
    rng = np.random.default_rng(5)
    noise = cv2.GaussianBlur(rng.normal(size=(150, 210, 3)), (0, 0), 2)
    plate = (120 + 300 * noise).clip(0, 255).astype(kind)
    border = Border(30, 50, 70, 90)
    result = continued(plate, border)
    assert result.shape == (150 + 140, 210 + 100, 3) and result.dtype == kind
    np.testing.assert_array_equal(result[50:200, 30:240], plate)
    own = {tuple(p) for p in plate.reshape(-1, 3).tolist()}
    assert {tuple(p) for p in result.reshape(-1, 3).tolist()} <= own
    new = result[200:, 30:240].astype(float)  # as rough as the picture: no smear, no flat area
    assert np.diff(new, axis=1).std() == pytest.approx(np.diff(plate.astype(float), axis=1).std(), rel=0.2)
    assert np.diff(new, axis=0).std() == pytest.approx(np.diff(plate.astype(float), axis=0).std(), rel=0.25)


@pytest.mark.parametrize("coefficients", [(-0.21, 0.08, 0.001, -0.0015, -0.01), (0.12, 0.0, 0.0, 0.0, 0.0)])
def test_undistorting_straightens_what_opencv_bends(coefficients):
    """Discs drawn where cv2.projectPoints puts them through the lens come back to where the straight lens has them."""
    size, focal, centre = 400, 380.0, (205.3, 191.7)
    intrinsics = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])
    straight = np.array([[x, y] for x in (60, 200, 340) for y in (70, 210, 330)], float)
    rays = np.column_stack([(straight - centre) / focal, np.ones(len(straight))])
    bent = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), intrinsics, np.array(coefficients))[0].reshape(-1, 2)
    assert np.abs(bent - straight).max() > 3
    y, x = np.mgrid[:size, :size] + 0.5
    for (u, v), wanted in zip(bent, straight, strict=True):
        spot = np.exp(-((x - u) ** 2 + (y - v) ** 2) / 18).astype(np.float32)
        picture = np.dstack([spot] * 4)
        alpha = undistorted(Mips(picture), intrinsics, coefficients)[..., 3].astype(float)
        peak = [(alpha**4 * at).sum() / (alpha**4).sum() for at in (x, y)]
        np.testing.assert_allclose(peak, wanted, atol=0.05)


def test_no_distortion_changes_no_sample():
    picture = np.random.default_rng(1).integers(0, 65535, (70, 90, 4)).astype(np.uint16)
    picture[..., 3] = 65535
    intrinsics = np.array([[100, 0, 45.5], [0, 100, 33.1], [0, 0, 1.0]])
    result = undistorted(Mips(picture), intrinsics, (0.0, 0.0, 0.0, 0.0, 0.0))
    assert np.abs(result.astype(int) - picture).max() <= 8  # map coordinates are float32
