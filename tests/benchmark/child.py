"""One program, alone in a fresh process: python -m tests.benchmark.child PROGRAM WORK FOLDER OUT [COUNT [THREADS]].

Prints what it took as one line of JSON. What is imported before is not counted.
"""

import json
import resource
import sys
import time
from pathlib import Path

FAST = ("simplejpeg", "imagecodecs", "zlib_ng", "zlib_ng.zlib_ng")


def main(program: str, work: str, folder: Path, out: Path, count: int = 1, threads: int = 2) -> None:
    """Run it and tell."""
    if program.endswith("-base"):
        for name in FAST:
            sys.modules[name] = None  # as if it were not installed
    run = _prepared(program, work, folder, out, count, threads)
    if threads == 1:
        _work_alone()
    before, wall, waited = resource.getrusage(resource.RUSAGE_SELF), time.perf_counter(), _waited()
    more = run() or {}
    after = resource.getrusage(resource.RUSAGE_SELF)
    told = {
        "user_s": after.ru_utime - before.ru_utime,
        "system_s": after.ru_stime - before.ru_stime,
        "wall_s": time.perf_counter() - wall,
        "waited_s": _waited() - waited,
        "peak_mb": _peak_mb(after.ru_maxrss / 1024),
        **more,
    }
    print(json.dumps(told))


def _prepared(program: str, work: str, folder: Path, out: Path, count: int, threads: int):
    """What to run, everything imported and loaded that is not part of the work."""
    name = program.removesuffix("-base").removesuffix("-fast")
    if name in ("floor", "product"):
        for module in FAST[:3] if not program.endswith("-base") else ():
            _import(module)
    if name == "floor":
        from tests.benchmark import floor

        w1, w2 = (lambda: floor.w1(folder, out, threads)), (lambda: floor.w2(folder, out, count, threads))
        return w1 if work == "w1" else w2
    if name == "product":
        from tests.benchmark import product

        if work == "warm":
            return lambda: product.warm(folder, count)
        return lambda: product.run(work, folder, out, count, threads)
    from tests.benchmark import libraries

    for module in ("PIL.Image", "PIL.ImageFilter", "PIL.JpegImagePlugin", "PIL.PngImagePlugin", "cv2", "skia"):
        _import(module)
    if work == "w1":
        return lambda: libraries.w1(folder, out, name)
    return lambda: libraries.w2(folder, out, name, count)


def _work_alone() -> None:
    """Strips of one picture are not shared out either, so that it is one thread in truth."""
    from compositor.pixels.strips import work_alone

    work_alone()


def _import(name: str) -> None:
    try:
        __import__(name)
    except ImportError:
        return
    if name == "imagecodecs":  # loads its parts when they are first used
        sys.modules[name].png_decode  # noqa: B018
        sys.modules[name].jpeg8_encode  # noqa: B018


def _peak_mb(otherwise: float) -> float:
    """This program's own; what getrusage tells counts the one that started it (Linux)."""
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
    except OSError:
        return otherwise
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM")), otherwise)


def _waited() -> float:
    """Seconds that the main thread was ready to run and another process ran instead (Linux)."""
    try:
        return int(Path("/proc/self/schedstat").read_text().split()[1]) / 1e9
    except OSError:
        return 0.0


if __name__ == "__main__":
    _, program, work, folder, out, *rest = sys.argv
    main(program, work, Path(folder), Path(out), *(int(value) for value in rest))
