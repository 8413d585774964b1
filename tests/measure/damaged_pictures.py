"""One small composite, made without the product, and everything that may and may not happen to it."""

import io
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from compositor.colour.space import DCF_OPTIONAL, SRGB
from compositor.measure.comparison import Region, Shown

WIDTH, HEIGHT = 640, 448


def texture(seed: int, roughness: float = 1.0) -> np.ndarray:
    """Grain whose spectrum falls as 1/f, as photographs' does; mean 0, standard deviation 1."""
    rng = np.random.default_rng(seed)
    fy, fx = np.meshgrid(np.fft.fftfreq(HEIGHT), np.fft.rfftfreq(WIDTH), indexing="ij")
    falling = np.hypot(fy, fx)
    falling[0, 0] = 1.0
    spectrum = np.fft.rfft2(rng.normal(size=(HEIGHT, WIDTH))) / falling**roughness
    spectrum[0, 0] = 0
    field = np.fft.irfft2(spectrum, (HEIGHT, WIDTH))
    return field / field.std()


def coverage(shape: str, dx: float = 0.0, dy: float = 0.0) -> np.ndarray:
    """An antialiased matte, drawn eight times as large and averaged."""
    large = Image.new("L", (WIDTH * 4, HEIGHT * 4), 0)
    draw = ImageDraw.Draw(large)
    if shape == "barrel":
        draw.rounded_rectangle([4 * (180 + dx), 4 * (140 + dy), 4 * (290 + dx), 4 * (340 + dy)], 100, fill=255)
    if shape == "crate":
        corners = [(250, 220), (390, 205), (400, 330), (262, 352)]
        draw.polygon([(4 * (u + dx), 4 * (v + dy)) for u, v in corners], fill=255)
    return np.asarray(large.resize((WIDTH, HEIGHT), Image.Resampling.BOX), np.float64)[..., None] / 255


REGIONS = (
    Region("barrel", ((180.0, 140.0), (290.0, 140.0), (290.0, 340.0), (180.0, 340.0))),
    Region("crate", ((250.0, 220.0), (390.0, 205.0), (400.0, 330.0), (262.0, 352.0))),
)


@dataclass(frozen=True)
class Parts:
    """What the composite is made of; each case changes one of them."""

    moved: tuple[float, float] = (0.0, 0.0)
    barrel_light: float = 1.0
    shadow: float = 0.45
    order: tuple[str, str] = ("barrel", "crate")
    fringe: float = 0.0
    words_at: float | None = None


def linear_picture(parts: Parts) -> np.ndarray:
    """Linear light R G B, 0..1."""
    ramp = np.linspace(0.55, 0.2, HEIGHT)[:, None, None] * np.array([1.0, 0.96, 0.9])
    picture = ramp * (1 + 0.18 * texture(1)[..., None]) + 0.004 * texture(2, 0.0)[..., None]
    if parts.shadow > 0:
        soft = cv2.GaussianBlur(np.roll(coverage("crate"), (30, 60), (0, 1))[..., 0], (0, 0), 9)[..., None]
        picture = picture * (1 - parts.shadow * soft)
    paint = {
        "barrel": np.array([0.32, 0.12, 0.07]) * (1 + 0.25 * texture(3)[..., None]) * parts.barrel_light,
        "crate": np.array([0.12, 0.2, 0.26]) * (1 + 0.25 * texture(4)[..., None]),
    }
    for name in parts.order:
        dx, dy = parts.moved if name == "barrel" else (0.0, 0.0)
        matte = coverage(name, dx, dy)
        colour = paint[name]
        if name == "barrel":
            colour = cv2.warpAffine(colour, np.float64([[1, 0, dx], [0, 1, dy]]), (WIDTH, HEIGHT))
            ring = cv2.dilate(matte, np.ones((3, 3)))[..., None] - matte
            picture = picture * (1 - ring * parts.fringe) + 0.9 * ring * parts.fringe
        picture = picture * (1 - matte) + colour * matte
    if parts.words_at is not None:
        matte = words(parts.words_at)
        picture = picture * (1 - matte) + 0.92 * matte
    return np.clip(picture, 0, 1)


