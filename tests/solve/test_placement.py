"""Placement: worked numbers, and properties that hold for every camera."""

from dataclasses import replace
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from compositor.base.arrays import apply_homography
from compositor.base.errors import FaultyScene
from compositor.geometry.camera import Camera
from compositor.solve.placement import Placement, place
from compositor.solve.subject import GroundPlace, Subject

PLATE = Camera(2400.0, (1500.0, 1000.0), (3000, 2000), -4.0, 0.0, 1.6)
OWN = Camera(3600.0, (1000.0, 1500.0), (2000, 3000), -8.0, 0.0, 1.2)
HULL = ((900.0, 400.0), (1200.0, 400.0), (1200.0, 2060.0), (900.0, 2060.0))


def seen(camera: Camera, *point: float) -> tuple[float, float]:
    u, v = camera.project([point])[0]
    return float(u), float(v)


SUBJECT = Subject(
    stance="upright",
    size_px=(2000, 3000),
    hull_px=HULL,
    contact_px=seen(OWN, 0.1, 4.0, 0.0),
    top_px=seen(OWN, 0.1, 4.0, 1.75),
    ground=GroundPlace(6.0, -1.2),
    camera_height_m=1.2,
)
cameras = st.builds(
    Camera,
    focal_px=st.floats(800, 6000),
    principal_px=st.tuples(st.floats(500, 2500), st.floats(300, 1700)),
    size_px=st.just((3000, 2000)),
    pitch_deg=st.floats(-25, 15),
    roll_deg=st.floats(-15, 15),
    height_m=st.floats(0.3, 6),
)
places = st.tuples(st.floats(-3, 3), st.floats(6, 40))


def photographed(own: Camera, own_m: tuple[float, float], ground_m: tuple[float, float], height_m: float) -> Subject:
    """The numbers of a thing of a height that a camera took at a place, to be put at another place."""
    return replace(
        SUBJECT,
        contact_px=seen(own, *own_m, 0.0),
        top_px=seen(own, *own_m, height_m),
        ground=GroundPlace(ground_m[1], ground_m[0]),
        camera_height_m=own.height_m,
    )


def test_worked_homography() -> None:
    # Worked numbers of a bare pinhole model in float64, to the digits given.
    placed = place(SUBJECT, PLATE, OWN)
    expected = [
        [0.501815777, -0.0188195849, 514.452706],
        [0.0373919632, 0.417442485, 557.944559],
        [4.35824929e-5, -2.60468768e-5, 1.0],
    ]
    assert placed.homography == pytest.approx(np.array(expected), rel=1e-7)
    assert placed.contact_px == pytest.approx((1027.636129, 1463.532099), abs=1e-6)
    assert placed.top_px == pytest.approx((1017.985245, 771.776678), abs=1e-6)
    assert placed.height_m == pytest.approx(1.75, abs=1e-9)


def test_real_height_gives_the_camera_height_and_wins_over_a_stated_one() -> None:
    placed = place(replace(SUBJECT, height_m=1.75, camera_height_m=2.0), PLATE, OWN)
    assert placed.camera_height_m == pytest.approx(1.2, abs=1e-9)
    assert placed.implied_height_m == pytest.approx(1.75 * 2.0 / 1.2, abs=1e-9)


def test_without_any_height_the_horizons_coincide() -> None:
    placed = place(replace(SUBJECT, camera_height_m=None), PLATE, OWN)
    assert placed.camera_height_m == PLATE.height_m
    assert placed.horizon_gap_px == pytest.approx(0.0, abs=1e-9)


@given(cameras, places, places, st.floats(0.2, 2.5))
def test_contact_and_top_land_where_the_thing_would_stand(
    plate: Camera, ground: tuple[float, float], own_ground: tuple[float, float], height_m: float
) -> None:
    own = Camera(3000.0, (1000.0, 1000.0), (2000, 2000), -6.0, 1.0, 1.3)
    placed = place(photographed(own, own_ground, ground, height_m), plate, own)
    assert placed.contact_px == pytest.approx(seen(plate, *ground, 0.0), abs=1e-6)
    assert placed.top_px == pytest.approx(seen(plate, *ground, height_m), abs=1e-5)
    assert placed.height_m == pytest.approx(height_m, rel=1e-9)


