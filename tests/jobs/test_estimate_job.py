"""`compositor estimate` from file to record, on pictures whose cameras are known exactly."""

import json
from pathlib import Path

import numpy as np
import pytest
import typer
from PIL import Image
from typer.testing import CliRunner

from compositor.base.errors import UnusableInput
from compositor.cli.estimate import estimate as command
from compositor.geometry.camera import Camera
from compositor.jobs.estimate import estimate

CAMERA = Camera(560.0, (320.0, 240.0), (640, 480), -5.0, 1.0, 1.5)


def room(path: Path, exif_mm: int | None = None) -> Path:
    """A room of tiled walls and floor, drawn by meeting every line of sight with the nearest plane."""
    fine = 3
    u, v = np.meshgrid((np.arange(640 * fine) + 0.5) / fine, (np.arange(480 * fine) + 0.5) / fine)
    rays = CAMERA.rays(np.column_stack([u.ravel(), v.ravel()]))
    heading = np.radians(25.0)
    turned = np.column_stack(
        [
            rays[:, 0] * np.cos(heading) - rays[:, 1] * np.sin(heading),
            rays[:, 0] * np.sin(heading) + rays[:, 1] * np.cos(heading),
            rays[:, 2],
        ]
    )
    near = np.full(len(rays), np.inf)
    tone = np.zeros(len(rays))
    planes = [(0, -2.0, 0.55), (0, 3.0, 0.75), (1, 6.0, 0.65), (2, -1.5, 0.35), (2, 1.3, 0.9)]
    for axis, place, base in planes:
        with np.errstate(divide="ignore"):
            reach = place / turned[:, axis]
        seen = (reach > 0) & (reach < near)
        near[seen] = reach[seen]
        at = np.delete(turned * reach[:, np.newaxis], axis, axis=1)[seen]
        joint = np.any((at / [0.9, 0.7]) % 1.0 < 0.06, axis=1)
        tone[seen] = np.where(joint, base * 0.55, base)
    picture = tone.reshape(480, fine, 640, fine).mean(axis=(1, 3)) * 255
    noisy = picture + np.random.default_rng(5).normal(0, 3, picture.shape)
    image = Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).convert("RGB")
    exif = Image.Exif()
    if exif_mm is not None:
        exif.get_ifd(0x8769)[0xA405] = exif_mm
    image.save(path, quality=95, exif=exif)
    return path


def noise(path: Path) -> Path:
    Image.fromarray(np.random.default_rng(1).integers(0, 255, (120, 160, 3), dtype=np.uint8)).save(path)
    return path


def test_a_room_gives_its_camera(tmp_path: Path) -> None:
    done = estimate(room(tmp_path / "room.jpg"), None, tmp_path / "out")
    assert done.exit_status == 0
    record = json.loads(done.as_json())
    assert record["pitch_deg"] == pytest.approx(CAMERA.pitch_deg, abs=0.4)
    assert record["roll_deg"] == pytest.approx(CAMERA.roll_deg, abs=0.3)
    assert record["focal_px"] == pytest.approx(CAMERA.focal_px, rel=0.03)
    for (u, v), key in zip(record["horizon"], ("horizon_left_px", "horizon_right_px"), strict=True):
        assert v == pytest.approx(CAMERA.horizon_row(u), abs=0.01 * 480)
        assert abs(v - CAMERA.horizon_row(u)) < 4 * record["plus_minus"][key]
    assert record["camera"]["horizon"]["row"] == pytest.approx(CAMERA.horizon_row(320.0), abs=0.01 * 480)
    assert {row["kind"] for row in record["evidence"]} >= {"upright edges, found", "level edges, found"}
    assert done.as_text().startswith("camera:\n  horizon: {row: ")
    with Image.open(tmp_path / "out" / "room" / "estimate.png") as drawn:
        assert drawn.size == (640, 480)


def test_the_annotated_picture_is_the_same_twice(tmp_path: Path) -> None:
    photo = room(tmp_path / "room.jpg")
    written = []
    for name in ("one", "two"):
        estimate(photo, None, tmp_path / name)
        written.append((tmp_path / name / "room" / "estimate.png").read_bytes())
    assert written[0] == written[1]


