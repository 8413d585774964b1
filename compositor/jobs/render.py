"""The render job: deliveries, debug overlays, layered files and reports of a scene's variants."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from time import perf_counter

from compositor.base.errors import LocatedFault, UnusableInput
from compositor.colour.coding import as_eight_bits
from compositor.deliver.layered import exr_bytes, tiff_bytes
from compositor.deliver.openraster import openraster_bytes
from compositor.deliver.writing import ENDINGS, encode_delivery
from compositor.files.atomic import bytes_checksum, place_fault, remove_parts, write_whole
from compositor.files.png import encode_png
from compositor.jobs.batch import Choice, run_batch
from compositor.jobs.contents import Contents
from compositor.jobs.delivering import Frame, delivered, delivery_space, shows_frame
from compositor.jobs.estimating import rendering_bytes
from compositor.jobs.inputs import hashes
from compositor.jobs.journal import Journal
from compositor.jobs.keys import key_of
from compositor.jobs.outcome import Labour, Outcome, Solved
from compositor.jobs.pictures import prepared
from compositor.jobs.progress import Progress
from compositor.jobs.solving import Problem
from compositor.jobs.versions import versions
from compositor.overlay.draw import draw_overlay
from compositor.pixels.picture import Picture
from compositor.plan.cropped import cropped_plan
from compositor.render.compose import compose_linear
from compositor.render.layers import Layer
from compositor.render.view import decode_opaque
from compositor.report.record import as_json, record

OUT_OPTION = "--out"

OVERLAY, LAYERS = "overlay", "layers"
"""What can be left out: all overlays; all layered files."""


def render_scene(
    path: Path,
    settings: Sequence[tuple[str, str]],
    out: Path,
    patterns: Sequence[str] = (),
    jobs: int | None = None,
    progress: Progress | None = None,
) -> Outcome:
    """Render the variants of a scene into out/<file's stem>/<variant>. Raises UnusableInput (see run_batch)."""
    return render_variants(Choice(path, settings, patterns, jobs, progress), Rendering(out))


@dataclass(frozen=True)
class Rendering:
    """What is rendered. out: where to. without: what is not wanted, of OVERLAY and LAYERS. resume: variants that are
    done already are left as they are."""

    out: Path
    without: frozenset[str] = frozenset()
    resume: bool = False


def render_variants(choice: Choice, rendering: Rendering) -> Outcome:
    """Render variants into out/<file's stem>/<variant>. Raises UnusableInput (see run_batch)."""
    if choice.means.scheduler is not None:
        rendering = replace(rendering, out=rendering.out.absolute())
    Journal(rendering.out, choice.path.stem).tidy()
    return run_batch(choice, partial(render_variant, rendering))


def render_variant(rendering: Rendering, variant: str, problem: Problem) -> Solved:
    """One variant's files, written only after all of them were made. Raises UnusableInput."""
    scene, plan, findings = problem.loaded.path.stem, problem.plan, problem.findings
    folder, journal = rendering.out / scene / variant, Journal(rendering.out, scene)
    _check_place(folder)
    contents = Contents(problem.loaded.path.parent, problem.inputs.shelf)
    digests = hashes(problem.loaded.scene, problem.loaded.path.parent, problem.inputs.shelf)
    # The record in the file is the same for the same input: no clock in it.
    data = record(plan, findings, digests, versions(), {})
    report = as_json(data)
    key = key_of(("variant", plan, report, sorted(rendering.without)), contents)
    done = journal.done(variant, key) if rendering.resume else None
    if done is not None:
        return Solved(variant, plan, findings, data, _named(folder, done), Labour(done=True))
    clock = Stopwatch()
    with problem.inputs.shelf.gate.working(rendering_bytes(plan, rendering.without)):
        files, labour = _rendered(problem, clock, rendering.without)
    files["report.json"] = report.encode()
    with clock.running("write"):
        _write(folder, files)
        journal.let_go(variant, files)
        journal.enter(variant, key, {name: bytes_checksum(content) for name, content in files.items()})
    return Solved(variant, plan, findings, {**data, "timings_s": clock.rounded()}, _named(folder, files), labour)


def _named(folder: Path, names: Iterable[str]) -> tuple[str, ...]:
    return tuple(str(folder / name) for name in names)


def _check_place(folder: Path) -> None:
    """Before a picture is made. Raises UnusableInput where its files could not be written."""
    reason = place_fault(folder)
    if reason is not None:
        raise _unwritable(reason, str(folder))


def _write(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files in their order. Raises UnusableInput with the one that could not be written."""
    remove_parts(folder)
    for name, content in files.items():
        try:
            write_whole(folder / name, content)
        except OSError as error:
            raise _unwritable(f"cannot be written: {error.strerror or error}", str(folder / name)) from error


def _unwritable(what: str, given: str) -> UnusableInput:
    return UnusableInput([LocatedFault(OUT_OPTION, 1, 1, "", what, given)])


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


def _rendered(problem: Problem, clock: Stopwatch, without: frozenset[str]) -> tuple[dict[str, bytes], Labour]:
    """Every file of the variant but its report, by name, and what it took."""
    plan = problem.plan
    with clock.running("prepare"):
        ready = prepared(problem)
    frame = Frame(problem, ready, LAYERS not in without)
    files: dict[str, bytes] = {}
    whole = None
    for delivery in plan.deliveries:
        with clock.running("compose"):
            samples = delivered(frame, delivery)
        with clock.running("encode"):
            space = delivery_space(ready, delivery)
            data = encode_delivery(samples, space, delivery, ready.dpi)
            files[f"{delivery.name}.{ENDINGS[delivery.format]}"] = data
            if LAYERS not in without and shows_frame(frame, delivery, samples):
                whole = data
        if delivery.overlay and OVERLAY not in without:
            with clock.running("overlay"):
                drawn = draw_overlay(cropped_plan(plan, delivery), problem.findings, as_eight_bits(samples))
                files[f"{delivery.name}-overlay.png"] = encode_png(drawn, space.icc, ready.dpi)
    if OVERLAY not in without:
        with clock.running("compose"):
            samples = as_eight_bits(frame.samples)
        with clock.running("overlay"):
            overlay = draw_overlay(plan, problem.findings, samples)
            files["overlay.png"] = encode_png(overlay, ready.space.icc, ready.dpi)
    if LAYERS not in without:
        with clock.running("layers"):
            files |= _layered(frame, whole)
    return files, Labour(ready.keeper.tally.kept, ready.keeper.tally.made)


def _layered(frame: Frame, whole: bytes | None) -> dict[str, bytes]:
    """The layered files, by name. whole: the frame as a PNG file, where it has been written."""
    problem, ready = frame.problem, frame.ready
    bottom = Layer("plate", "plate", "over", (0, 0), Picture(decode_opaque(ready.plate, ready.space)))
    stack = [bottom, *frame.layers]
    files = {"layers.ora": openraster_bytes(stack, frame.samples, ready.space, ready.dpi, merged=whole)}
    if "tiff" in problem.plan.layered:
        files["layers.tif"] = tiff_bytes(stack, frame.samples, ready.space, ready.dpi)
    if "exr" in problem.plan.layered:
        files["layers.exr"] = exr_bytes(stack, compose_linear(ready.plate, ready.space, frame.layers), ready.space)
    return files