@given(places, places, st.floats(0.5, 3), st.floats(-300, 300), st.floats(500, 5000))
def test_horizon_matched_level_element_is_a_pure_scale_about_the_horizon(
    ground: tuple[float, float], own_ground: tuple[float, float], height_m: float, shift: float, focal_px: float
) -> None:
    # Same camera height, level cameras, both straight ahead: size goes as the distance below the horizon
    # (perspective drawing; Hoiem, Efros & Hebert, IJCV 80, 2008).
    plate = Camera(2400.0, (1500.0, 1000.0), (3000, 2000), 0.0, 0.0, height_m)
    own = Camera(focal_px, (1000.0, 900.0 + shift), (2000, 2000), 0.0, 0.0, height_m)
    placed = place(photographed(own, (0.0, own_ground[1]), (0.0, ground[1]), 1.0), plate, own)
    scale = 2400.0 / ground[1] / (focal_px / own_ground[1])
    pure = np.array(
        [[scale, 0, 1500 - scale * 1000], [0, scale, 1000 - scale * (900 + shift)], [0, 0, 1]]
    )  # fixes the horizon row at the contact's column, scales by the ratio of rows below it
    assert placed.homography == pytest.approx(pure, rel=1e-9, abs=1e-9)
    assert placed.scale_ratio == pytest.approx(scale, rel=1e-9)


def turned(camera: Camera, roll_deg: float) -> Camera:
    return replace(camera, roll_deg=camera.roll_deg + roll_deg)


@given(cameras, places, places, st.floats(-10, 10))
def test_rolling_plate_and_element_together_changes_nothing(
    plate: Camera, ground: tuple[float, float], own_ground: tuple[float, float], roll_deg: float
) -> None:
    own = Camera(3000.0, (1000.0, 1000.0), (2000, 2000), -6.0, 1.0, 1.3)
    straight = place(photographed(own, own_ground, ground, 1.2), plate, own)
    rolled_own, rolled_plate = turned(own, roll_deg), turned(plate, roll_deg)
    rolled = place(photographed(rolled_own, own_ground, ground, 1.2), rolled_plate, rolled_own)
    back = turn_about(plate.principal_px, roll_deg) @ rolled.homography @ turn_about(own.principal_px, -roll_deg)
    assert back / back[2, 2] == pytest.approx(straight.homography, rel=1e-6, abs=1e-6)
    assert rolled.scale_ratio == pytest.approx(straight.scale_ratio, rel=1e-9)


def turn_about(centre_px: tuple[float, float], roll_deg: float) -> np.ndarray:
    """Takes the pixels of a camera rolled by roll_deg back to those of the camera without it."""
    c, s = cos(radians(roll_deg)), sin(radians(roll_deg))
    (x, y) = centre_px
    return np.array([[c, -s, x - c * x + s * y], [s, c, y - s * x - c * y], [0.0, 0.0, 1.0]])


@given(cameras, places, places, st.floats(-800, 800), st.floats(-800, 800))
def test_moving_the_principal_point_with_a_crop_changes_nothing(
    plate: Camera, ground: tuple[float, float], own_ground: tuple[float, float], right: float, down: float
) -> None:
    own = Camera(3000.0, (1000.0, 1000.0), (2000, 2000), -6.0, 1.0, 1.3)
    whole = place(photographed(own, own_ground, ground, 1.2), plate, own)
    cropped_own, cropped_plate = own.shifted(-right, -down, (500, 500)), plate.shifted(right, down, (900, 900))
    cropped = place(photographed(cropped_own, own_ground, ground, 1.2), cropped_plate, cropped_own)
    probe = [photographed(own, own_ground, ground, h).top_px for h in (0.3, 0.9)] + [seen(own, *own_ground, 0.0)]
    moved = np.array(probe) - [right, down]
    assert apply_homography(cropped.homography, moved) == pytest.approx(
        apply_homography(whole.homography, probe) + [right, down], abs=1e-6
    )
    assert cropped.view_elevation_mismatch_deg == pytest.approx(whole.view_elevation_mismatch_deg, abs=1e-9)