def test_a_lens_in_the_file_is_used_and_a_wrong_one_is_named(tmp_path: Path) -> None:
    """By the Exif rule 30 mm on 640 × 480 are 30·800/43.267 = 554.7 px; the camera has 560."""
    right = estimate(room(tmp_path / "right.jpg", 30), None, tmp_path).record
    assert right["focal_px"] == pytest.approx(557.0, abs=8.0)
    lens = next(row for row in right["evidence"] if row["kind"] == "lens")
    assert lens == {"kind": "lens", "source": "Exif", "contradicts": False}
    wrong = estimate(room(tmp_path / "wrong.jpg", 85), None, tmp_path).record
    assert next(row for row in wrong["evidence"] if row["kind"] == "lens")["contradicts"]


def test_nothing_to_go_by_is_said(tmp_path: Path) -> None:
    done = estimate(noise(tmp_path / "noise.png"), None, tmp_path)
    assert done.exit_status == 1
    assert set(done.record) == {"cannot_tell"}
    assert "evidence" in done.record["cannot_tell"], "says what to give instead"


def test_marks_by_hand_stand_in(tmp_path: Path) -> None:
    feet = np.array([[-1.0, 5.0, 0.0], [0.8, 8.0, 0.0], [1.5, 11.0, 0.0]])
    bases, tops = CAMERA.project(feet), CAMERA.project(feet + [0.0, 0.0, 1.8])
    marks = tmp_path / "marks.yaml"
    objects = [{"base": b.tolist(), "top": t.tolist()} for b, t in zip(bases, tops, strict=True)]
    roll = '"roll": {"value": 1.0, "plus_minus": 0.2}'
    head = '{"standing": [{"name": "guests", "objects": ' + json.dumps(objects)
    marks.write_text(head + '}], "lens": {"pixels": 560}, ' + roll + "}")
    photo = noise(tmp_path / "noise.png")
    Image.open(photo).resize((640, 480)).save(photo)
    done = estimate(photo, marks, tmp_path)
    assert done.record["horizon"][0][1] == pytest.approx(CAMERA.horizon_row(0.0), abs=6.0)
    assert done.record["camera_height_ratio"]["guests"] == pytest.approx(1.5 / 1.8, rel=0.02)
    marks.write_text(head + ', "height": 1.8}], "lens": {"pixels": 560}, ' + roll + "}")
    metric = estimate(photo, marks, tmp_path)
    assert metric.record["camera"]["height"] == pytest.approx(1.5, rel=0.02)
    assert metric.record["plus_minus"]["camera_height_m"] > 0.0


def test_evidence_against_the_picture_is_named(tmp_path: Path) -> None:
    marks = tmp_path / "marks.yaml"
    marks.write_text("between: [400, 430]\n")
    done = estimate(room(tmp_path / "room.jpg"), marks, tmp_path)
    row = next(row for row in done.record["evidence"] if row.get("name") == "between")
    assert row["contradicts"]
    assert "contradicts the rest" in done.as_text()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("betwen: [1, 2]\n", "marks.yaml:1:9: betwen: unknown key"),
        ("level:\n  - {name: a, lines: [[[0, 0], [1, 1]]]}\n", "marks.yaml:2:22: level.0.lines: has too few entries"),
        ("level:\n  - {name: a, right_angle_to: b, lines: [[[0, 0], [9, 1]], [[0, 5], [9, 9]]]}\n", "right_angle_to"),
        ("row: {plus_minus: 2}\n", "row.row: is missing"),
    ],
)
def test_faulty_marks_are_located(tmp_path: Path, text: str, expected: str) -> None:
    marks = tmp_path / "marks.yaml"
    marks.write_text(text)
    with pytest.raises(UnusableInput) as error:
        estimate(noise(tmp_path / "noise.png"), marks, tmp_path)
    assert expected in str(error.value)


def test_the_command_line(tmp_path: Path) -> None:
    app = typer.Typer()
    app.command()(command)
    out = str(tmp_path / "out")
    good = CliRunner().invoke(app, [str(room(tmp_path / "room.jpg")), "--out", out, "--json"])
    assert good.exit_code == 0
    assert "camera" in json.loads(good.stdout)
    nothing = CliRunner().invoke(app, [str(noise(tmp_path / "noise.png")), "--out", out])
    assert nothing.exit_code == 1
    assert nothing.stdout.startswith("cannot tell: ")
    missing = CliRunner().invoke(app, [str(tmp_path / "none.jpg"), "--out", out])
    assert missing.exit_code == 2
    assert "no such file" in missing.stderr
