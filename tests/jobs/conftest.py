"""Small real scenes for the jobs."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from compositor.geometry.camera import Camera

PLATE = Camera(400.0, (240.0, 160.0), (480, 320), -6.0, 0.0, 1.6)
OWN = Camera(700.0, (60.0, 100.0), (120, 200), -8.0, 0.0, 1.4)


def seen(camera: Camera, *point: float) -> list[float]:
    return [float(x) for x in camera.project([point])[0]]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a plate, a cut-out, a matte, and files that cannot be used."""
    rng = np.random.default_rng(5)
    ramp = np.linspace(40, 220, 320)[:, None, None] + np.zeros((320, 480, 3))
    plate = np.clip(ramp + rng.normal(0, 3, ramp.shape), 0, 255).astype(np.uint8)
    Image.fromarray(plate).save(tmp_path / "plate.png")
    cut_out = np.zeros((200, 120, 4), np.uint8)
    cut_out[30:190, 40:80] = (200, 60, 40, 255)
    Image.fromarray(cut_out).save(tmp_path / "post.png")
    Image.fromarray(np.zeros((200, 120, 4), np.uint8)).save(tmp_path / "empty.png")
    Image.fromarray(plate[:, :, 0]).save(tmp_path / "matte.png")
    Image.fromarray(plate[:100, :, 0]).save(tmp_path / "small-matte.png")
    whole = (tmp_path / "post.png").read_bytes()
    (tmp_path / "truncated.png").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "text.png").write_text("no picture")
    (tmp_path / "pointer.png").write_text(
        "version https://git-lfs.github.com/spec/v1\n"
        "oid sha256:4d7a214614ab2935c943f9e0ff69d22eadbb8f32b1258daaa5e2ca24d17e2393\nsize 12345\n"
    )
    (tmp_path / "a-folder").mkdir()
    return tmp_path


@pytest.fixture
def words() -> dict[str, Any]:
    """A scene in words: one post that stands 6 m away."""
    return {
        "scene": 1,
        "title": "A post",
        "plate": {
            "image": "plate.png",
            "camera": {"horizon": PLATE.horizon_row(240.0), "lens": {"pixels": 400}, "height": 1.6},
        },
        "elements": [
            {
                "name": "post",
                "image": "post.png",
                "camera": {"horizon": OWN.horizon_row(60.0), "lens": {"pixels": 700}, "height": 1.4},
                "contact": [60, 190],
                "ground": {"distance": 6, "offset": -0.5},
            }
        ],
    }


@pytest.fixture
def write(folder: Path) -> Callable[[dict[str, Any]], Path]:
    """Writes a scene's words beside its pictures; the file's path."""

    def written(scene: dict[str, Any], name: str = "scene.yaml") -> Path:
        path = folder / name
        path.write_text(json.dumps(scene, indent=1))
        return path

    return written
