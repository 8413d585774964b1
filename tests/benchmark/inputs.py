"""What the benchmark works on: photo-like pictures, seeded, and the scenes over them.

The plate is 6000 × 4000 (1/f texture, hard edges, slightly correlated noise; JPEG of quality 95), the cut-outs are
3000 × 2000 with about a quarter empty, 73 % opaque and 2.4 % soft edge (PNG). Flat or empty pictures would flatter
every codec.
"""

import json
from pathlib import Path

import cv2
import numpy as np

PLATE_PX, CUT_OUT_PX, SMALL_PX = (6000, 4000), (3000, 2000), (1080, 1350)
CUT_OUTS, SHARED, CHANGING = 16, 5, 10
QUALITY = 89
"""Below 90 the product halves the resolution of colour (4:2:0), as the other programs do."""

_PLATE_LENS_PX, _HEIGHT_M, _CONTACT_PX = 5000, 1.6, (1500, 1900)
_PLACES = [  # distance and offset in m, size in the plate
    (14.0, 0.5, 0.57),
    (15.0, -5.5, 0.55),
    (16.0, 6.0, 0.52),
    (19.0, -2.5, 0.42),
    (21.0, 8.5, 0.39),
    (24.0, -9.5, 0.35),
]


def make(folder: Path) -> None:
    """All inputs, into a folder; what is there already stays."""
    folder.mkdir(parents=True, exist_ok=True)
    plate = folder / "plate.jpg"
    if not plate.exists():
        samples = photograph(PLATE_PX, 1)
        plate.write_bytes(cv2.imencode(".jpg", samples, [cv2.IMWRITE_JPEG_QUALITY, 95])[1])
    for index in range(CUT_OUTS):
        path = folder / f"cut-out-{index:02}.png"
        if not path.exists():
            samples = np.dstack([photograph(CUT_OUT_PX, 10 + index), outline(CUT_OUT_PX, 10 + index)])
            samples[samples[..., 3] == 0] = 0
            path.write_bytes(cv2.imencode(".png", samples)[1])
    for name, scene in scenes().items():
        (folder / f"{name}.yaml").write_text(json.dumps(scene, indent=1))  # JSON is YAML


def photograph(size_px: tuple[int, int], seed: int) -> np.ndarray:
    """uint8 (h, w, 3)."""
    width, height = size_px
    random = np.random.default_rng(seed)
    picture = np.full((height, width, 3), 118.0, np.float32)
    for octave in range(2, 10):  # equal energy in every octave is an amplitude of 1/f
        small = random.standard_normal((height // 2**octave + 2, width // 2**octave + 2, 3), np.float32)
        picture += 6.0 * cv2.resize(small, size_px, interpolation=cv2.INTER_CUBIC)
    for _ in range(60):
        corners = random.uniform(0, 1, (4, 2)) * random.uniform(100, 900) + random.uniform(0, 1, 2) * size_px
        colour = [float(value) for value in random.uniform(-50, 50, 3)]
        mask = np.zeros((height, width), np.uint8)
        cv2.fillPoly(mask, [corners.astype(np.int32)], (255,), lineType=cv2.LINE_AA)
        left, top, across, down = cv2.boundingRect(mask)
        there = np.s_[top : top + down, left : left + across]
        picture[there] += np.array(colour, np.float32) * (mask[there][..., None] / np.float32(255))
    noise = random.standard_normal((height, width, 3), np.float32)
    picture += 1.6 * cv2.GaussianBlur(noise, (0, 0), 0.5) / np.float32(0.56)
    return np.rint(np.clip(picture, 2, 253)).astype(np.uint8)


def outline(size_px: tuple[int, int], seed: int) -> np.ndarray:
    """uint8 (h, w) coverage of a rounded shape with a wavy, soft outline."""
    width, height = size_px
    random = np.random.default_rng(seed)
    y, x = np.mgrid[:height, :width].astype(np.float32)
    across, down = (x + 0.5) / width * 2 - 1, (y + 0.5) / height * 2 - 1
    angle = np.arctan2(down, across)
    reach = (across**4 + down**4) ** 0.25
    wave = sum(random.uniform(0.004, 0.012) * np.sin(k * angle + random.uniform(0, 6)) for k in (3, 7, 16, 41))
    away_px = (np.float32(0.915) + wave.astype(np.float32) - reach) * (min(width, height) / 2)
    return np.rint(np.clip(away_px / 16.0 + 0.5, 0, 1) * 255).astype(np.uint8)


def scenes() -> dict[str, dict]:
    """Scene files by name."""
    w1 = _scene([_element(index, index) for index in range(SHARED + 1)])
    w1["deliveries"] = [
        {"name": "wide", "format": "jpeg", "quality": QUALITY},
        {"name": "master", "format": "png"},
    ]
    return {"w1": w1, "w2": _w2(100), "w2-few": _w2(10), "small": _many_small(1000)}


def _scene(elements: list[dict]) -> dict:
    return {
        "scene": 1,
        "plate": {
            "image": "plate.jpg",
            "camera": {"horizon": 1700, "lens": {"pixels": _PLATE_LENS_PX}, "height": _HEIGHT_M},
            "light": {"azimuth": -60, "elevation": 35, "sun": 0.6},
        },
        "elements": elements,
    }


def _element(place: int, picture: int) -> dict:
    """An element whose own camera saw it as the plate's does, so that there is nothing to say about it."""
    distance, offset, scale = _PLACES[place]
    lens_px = _PLATE_LENS_PX / scale
    aside_px = lens_px * offset / distance
    whole = [CUT_OUT_PX[0] + 2 * abs(aside_px), CUT_OUT_PX[1]]
    return {
        "name": f"thing-{place}",
        "image": f"cut-out-{picture:02}.png",
        "camera": {
            "horizon": round(_CONTACT_PX[1] - lens_px * _HEIGHT_M / distance, 2),
            "lens": {"pixels": round(lens_px, 2)},
            "height": _HEIGHT_M,
            "crop": {"offset": [round(abs(aside_px) + aside_px, 2), 0], "of": [round(side, 2) for side in whole]},
        },
        "contact": list(_CONTACT_PX),
        "ground": {"distance": distance, "offset": offset},
        "depth": 0.8,
        "shadow": {"cast": True, "contact": False},
    }


def _w2(count: int) -> dict:
    """Variants with a crop and a first element each, of ten; plate and the other five are shared."""
    scene = _scene([_element(index, CHANGING + index if index else 0) for index in range(SHARED + 1)])
    random = np.random.default_rng(7)
    scene["deliveries"] = [
        {"name": "portrait", "format": "jpeg", "quality": QUALITY, "size": list(SMALL_PX), "around": ["thing-0"]}
    ]
    scene["variants"] = [
        {
            "name": f"v{index:03}",
            "set": {
                "elements.thing-0.image": f"cut-out-{index % CHANGING:02}.png",
                "deliveries.portrait.margin": [round(float(share), 4) for share in random.uniform(0.02, 0.16, 4)],
            },
        }
        for index in range(count)
    ]
    return scene


def _many_small(count: int) -> dict:
    scene = _w2(0)
    scene["elements"] = scene["elements"][:1]
    scene["elements"][0].pop("shadow")
    del scene["plate"]["light"]
    scene["deliveries"][0]["size"] = [64, 80]
    scene["variants"] = [
        {"name": f"v{index:04}", "set": {"elements.thing-0.ground.offset": round(index / count, 4)}}
        for index in range(count)
    ]
    return scene
