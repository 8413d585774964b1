"""The floor: every input decoded once, the pixels under the layers touched once, every output encoded. No picture.

It has as many threads as the product beside it: two cores at work take more CPU time each than one alone does.
"""

from functools import partial
from pathlib import Path

import cv2
import numpy as np

from compositor.pixels.strips import run_all
from tests.benchmark.placing import Job, read


def w1(folder: Path, out: Path, threads: int) -> None:
    """One frame."""
    job = read(folder, "w1")[0]
    plate = decoded(folder / "plate.jpg")
    run_all([partial(_only_decoded, folder / thing.image) for thing in job.things], threads)
    for thing in job.things:
        touch(plate, thing.onto, 3000, 2000)
    save(plate, job, out)


def w2(folder: Path, out: Path, count: int, threads: int) -> None:
    """Deliveries with a cut-out of their own each; plate and the other cut-outs are decoded once."""
    jobs = read(folder, "w2-few")
    plate = decoded(folder / "plate.jpg")
    shared = {thing.image for thing in jobs[0].things} & {thing.image for thing in jobs[1].things}
    run_all([partial(_only_decoded, folder / image) for image in sorted(shared)], threads)

    def delivery(index: int) -> None:
        job = jobs[index % len(jobs)]
        for thing in job.things:
            if thing.image not in shared:
                decoded(folder / thing.image)
        _, _, _, window, (width, height) = job.deliveries[0]
        left, top = int(window[0]), int(window[1])
        save(plate[top : top + height, left : left + width] + np.uint8(1), job, out / str(index))

    run_all([partial(delivery, index) for index in range(count)], threads)


def _only_decoded(path: Path) -> None:
    decoded(path)


def decoded(path: Path) -> np.ndarray:
    """By the fastest decoder that is there."""
    from compositor.files.decode import read_pixels
    from compositor.files.header import read_file

    return read_pixels(read_file(path))


def touch(plate: np.ndarray, onto: list, width: int, height: int) -> None:
    """Read and write the box of the frame that a picture covers."""
    corners = np.array([[0, 0, 1], [width, 0, 1], [width, height, 1], [0, height, 1.0]]) @ np.array(onto).T
    corners = corners[:, :2] / corners[:, 2:]
    left, top = np.maximum(corners.min(0), 0).astype(int)
    right, bottom = corners.max(0).astype(int)
    there = plate[top:bottom, left:right]
    cv2.add(there, (1.0, 1.0, 1.0), dst=there)


def save(picture: np.ndarray, job: Job, out: Path) -> None:
    """By the product's own encoders."""
    from compositor.files.jpeg import encode_jpeg
    from compositor.files.png import encode_png

    out.mkdir(parents=True, exist_ok=True)
    for name, kind, quality, _, _ in job.deliveries:
        data = encode_png(picture) if kind == "png" else encode_jpeg(picture, quality)
        (out / f"{name}.{kind}").write_bytes(data)