@given(cameras, places, st.floats(-1.5, 1.5))
def test_unmoved_part_of_the_plate_stays_where_it_is(plate: Camera, ground: tuple[float, float], x: float) -> None:
    placed = reused(plate, ground, ground)
    probe = [[plate.principal_px[0] + 100 * x, plate.principal_px[1]], [10.0, 20.0]]
    assert apply_homography(placed.homography, probe) == pytest.approx(np.array(probe), abs=1e-5)


def reused(plate: Camera, source_m: tuple[float, float], ground_m: tuple[float, float]) -> Placement:
    subject = replace(
        SUBJECT,
        contact_px=seen(plate, *source_m, 0.0),
        top_px=seen(plate, *source_m, 0.5),
        ground=GroundPlace(ground_m[1], ground_m[0]),
        camera_height_m=None,
        from_plate=True,
    )
    return place(subject, plate, plate)


@given(places, places, st.floats(-200, 200), st.floats(0.4, 5))
def test_part_of_a_level_plate_is_reused_by_a_pure_scale_about_the_vanishing_point(
    source: tuple[float, float], target: tuple[float, float], down: float, height_m: float
) -> None:
    # Perspective drawing, common practice, no source: a copy moved along the ground is a scale about the point
    # where the direction of the move vanishes.
    assume(abs(source[1] - target[1]) > 0.5)
    plate = Camera(2000.0, (1500.0, 1000.0 + down), (3000, 2000), 0.0, 0.0, height_m)
    placed = reused(plate, source, target)
    scale = source[1] / target[1]
    assert placed.homography == pytest.approx(
        np.array([[scale, 0, placed.homography[0, 2]], [0, scale, placed.homography[1, 2]], [0, 0, 1]]), abs=1e-7
    )
    move = np.array([target[0] - source[0], target[1] - source[1], 0.0])
    vanishing = plate.direction_px(move)
    fixed = vanishing[:2] / vanishing[2]
    assert apply_homography(placed.homography, fixed)[0] == pytest.approx(fixed, abs=1e-5)


@given(cameras, places, places)
def test_part_of_a_tilted_plate_keeps_the_vanishing_point_of_its_move(
    plate: Camera, source: tuple[float, float], target: tuple[float, float]
) -> None:
    assume(hypot(source[0] - target[0], source[1] - target[1]) > 0.5)
    placed = reused(plate, source, target)
    vanishing = plate.direction_px([target[0] - source[0], target[1] - source[1], 0.0])
    image = placed.homography @ vanishing
    assert np.cross(image / np.linalg.norm(image), vanishing / np.linalg.norm(vanishing)) == pytest.approx(
        np.zeros(3), abs=1e-7
    )


def test_flip_mirrors_about_the_upright_through_the_contact() -> None:
    placed, mirrored = place(SUBJECT, PLATE, OWN), place(replace(SUBJECT, flip=True), PLATE, OWN)
    assert mirrored.contact_px == pytest.approx(placed.contact_px, abs=1e-9)
    left, right = seen(OWN, 0.1 - 0.3, 4.0, 0.4), seen(OWN, 0.1 + 0.3, 4.0, 0.4)
    # A point 0.3 m left of the contact in the facing plane swaps with the one 0.3 m right of it.
    azimuth = atan2(0.1, 4.0)
    across = np.array([cos(azimuth), -sin(azimuth), 0.0]) * 0.3
    left, right = (seen(OWN, *(np.array([0.1, 4.0, 0.4]) + sign * across)) for sign in (-1, 1))
    there = apply_homography(placed.homography, [left, right])
    assert apply_homography(mirrored.homography, [right, left]) == pytest.approx(there, abs=1e-6)


def test_raised_element_hangs_over_its_ground_point() -> None:
    placed = place(replace(SUBJECT, raise_m=0.5), PLATE, OWN)
    assert placed.contact_px == pytest.approx(seen(PLATE, -1.2, 6.0, 0.5), abs=1e-6)
    assert placed.top_px == pytest.approx(seen(PLATE, -1.2, 6.0, 2.25), abs=1e-6)
    assert placed.ground_m == pytest.approx((-1.2, 6.0))


def test_ground_by_pixel() -> None:
    pixel = seen(PLATE, 0.7, 9.0, 0.0)
    placed = place(replace(SUBJECT, ground=pixel), PLATE, OWN)
    assert placed.ground_m == pytest.approx((0.7, 9.0), abs=1e-9)


