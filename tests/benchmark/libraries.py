"""The same picture as one would write it straight away on general-purpose libraries: region by region, no cache.

Each program decodes, places, shades and saves by its own library's means: Pillow in 8 bits (not in linear light),
Pillow with numpy, OpenCV with numpy, skia (half floats, linear). Shadows are the cut-outs' own coverage laid onto the
ground and blurred.
"""

import io
from pathlib import Path

import numpy as np

from tests.benchmark.placing import Job, Thing, read

SIGMA_PX = 14.0


def w1(folder: Path, out: Path, program: str) -> None:
    """One frame by one of PROGRAMS."""
    PROGRAMS[program](folder, read(folder, "w1")[0], out)


def w2(folder: Path, out: Path, program: str, count: int) -> None:
    """So many deliveries."""
    jobs = read(folder, "w2-few")
    for index in range(count):
        PROGRAMS[program](folder, jobs[index % len(jobs)], out / str(index))


def _view(window: tuple, size: tuple) -> np.ndarray:
    scale = size[0] / window[2]
    return np.array([[scale, 0, -scale * window[0]], [0, scale, -scale * window[1]], [0, 0, 1.0]])


def _region(matrix: np.ndarray, source: tuple[int, int], size: tuple[int, int], margin: int) -> tuple:
    """The box (left, top, right, bottom) of a view that a picture covers, or None."""
    width, height = source
    corners = np.array([[0, 0, 1], [width, 0, 1], [width, height, 1], [0, height, 1.0]]) @ matrix.T
    corners = corners[:, :2] / corners[:, 2:]
    low = np.clip(np.floor(corners.min(0)).astype(int) - margin, 0, size)
    high = np.clip(np.ceil(corners.max(0)).astype(int) + margin, 0, size)
    return None if np.any(high <= low) else (*low.tolist(), *high.tolist())


def _views(job: Job) -> list[tuple]:
    """(view matrix, size, window, deliveries): one view for all deliveries of one window."""
    _, _, _, window, size = job.deliveries[0]
    return [(_view(window, size), tuple(size), window, job.deliveries)]


# OpenCV and numpy, float32 in linear light.


def _tables() -> tuple[np.ndarray, np.ndarray]:
    codes = np.arange(256) / 255.0
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4).astype(np.float32)
    light = np.arange(65536) / 65535.0
    back = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return linear, np.rint(back * 255).astype(np.uint8)


def opencv_numpy(folder: Path, job: Job, out: Path) -> None:
    """Float32, only where something changes."""
    import cv2

    linear, back = _tables()
    plate = cv2.imread(str(folder / "plate.jpg"))
    cut_outs = {}
    for thing in job.things:
        encoded = cv2.imread(str(folder / thing.image), cv2.IMREAD_UNCHANGED)
        alpha = encoded[..., 3:].astype(np.float32) / 255
        cut_outs[thing.image] = np.dstack([cv2.LUT(np.ascontiguousarray(encoded[..., :3]), linear) * alpha, alpha])
    for view, size, window, deliveries in _views(job):
        frame = _opencv_plate(plate, window, size)
        for shade in (True, False):
            for thing in job.things:
                _opencv_lay(frame, cut_outs[thing.image], thing, view, shade, (linear, back))
        out.mkdir(parents=True, exist_ok=True)
        for name, kind, quality, _, _ in deliveries:
            options = [cv2.IMWRITE_JPEG_QUALITY, quality] if kind == "jpeg" else []
            cv2.imwrite(str(out / f"{name}.{'jpg' if kind == 'jpeg' else 'png'}"), frame, options)


def _opencv_plate(plate: np.ndarray, window: tuple, size: tuple) -> np.ndarray:
    import cv2

    left, top, width, height = (round(value) for value in window)
    part = plate[top : top + height, left : left + width]
    return part.copy() if (width, height) == size else cv2.resize(part, size, interpolation=cv2.INTER_AREA)