def words(shift_px: float) -> np.ndarray:
    """Antialiased lettering of two sizes, moved right by a fraction of a pixel."""
    large = Image.new("L", (WIDTH * 4, HEIGHT * 4), 0)
    draw = ImageDraw.Draw(large)
    for size, row in ((14, 30), (26, 60)):
        font = ImageFont.load_default(size * 4)
        draw.text((4 * (40 + shift_px), 4 * row), "Terrace by the sea, from 199", font=font, fill=255)
    return np.asarray(large.resize((WIDTH, HEIGHT), Image.Resampling.BOX), np.float64)[..., None] / 255


def rendered(parts: Parts) -> np.ndarray:
    """8-bit sRGB."""
    return np.rint(SRGB.curves[0].to_encoded(linear_picture(parts)) * 255).astype(np.uint8)


def as_jpeg(samples: np.ndarray, quality: int, subsampling: str) -> np.ndarray:
    buffer = io.BytesIO()
    Image.fromarray(samples).save(buffer, "JPEG", quality=quality, subsampling=subsampling)
    with Image.open(buffer) as picture:
        return np.asarray(picture)


def with_noise(samples: np.ndarray) -> np.ndarray:
    """Up to one level of noise on every sample."""
    noise = np.random.default_rng(7).integers(-1, 2, samples.shape)
    return np.clip(samples.astype(int) + noise, 0, 255).astype(np.uint8)


def srgb(samples: np.ndarray) -> Shown:
    return Shown(samples, SRGB)


def harmless(name: str) -> tuple[Shown, Shown]:
    """Pairs that have to pass for the same."""
    whole = rendered(Parts())
    pairs = {
        "jpeg 92 to 85": lambda: (as_jpeg(whole, 92, "4:4:4"), as_jpeg(whole, 85, "4:2:0")),
        "jpeg 92 to 75": lambda: (as_jpeg(whole, 92, "4:4:4"), as_jpeg(whole, 75, "4:2:0")),
        "jpeg other subsampling": lambda: (as_jpeg(whole, 92, "4:4:4"), as_jpeg(whole, 92, "4:2:0")),
        "one level of noise": lambda: (whole, with_noise(whole)),
        "lettering half a pixel on": lambda: (rendered(Parts(words_at=0.0)), rendered(Parts(words_at=0.5))),
        "all of these": lambda: (
            as_jpeg(rendered(Parts(words_at=0.0)), 92, "4:4:4"),
            as_jpeg(with_noise(rendered(Parts(words_at=0.5))), 80, "4:2:0"),
        ),
    }
    first, second = pairs[name]()
    return srgb(first), srgb(second)


HARMLESS = (
    *("jpeg 92 to 85", "jpeg 92 to 75", "jpeg other subsampling", "one level of noise"),
    *("lettering half a pixel on", "all of these"),
)

DAMAGE = {
    "moved 1 px right": Parts(moved=(1, 0)),
    "moved 1 px left": Parts(moved=(-1, 0)),
    "moved 1 px down": Parts(moved=(0, 1)),
    "moved 0.8 px each way": Parts(moved=(0.8, -0.8)),
    "2 % lighter": Parts(barrel_light=1.02),
    "2 % darker": Parts(barrel_light=0.98),
    "shadow dropped": Parts(shadow=0.0),
    "shadow half as strong": Parts(shadow=0.22),
    "layer order swapped": Parts(order=("crate", "barrel")),
    "alpha fringe 1 px wide": Parts(fringe=1.0),
    "half an alpha fringe 1 px wide": Parts(fringe=0.5),
}


def damaged(name: str, coded: bool) -> tuple[Shown, Shown]:
    """Pairs that must not pass. coded: both also go through JPEG, at different qualities."""
    before, after = rendered(Parts()), rendered(DAMAGE[name])
    if coded:
        before, after = as_jpeg(before, 92, "4:4:4"), as_jpeg(after, 85, "4:2:0")
    return srgb(before), srgb(after)


def profile_lost() -> tuple[Shown, Shown]:
    """The same samples, once with their wide space and once taken for sRGB."""
    samples = rendered(Parts())
    return Shown(samples, DCF_OPTIONAL), srgb(samples)