def test_artwork_on_the_ground_has_its_size() -> None:
    artwork = replace(
        SUBJECT, stance="flat", size_px=(600, 400), contact_px=(300.0, 400.0), top_px=(300.0, 0.0),
        artwork_m=(3.0, 2.0), camera_height_m=None, ground=GroundPlace(5.0, 0.0),
    )  # fmt: skip
    placed = place(artwork, PLATE, None)
    corners = apply_homography(placed.homography, [[0, 400], [600, 400], [600, 0], [0, 0]])
    world = [(-1.5, 5.0), (1.5, 5.0), (1.5, 7.0), (-1.5, 7.0)]
    assert corners == pytest.approx(np.array([seen(PLATE, x, y, 0.0) for x, y in world]), abs=1e-6)
    quarter = place(replace(artwork, turn_deg=90.0), PLATE, None)
    # Turned clockwise, as seen in its picture: what was to the right of the contact comes toward the camera.
    corner = apply_homography(quarter.homography, [[600.0, 400.0]])[0]
    assert corner == pytest.approx(seen(PLATE, 0.0, 3.5, 0.0), abs=1e-6)


def test_poster_lies_in_its_wall() -> None:
    wall = (seen(PLATE, -2.0, 8.0, 0.0), seen(PLATE, 2.0, 10.0, 0.0))
    poster = replace(
        SUBJECT, stance="wall", size_px=(600, 900), contact_px=(300.0, 900.0), top_px=(300.0, 0.0),
        artwork_m=(1.2, 1.8), camera_height_m=None, ground=seen(PLATE, 0.0, 9.0, 0.0), wall_px=wall, raise_m=0.6,
    )  # fmt: skip
    placed = place(poster, PLATE, None)
    along = np.array([4.0, 2.0]) / hypot(4.0, 2.0)
    right_top = np.array([*(np.array([0.0, 9.0]) + 0.6 * along), 2.4])
    assert apply_homography(placed.homography, [[600.0, 0.0]])[0] == pytest.approx(seen(PLATE, *right_top), abs=1e-6)
    # The wall's ends in the other order give the same picture, not a mirrored one.
    other = place(replace(poster, wall_px=(wall[1], wall[0])), PLATE, None)
    assert other.homography == pytest.approx(placed.homography, abs=1e-9)


def test_mismatch_and_own_distance() -> None:
    placed = place(SUBJECT, PLATE, OWN)
    elevation = degrees(atan2(1.6, hypot(1.2, 6.0)) - atan2(1.2, hypot(0.1, 4.0)))
    assert placed.view_elevation_mismatch_deg == pytest.approx(elevation)
    assert placed.view_azimuth_mismatch_deg == pytest.approx(degrees(atan2(-1.2, 6.0) - atan2(0.1, 4.0)))
    assert placed.own_distance_m is not None
    there = place(replace(SUBJECT, ground=GroundPlace(placed.own_distance_m, 0.0)), PLATE, OWN)
    assert there.view_elevation_mismatch_deg == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"contact_px": (1000.0, 500.0)}, ("contact",)),
        ({"contact_px": (1000.0, OWN.horizon_row(1000.0))}, ("contact",)),
        ({"top_px": (1000.0, 2500.0)}, ("top",)),
        ({"ground": (1500.0, 100.0)}, ("ground", "pixel")),
        ({"ground": GroundPlace(0.05, 0.0)}, ("ground",)),
        ({"stance": "wall", "wall_px": ((0.0, 1500.0), (0.0, 1500.0))}, ("wall",)),
        ({"stance": "wall", "wall_px": ((0.0, 1500.0), (10.0, 100.0))}, ("wall", 1)),
    ],
)
def test_faults_name_their_key(change: dict[str, object], key: tuple[str, ...]) -> None:
    plate = replace(PLATE, pitch_deg=10.0) if change.get("ground") == GroundPlace(0.05, 0.0) else PLATE
    with pytest.raises(FaultyScene) as caught:
        place(replace(SUBJECT, **change), plate, OWN)  # type: ignore[arg-type]
    assert caught.value.faults[0].key == key