def _opencv_lay(frame: np.ndarray, cut_out: np.ndarray, thing: Thing, view: np.ndarray, shade: bool, tables) -> None:
    import cv2

    linear, back = tables
    matrix = view @ np.array(thing.shadow if shade else thing.onto)
    blur = SIGMA_PX * float(view[0, 0])
    box = _region(matrix, (cut_out.shape[1], cut_out.shape[0]), frame.shape[1::-1], int(3 * blur) if shade else 0)
    if box is None:
        return
    left, top, right, bottom = box
    there = frame[top:bottom, left:right]
    scale = float(np.sqrt(abs(np.linalg.det(matrix[:2, :2] / matrix[2, 2]))))
    source, shrunk = (cut_out[..., 3] if shade else cut_out), np.eye(3)
    if scale < 0.7:
        source = cv2.resize(source, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        shrunk = np.diag([cut_out.shape[1] / source.shape[1], cut_out.shape[0] / source.shape[0], 1.0])
    moved = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1.0]]) @ matrix @ shrunk
    shown = cv2.warpPerspective(source, moved, (right - left, bottom - top), flags=cv2.INTER_CUBIC)
    below = cv2.LUT(np.ascontiguousarray(there), linear)
    if shade:
        soft = cv2.GaussianBlur(shown, (0, 0), blur)[..., None]
        result = below * (1 - soft * (1 - np.array(thing.left[::-1], np.float32)))
    else:
        result = shown[..., :3] + below * (1 - shown[..., 3:])
    there[...] = back[(np.clip(result, 0, 1) * 65535 + 0.5).astype(np.uint16)]


# Pillow.


def _coefficients(matrix: np.ndarray) -> tuple:
    back = np.linalg.inv(matrix)
    return tuple((back / back[2, 2]).ravel()[:8])


def _pillow_save(frame, deliveries: list, out: Path) -> None:
    out.mkdir(parents=True, exist_ok=True)
    for name, kind, quality, _, _ in deliveries:
        options = {"quality": quality} if kind == "jpeg" else {"compress_level": 1, "compress_type": 2}
        data = io.BytesIO()
        frame.save(data, kind.upper(), **options)
        (out / f"{name}.{kind}").write_bytes(data.getvalue())


def _pillow_shown(picture, matrix: np.ndarray, box: tuple):
    """A picture through a homography, shrunk first where it gets much smaller."""
    from PIL import Image

    left, top, right, bottom = box
    scale = float(np.sqrt(abs(np.linalg.det(matrix[:2, :2] / matrix[2, 2]))))
    shrunk = np.eye(3)
    if scale < 0.5:
        factor = int(1 / scale)
        shrunk = np.diag([float(factor), float(factor), 1.0])
        picture = picture.reduce(factor)
    moved = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1.0]]) @ matrix @ shrunk
    size = (right - left, bottom - top)
    return picture.transform(size, Image.Transform.PERSPECTIVE, _coefficients(moved), Image.Resampling.BILINEAR)


def _pillow_plate(plate, window: tuple, size: tuple):
    from PIL import Image

    left, top, width, height = window
    if (round(width), round(height)) == size:
        return plate.copy()
    return plate.resize(size, Image.Resampling.BOX, box=(left, top, left + width, top + height))


def _pillow_layers(job: Job, cut_outs: dict, view: np.ndarray, size: tuple):
    """Thing, box, soft mask of its shadow or None, its picture or None: first all shadows, then all things."""
    from PIL import ImageFilter

    blur = SIGMA_PX * float(view[0, 0])
    for shade in (True, False):
        for thing in job.things:
            matrix, cut_out = view @ np.array(thing.shadow if shade else thing.onto), cut_outs[thing.image]
            box = _region(matrix, cut_out.size, size, int(3 * blur) if shade else 0)
            if box is not None and shade:
                mask = _pillow_shown(cut_out.getchannel(3), matrix, box)
                yield thing, box, mask.filter(ImageFilter.GaussianBlur(blur)), None
            elif box is not None:
                yield thing, box, None, _pillow_shown(cut_out, matrix, box).convert("RGBA")


def pillow(folder: Path, job: Job, out: Path) -> None:
    """8 bits, mixed as stored."""
    from PIL import Image

    plate = Image.open(folder / "plate.jpg").convert("RGB")
    cut_outs = {thing.image: Image.open(folder / thing.image).convert("RGBa") for thing in job.things}
    for view, size, window, deliveries in _views(job):
        frame = _pillow_plate(plate, window, size)
        for thing, box, mask, shown in _pillow_layers(job, cut_outs, view, size):
            if mask is not None:
                dark = mask.point([round(value * (1 - np.mean(thing.left))) for value in range(256)])
                frame.paste((0, 0, 0), box, dark)
            else:
                frame.paste(shown, box, shown)
        _pillow_save(frame, deliveries, out)


