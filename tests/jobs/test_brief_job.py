"""`compositor brief`, folders of alternatives and holdouts, through real files."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import OWN, seen
from PIL import Image
from typer.testing import CliRunner

from compositor.cli.app import app
from compositor.jobs.check import check_scene

Write = Callable[[dict[str, Any]], Path]


def run(*arguments: object) -> Any:
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def test_an_element_gets_words_and_a_sheet(words: dict[str, Any], write: Write, tmp_path: Path) -> None:
    result = run("brief", write(words), "post", "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "Camera height: 1.60 m" in result.stdout and "Local rules" in result.stdout
    with Image.open(tmp_path / "out" / "scene" / "brief-post.png") as sheet:
        assert sheet.size == (3508, 2480)  # A4 (ISO 216: 297 × 210 mm) at 300 dpi
        assert sheet.info["dpi"] == pytest.approx((300, 300), abs=0.1)
        samples = np.asarray(sheet.convert("L"))
    assert 0.005 < (samples < 128).mean() < 0.2, "dark lines on white paper"
    assert (samples[:, :100] == 255).all() and (samples[:, -100:] == 255).all() and (samples[-60:] == 255).all()
    wide = run("brief", write(words), "post", "--height", "0.2", "--out", tmp_path / "out")
    assert wide.exit_code == 0, wide.output


def test_a_place_and_a_kind_are_enough(words: dict[str, Any], write: Write, tmp_path: Path) -> None:
    arguments = ("--at", "6,-0.5", "--kind", "person", "--sun", "-40,24", "--json", "--out", tmp_path / "out")
    result = run("brief", write(words), *arguments)
    record = json.loads(result.stdout)
    assert record["camera_height_m"] == pytest.approx(1.6)
    assert record["distance_m"] == pytest.approx(np.hypot(6.0, 0.5))
    assert record["horizon_body_part"] in ("eyes", "top of the head")
    assert record["sun"]["beside_deg"] == pytest.approx(-40 + np.degrees(np.arctan2(0.5, 6.0)))


def test_the_sun_of_the_plate_is_looked_for_at_a_place_and_day(words: Any, write: Write, tmp_path: Path) -> None:
    """London, 20 June 2024, noon UTC: the sun 61.94° high at 178.93° (pvlib's solar position algorithm)."""
    words["plate"]["light"] = {"azimuth": 30, "elevation": 61.94}
    words["elements"][0]["ground"] = {"distance": 6}
    arguments = ("--site", "51.5,-0.12", "--date", "2024-06-20", "--json", "--out", tmp_path / "out")
    sun = json.loads(run("brief", write(words), "post", *arguments).stdout)["sun"]
    (window,) = sun["windows"]
    assert sun["beside_deg"] == pytest.approx(30) and sun["elevation_deg"] == 61.94
    assert window["start"] < "2024-06-20T12:00:00+00:00" < window["end"]
    low, high = window["heading_deg"]
    assert low < 178.93 - 30 < high


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("pots",), "no element of that name; did you mean `post`?"),
        ((), "--at"),
        (("--at", "6,0"), "--height"),
        (("--at", "6,0", "--kind", "elf"), "known here: person"),
        (("--at", "6,0", "--height", "1", "--kind", "dor"), "did you mean `door`?"),
        (("--at", "-6,0", "--height", "1"), "greater than 0"),
    ],
)
def test_what_cannot_be_told_is_a_fault(arguments: tuple[str, ...], said: str, words: Any, write: Write) -> None:
    result = run("brief", write(words), *arguments)
    assert result.exit_code == 2 and result.stdout == ""
    assert said in result.stderr and "Traceback" not in result.output


@pytest.mark.parametrize("option", [("--sensor", "36"), ("--at", "a,b"), ("--date", "soon"), ("--pixels", "0,1")])
def test_options_that_make_no_sense(option: tuple[str, str], words: Any, write: Write) -> None:
    assert run("brief", write(words), "post", *option).exit_code == 2


def alternative(folder: Path, name: str, height_m: float) -> None:
    """Another photograph of the post in a folder, with its camera file."""
    (folder / "posts").mkdir(exist_ok=True)
    Image.new("RGBA", (120, 200), (200, 60, 40, 255)).save(folder / "posts" / f"{name}.png")
    camera = {"horizon": {"pitch": -8}, "lens": {"pixels": 700}, "height": height_m}
    contact = seen(OWN, 0.0, 6.0, 0.0)
    words = {"camera": camera, "contact": contact, "top": [contact[0], contact[1] - 120]}
    (folder / "posts" / f"{name}.camera.yaml").write_text(json.dumps(words))


def test_a_folder_of_alternatives_is_ranked_and_put_in(words: Any, write: Write, folder: Path) -> None:
    alternative(folder, "near", 1.4)
    words["elements"][0]["alternatives_in"] = "posts"
    words["elements"][0]["ground"] = {"distance": 12}
    path = write(words)
    (found,) = [f for f in check_scene(path, []).variants[0].findings if f.code == "seen-from-another-height"]
    (use,) = [remedy for remedy in found.remedies if "posts/near.png" in remedy.text]
    after = check_scene(path, list(use.settings)).variants[0]
    assert after.plan.elements[0].source.image == "posts/near.png"


def test_a_camera_file_with_a_fault_is_told_with_its_place(words: Any, write: Write, folder: Path) -> None:
    alternative(folder, "near", 1.4)
    (folder / "posts" / "near.camera.yaml").write_text("camera: {horizon: 5}\ncontct: [1, 2]\n")
    words["elements"][0]["alternatives_in"] = "posts"
    result = run("check", write(words))
    assert result.exit_code == 2
    assert "near.camera.yaml:2:" in result.stderr and "did you mean `contact`?" in result.stderr


def test_a_matte_of_the_plate_hides_a_foot(words: Any, write: Write, folder: Path) -> None:
    path = write(words)
    u, v = check_scene(path, []).variants[0].plan.elements[0].contact_px
    matte = np.zeros((320, 480), np.uint8)
    matte[:, : int(u) + 2] = 255
    Image.fromarray(matte).save(folder / "wall.png")
    words["plate"]["holdouts"] = [{"name": "wall", "matte": "wall.png", "distance": 4}]
    codes = [f.code for f in check_scene(write(words), []).variants[0].findings]
    assert "contact-hidden" in codes and 0 < v < 320
    words["plate"]["extend"] = {"left": 40}
    assert "contact-hidden" in [f.code for f in check_scene(write(words), []).variants[0].findings]
    matte[:, int(u) - 2 :] = 0
    matte[0, 0] = 255
    Image.fromarray(matte).save(folder / "wall.png")
    assert "contact-hidden" not in [f.code for f in check_scene(write(words), []).variants[0].findings]
