"""A camera found from the edges of invented built scenes, whose true cameras are known exactly."""

import numpy as np
import pytest

from compositor.base.arrays import Floats
from compositor.geometry.camera import Camera
from compositor.geometry.structure import Structure, find_structure

SIZE = (1200, 800)
CENTRE = (600.0, 400.0)


def built_edges(
    camera: Camera, headings_deg: tuple[float, ...], seed: int, noise_px: float = 0.3, stray: int = 40, each: int = 30
) -> Floats:
    """Edges of upright and level directions inside the frame, and stray ones, with noise on their ends."""
    random = np.random.default_rng(seed)
    directions = [np.array([0.0, 0.0, 1.0])]
    directions += [np.array([np.sin(a), np.cos(a), 0.0]) for a in np.radians(headings_deg)]
    edges = []
    for direction in directions:
        kept = 0
        for _ in range(100 * each):
            if kept == each:
                break
            start = np.array([random.uniform(-12, 12), random.uniform(4, 30), random.uniform(0, 7)])
            points = camera.matrix @ np.column_stack(
                [np.append(start, 1.0), np.append(start + direction * random.uniform(0.5, 4), 1.0)]
            )
            if np.any(points[2] < 0.5):
                continue
            pixels = (points[:2] / points[2]).T
            if np.all((pixels > 0) & (pixels < np.array(SIZE))):
                edges.append(pixels)
                kept += 1
    middles = random.uniform(0, 1, (stray, 2)) * SIZE
    angles, lengths = random.uniform(0, np.pi, stray), random.uniform(25, 120, stray)
    reach = np.column_stack([np.cos(angles), np.sin(angles)]) * lengths[:, np.newaxis] / 2
    found = np.concatenate([np.array(edges), np.stack([middles - reach, middles + reach], axis=1)])
    return found + random.normal(0, noise_px, found.shape)


def horizon_error_fraction(found: Structure, camera: Camera) -> float:
    """Largest vertical distance of the two horizons within the frame, in picture heights."""
    seen = found.camera(SIZE, CENTRE)
    return max(abs(seen.horizon_row(u) - camera.horizon_row(u)) for u in (0.0, SIZE[0])) / SIZE[1]


CAMERAS = [
    Camera(1100.0, CENTRE, SIZE, -6.0, 1.5, 1.6),
    Camera(850.0, CENTRE, SIZE, 14.0, -3.0, 1.5),
    Camera(1500.0, CENTRE, SIZE, 1.0, 0.0, 1.7),
    Camera(1000.0, CENTRE, SIZE, -24.0, 4.0, 3.0),
]


@pytest.mark.parametrize("camera", CAMERAS)
def test_right_angled_streets(camera: Camera) -> None:
    edges = built_edges(camera, (25.0, 115.0), 1)
    found = find_structure(edges, SIZE, CENTRE)
    assert found is not None
    assert horizon_error_fraction(found, camera) < 0.01
    focal_sd = np.sqrt(found.covariance[0, 0])
    assert abs(np.log(found.focal_px / camera.focal_px)) < 3.0 * focal_sd
    assert focal_sd < 0.2
    assert found.roll_deg == pytest.approx(camera.roll_deg, abs=0.4)
    assert {bundle.kind for bundle in found.bundles} == {"upright", "level"}


def test_streets_at_odd_angles_with_a_known_lens() -> None:
    camera = CAMERAS[1]
    edges = built_edges(camera, (10.0, 45.0, 78.0), 2)
    found = find_structure(edges, SIZE, CENTRE, (camera.focal_px, 0.01))
    assert found is not None
    assert horizon_error_fraction(found, camera) < 0.01
    assert found.pitch_deg == pytest.approx(camera.pitch_deg, abs=0.5)


def test_bundles_hold_their_own_edges() -> None:
    """The builder puts 30 edges of each direction one after another: uprights first."""
    found = find_structure(built_edges(CAMERAS[0], (25.0, 115.0), 3, stray=0), SIZE, CENTRE)
    assert found is not None
    upright = next(bundle for bundle in found.bundles if bundle.kind == "upright")
    assert np.mean(upright.edges < 30) > 0.9
    assert len(upright.edges) > 22
    u, v, w = upright.vanishing_px
    wanted = CAMERAS[0].direction_px(np.array([0.0, 0.0, 1.0]))
    sine = np.linalg.norm(np.cross([u, v, w], wanted / np.linalg.norm(wanted)))
    assert sine < np.sin(np.radians(0.2))


def test_the_result_is_the_same_twice() -> None:
    edges = built_edges(CAMERAS[0], (25.0, 115.0), 4)
    one, two = find_structure(edges, SIZE, CENTRE), find_structure(edges.copy(), SIZE, CENTRE)
    assert one is not None
    assert two is not None
    assert one.row_sd_px == two.row_sd_px
    assert (one.focal_px, one.pitch_deg, one.roll_deg) == (two.focal_px, two.pitch_deg, two.roll_deg)


def test_a_picture_twice_the_size_gives_the_same_angles() -> None:
    edges = built_edges(CAMERAS[1], (25.0, 115.0), 5)
    single = find_structure(edges, SIZE, CENTRE)
    double = find_structure(edges * 2, (2400, 1600), (1200.0, 800.0))
    assert single is not None
    assert double is not None
    assert double.focal_px == pytest.approx(2 * single.focal_px, rel=0.03)
    assert double.pitch_deg == pytest.approx(single.pitch_deg, abs=0.5)
    assert double.roll_deg == pytest.approx(single.roll_deg, abs=0.1)


def test_stray_edges_are_doubted() -> None:
    random = np.random.default_rng(9)
    middles = random.uniform(0, 1, (150, 2)) * SIZE
    angles = random.uniform(0, np.pi, 150)
    reach = np.column_stack([np.cos(angles), np.sin(angles)]) * 30
    found = find_structure(np.stack([middles - reach, middles + reach], axis=1), SIZE, CENTRE)
    assert found is not None
    assert found.doubt(SIZE) is not None


def test_a_built_scene_is_not_doubted() -> None:
    found = find_structure(built_edges(CAMERAS[0], (25.0, 115.0), 6), SIZE, CENTRE)
    assert found is not None
    assert found.doubt(SIZE) is None


def test_too_few_edges_are_no_structure() -> None:
    assert find_structure(np.empty((0, 2, 2)), SIZE, CENTRE) is None
    frame = np.array([[[0.0, 0.0], [0.0, 800.0]], [[0.0, 799.0], [1200.0, 799.0]]] * 4)
    assert find_structure(frame, SIZE, CENTRE) is None, "edges of the frame itself say nothing"
