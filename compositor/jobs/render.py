"""The render job: composites, debug overlay, layered file and report of a scene."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from time import perf_counter

from compositor.base.arrays import Pixels
from compositor.colour.coding import as_eight_bits
from compositor.deliver.openraster import openraster_bytes
from compositor.deliver.writing import encode_delivery
from compositor.files.atomic import write_whole
from compositor.files.png import encode_png
from compositor.jobs.inputs import hashes
from compositor.jobs.outcome import Outcome, Solved
from compositor.jobs.pictures import Prepared, prepared
from compositor.jobs.solving import Problem, solved, versions
from compositor.overlay.draw import draw_overlay
from compositor.pixels.picture import Picture
from compositor.plan.model import Delivery
from compositor.render.compose import compose
from compositor.render.layers import Layer, render_layers
from compositor.render.view import View, decode_opaque, view_plate
from compositor.report.record import as_json, record

ENDINGS = {"png": "png", "jpeg": "jpg"}


def render_scene(path: Path, settings: list[tuple[str, str]], out: Path) -> Outcome:
    """Render a scene into out/<file's stem>/base. Raises UnusableInput before anything is written."""
    clock = Stopwatch()
    with clock.running("solve"):
        problem = solved(path, settings)
    folder = out / path.stem / "base"
    files = _rendered(problem, clock)
    # The record in the file is the same for the same input: no clock in it.
    data = record(problem.plan, problem.findings, hashes(problem.loaded.scene, path.parent), versions(), {})
    with clock.running("write"):
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            write_whole(folder / name, content)
        write_whole(folder / "report.json", as_json(data).encode())
    told = {**data, "timings_s": clock.rounded()}
    names = tuple(str(folder / name) for name in (*files, "report.json"))
    return Outcome([Solved("base", problem.plan, problem.findings, told, names)])


@dataclass
class Stopwatch:
    """Seconds spent, by what they were spent on."""

    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def running(self, name: str) -> Iterator[None]:
        """Adds the time inside to a name."""
        start = perf_counter()
        try:
            yield
        finally:
            self.seconds[name] = self.seconds.get(name, 0.0) + perf_counter() - start

    def rounded(self) -> dict[str, float]:
        """To a tenth of a millisecond."""
        return {name: round(value, 4) for name, value in self.seconds.items()}


def _rendered(problem: Problem, clock: Stopwatch) -> dict[str, bytes]:
    """Every file of the variant but its report, by name."""
    plan = problem.plan
    with clock.running("prepare"):
        ready = prepared(problem)
    with clock.running("compose"):
        whole = View.of_frame(plan.plate.size_px)
        layers, frame = _composed(problem, ready, whole)
    files: dict[str, bytes] = {}
    for delivery in plan.deliveries:
        with clock.running("compose"):
            samples = _delivered(problem, ready, delivery, frame)
        with clock.running("encode"):
            name = f"{delivery.name}.{ENDINGS[delivery.format]}"
            files[name] = encode_delivery(samples, ready.space, delivery, ready.dpi)
    with clock.running("overlay"):
        overlay = draw_overlay(plan, problem.findings, as_eight_bits(frame))
        files["overlay.png"] = encode_png(overlay, ready.space.icc, ready.dpi)
    with clock.running("layers"):
        bottom = Layer("plate", "plate", "over", (0, 0), Picture(decode_opaque(ready.plate, ready.space)))
        files["layers.ora"] = openraster_bytes([bottom, *layers], frame, ready.space, ready.dpi)
    return files


def _composed(problem: Problem, ready: Prepared, view: View) -> tuple[list[Layer], Pixels]:
    """The layers without the plate, and the encoded frame, of a view."""
    plate = view_plate(ready.plate, ready.space, view)
    layers = render_layers(problem.plan, ready.pictures, plate, ready.space, view)
    return layers, compose(plate, ready.space, layers)


def _delivered(problem: Problem, ready: Prepared, delivery: Delivery, frame: Pixels) -> Pixels:
    """A delivery's picture: a cut of the frame where nothing is scaled, else rendered at its own size."""
    view = View.of_window(delivery.window_px, delivery.size_px)
    if view.cut_px is not None:
        return view_plate(frame, ready.space, view)
    return _composed(problem, ready, view)[1]
