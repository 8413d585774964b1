"""What a run of comparisons leaves beside its pictures: a page, a record, and JUnit XML where it is asked for."""

from collections.abc import Sequence
from dataclasses import fields, replace
from functools import partial
from pathlib import Path

from compositor.deliver.writing import ENDINGS
from compositor.files.atomic import write_whole
from compositor.jobs.looking import PAGE_BYTES, allowance_for, lighter_jpeg, open_look, small_jpeg
from compositor.jobs.outcome import Solved
from compositor.pixels.strips import run_all
from compositor.report.junit import junit_xml
from compositor.report.page import Entry, gallery_page, verdict_page
from compositor.report.verdict import Verdicts, Views

PAGE, RECORD = "page.html", "record.json"
_SMALLER = ((False, 512), (True, 720), (True, 512), (True, 384))
"""What is done until a page is light enough: whether to all pictures or only to those that match, and to which side."""


def publish(verdicts: Verdicts, folder: Path, junit: Path | None, before: str = "Approved") -> Verdicts:
    """Write page and record into a folder, JUnit XML to a file. The verdicts, with the page's place. Raises OSError."""
    light = _light([each.views for each in verdicts.verdicts], [each.passes for each in verdicts.verdicts])
    shown = [replace(verdict, views=views) for verdict, views in zip(verdicts.verdicts, light, strict=True)]
    write_whole(folder / PAGE, verdict_page(replace(verdicts, verdicts=shown), before).encode())
    write_whole(folder / RECORD, verdicts.as_json().encode())
    if junit is not None:
        write_whole(junit, junit_xml(verdicts))
    return replace(verdicts, page=str(folder / PAGE))


def publish_gallery(scene: Path, variants: Sequence[Solved], out: Path) -> Path:
    """A page of every delivery of rendered variants, nothing else on it, beside their folders. Raises OSError."""
    entries = []
    allowance = allowance_for(sum(len(solved.plan.deliveries) for solved in variants))
    for solved in variants:
        for delivery in solved.plan.deliveries:
            path = Path(solved.files[0]).parent / f"{delivery.name}.{ENDINGS[delivery.format]}"
            view = small_jpeg(open_look(path).on(1.0), allowance=allowance)[0]
            entries.append(Entry(f"{solved.variant}/{delivery.name}", Views(new=view), delivery.size_px))
    light = _light([entry.views for entry in entries], [True] * len(entries))
    entries = [replace(entry, views=views) for entry, views in zip(entries, light, strict=True)]
    title = next((solved.plan.title for solved in variants if solved.plan.title), scene.stem)
    file = out / scene.stem / PAGE
    write_whole(file, gallery_page(title, entries).encode())
    return file


def _light(views: Sequence[Views], quiet: Sequence[bool]) -> Sequence[Views]:
    """The same pictures, smaller where all of them would be too much for a page; quiet: those nobody has to look at."""
    for everybody, side_px in _SMALLER:
        if sum(len(data) for each in views for data in _data(each).values()) <= PAGE_BYTES:
            return views
        tasks = [
            partial(_lighter, each, side_px if everybody or still else None)
            for each, still in zip(views, quiet, strict=True)
        ]
        views = run_all(tasks)
    return views


def _lighter(views: Views, side_px: int | None) -> Views:
    if side_px is None:
        return views
    return Views(**{name: lighter_jpeg(data, side_px) for name, data in _data(views).items()})


def _data(views: Views) -> dict[str, bytes]:
    found = {field.name: getattr(views, field.name) for field in fields(Views)}
    return {name: data for name, data in found.items() if data is not None}