def pillow_numpy(folder: Path, job: Job, out: Path) -> None:
    """Decoded, warped and saved by Pillow, mixed in linear float32."""
    from PIL import Image

    linear, back = _tables()
    plate = Image.open(folder / "plate.jpg").convert("RGB")
    cut_outs = {thing.image: Image.open(folder / thing.image).convert("RGBa") for thing in job.things}
    for view, size, window, deliveries in _views(job):
        frame = np.array(_pillow_plate(plate, window, size))
        for thing, (left, top, right, bottom), mask, shown in _pillow_layers(job, cut_outs, view, size):
            there = frame[top:bottom, left:right]
            if mask is not None:
                soft = np.asarray(mask, np.float32)[..., None] / 255
                result = linear[there] * (1 - soft * (1 - np.array(thing.left, np.float32)))
            else:
                over = np.asarray(shown)
                alpha = over[..., 3:].astype(np.float32) / 255
                result = linear[over[..., :3]] * alpha + linear[there] * (1 - alpha)
            there[...] = back[(np.clip(result, 0, 1) * 65535 + 0.5).astype(np.uint16)]
        _pillow_save(Image.fromarray(frame), deliveries, out)


def skia(folder: Path, job: Job, out: Path) -> None:
    """Half floats in linear light; PNG by OpenCV, whose writer is five times as fast."""
    import cv2
    import skia as library

    decoded = {name: _skia_open(library, folder / name) for name in {thing.image for thing in job.things}}
    plate = _skia_open(library, folder / "plate.jpg")
    for view, size, _, deliveries in _views(job):
        space = library.ColorSpace.MakeSRGBLinear()
        info = library.ImageInfo.Make(
            *size, library.ColorType.kRGBA_F16_ColorType, library.AlphaType.kPremul_AlphaType, space
        )
        surface = library.Surface.MakeRaster(info)
        smooth = library.SamplingOptions(library.FilterMode.kLinear, library.MipmapMode.kLinear)
        with surface as canvas:
            canvas.setMatrix(_skia_matrix(library, view))
            canvas.drawImage(plate, 0, 0, smooth)
            for shade in (True, False):
                for thing in job.things:
                    canvas.setMatrix(_skia_matrix(library, view @ np.array(thing.shadow if shade else thing.onto)))
                    paint = library.Paint(AntiAlias=True)
                    if shade:
                        dark = library.Color4f(0, 0, 0, 1 - float(np.mean(thing.left)))
                        paint.setColorFilter(library.ColorFilters.Blend(dark, space, library.BlendMode.kSrcIn))
                        blur = SIGMA_PX * float(view[0, 0])
                        paint.setImageFilter(library.ImageFilters.Blur(blur, blur))
                    canvas.drawImage(decoded[thing.image], 0, 0, smooth, paint)
        frame = surface.makeImageSnapshot().toarray(
            colorType=library.ColorType.kBGRA_8888_ColorType, colorSpace=library.ColorSpace.MakeSRGB()
        )
        out.mkdir(parents=True, exist_ok=True)
        for name, kind, quality, _, _ in deliveries:
            options = [cv2.IMWRITE_JPEG_QUALITY, quality] if kind == "jpeg" else []
            picture = np.ascontiguousarray(frame[..., :3])
            cv2.imwrite(str(out / f"{name}.{'jpg' if kind == 'jpeg' else 'png'}"), picture, options)


def _skia_open(library, path: Path):
    return library.Image.open(str(path)).makeRasterImage()


def _skia_matrix(library, matrix: np.ndarray):
    result = library.Matrix()
    result.set9([float(value) for value in (matrix / matrix[2, 2]).ravel()])
    return result


PROGRAMS = {"pillow": pillow, "pillow+numpy": pillow_numpy, "opencv+numpy": opencv_numpy, "skia": skia}
NEEDS = {"pillow": "PIL", "pillow+numpy": "PIL", "opencv+numpy": "cv2", "skia": "skia"}
