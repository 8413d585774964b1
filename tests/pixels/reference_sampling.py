"""Slow, plain references for the sampling tests: float64 numpy only, nothing of the project but its window type.

The picture is the continuous function that linear interpolation of its samples gives (empty beyond the frame), an
output pixel its mean over the pixel's square, taken at n × n points.
"""

import numpy as np

from compositor.pixels.footprint import Window

SRGB_THRESHOLD = 0.0031308  # IEC 61966-2-1:1999, with slope 12.92, gain 1.055, exponent 1 / 2.4


def box_reference(source, homography, window, points=16):
    """Brute force: (h, w, channels) means over points × points looks per output pixel."""
    back = np.linalg.inv(homography)
    rows, columns = np.mgrid[: window.height, : window.width]
    total = np.zeros((window.height, window.width, source.shape[2]))
    for j in range(points):
        for i in range(points):
            x = columns + window.left + (i + 0.5) / points
            y = rows + window.top + (j + 0.5) / points
            u, v, w = (back[k, 0] * x + back[k, 1] * y + back[k, 2] for k in range(3))
            front = w > 0
            safe = np.where(front, w, 1.0)
            total += np.where(front[..., None], interpolated(source, u / safe, v / safe), 0.0)
    return total / points**2


def interpolated(source, u, v):
    """Linear interpolation at continuous corner-origin coordinates; empty beyond the frame."""
    height, width = source.shape[:2]
    u, v = np.clip(u, -2, width + 2), np.clip(v, -2, height + 2)
    x, y = u - 0.5, v - 0.5
    i, j = np.floor(x).astype(int), np.floor(y).astype(int)
    fx, fy = (x - i)[..., None], (y - j)[..., None]
    padded = np.pad(source, ((3, 4), (3, 4), (0, 0)))
    i, j = i + 3, j + 3
    upper = padded[j, i] * (1 - fx) + padded[j, i + 1] * fx
    lower = padded[j + 1, i] * (1 - fx) + padded[j + 1, i + 1] * fx
    return upper * (1 - fy) + lower * fy


def photo_like(size, seed=1):
    """Premultiplied linear (size, size, 4): 1/f texture, hard edges, a matte with a soft edge."""
    rng = np.random.default_rng(seed)
    frequency = np.fft.fftfreq(size)
    radius = np.hypot(*np.meshgrid(frequency, frequency))
    radius[0, 0] = 1.0
    noise = [np.fft.ifft2(np.fft.fft2(rng.normal(size=(size, size))) / radius).real for _ in range(3)]
    texture = 0.45 + 0.13 * np.stack([n / n.std() for n in noise], axis=-1)
    y, x = np.mgrid[:size, :size] + 0.5
    for _ in range(12):
        angle, (cx, cy) = rng.uniform(0, np.pi), rng.uniform(0, size, 2)
        across = np.cos(angle) * (x - cx) + np.sin(angle) * (y - cy)
        along = -np.sin(angle) * (x - cx) + np.cos(angle) * (y - cy)
        inside = np.clip(rng.uniform(10, 60) - abs(across) + 0.5, 0, 1) * np.clip(
            rng.uniform(20, 120) - abs(along) + 0.5, 0, 1
        )
        texture = texture * (1 - inside[..., None]) + inside[..., None] * rng.uniform(0, 1, 3)
    colour = np.clip(texture, 0, 1) ** 2.2
    angle = np.arctan2(y - size / 2, x - size / 2)
    shape = np.hypot(x - size / 2, y - size / 2) + size / 25 * np.sin(5 * angle)
    alpha = np.clip((size * 0.42 - shape) / 6 + 0.5, 0, 1)[..., None]
    return np.concatenate([colour * alpha, alpha], axis=2)


def zone_plate(size):
    """(size, size, 4), opaque: frequency grows with the radius to half a cycle per px at the middle of the edges."""
    y, x = np.mgrid[:size, :size] + 0.5 - size / 2
    rings = 0.5 + 0.5 * np.cos(np.pi * (x**2 + y**2) / size)
    return np.stack([rings, rings, rings, np.ones_like(rings)], axis=-1)


def placed(scale, perspective=6e-5):
    """A homography of about this scale with a little turn and perspective."""
    return np.array([[scale, 0.03 * scale, 7.3], [-0.02 * scale, scale, 5.7], [0.6 * perspective, perspective, 1.0]])


def window_of(homography, size_px):
    """The window that holds a whole source of (width, height), with 3 px around it."""
    width, height = size_px
    corners = np.array([[0, 0, 1], [width, 0, 1], [width, height, 1], [0, height, 1.0]]) @ homography.T
    corners = corners[:, :2] / corners[:, 2:]
    low, high = np.floor(corners.min(0)).astype(int) - 3, np.ceil(corners.max(0)).astype(int) + 3
    return Window(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))


def as_uint16(values):
    return np.rint(np.clip(values, 0, 1) * 65535).astype(np.uint16)


def psnr_db(first, second):
    return float(10 * np.log10(1 / np.mean((first - second) ** 2)))


def aliasing(rendered, homography, window, size):
    """Energy where the zone plate's own frequency lies beyond 1.3 × the output's Nyquist frequency.

    There a perfect render is flat grey; what varies is alias. RMS of the first channel about one half, over output
    pixels at least 3 px inside the frame of a zone plate of that size.
    """
    back = np.linalg.inv(homography)
    y, x = np.mgrid[: window.height, : window.width] + 0.5
    x, y = x + window.left, y + window.top
    u, v, w = (back[k, 0] * x + back[k, 1] * y + back[k, 2] for k in range(3))
    u, v = u / w, v / w
    fu, fv = (u - size / 2) / size, (v - size / 2) / size  # cycles per source px
    du = [(back[0, k] - u * back[2, k]) / w for k in range(2)]
    dv = [(back[1, k] - v * back[2, k]) / w for k in range(2)]
    frequency = np.hypot(fu * du[0] + fv * dv[0], fu * du[1] + fv * dv[1])  # cycles per output px
    margin = 3 * np.hypot(du[0], dv[1])
    inside = (u > margin) & (u < size - margin) & (v > margin) & (v < size - margin)
    beyond = inside & (frequency > 0.65)
    return float(np.sqrt(np.mean((rendered[..., 0][beyond] - 0.5) ** 2)))
