"""What a run of comparisons leaves beside its pictures: a page, a record, and JUnit XML where it is asked for."""

from collections.abc import Sequence
from dataclasses import fields, replace
from functools import partial
from pathlib import Path

from compositor.deliver.writing import ENDINGS
from compositor.files.atomic import write_whole
from compositor.jobs.looking import lighter_jpeg, open_look, small_jpeg
from compositor.jobs.outcome import Solved
from compositor.pixels.strips import run_all
from compositor.report.junit import junit_xml
from compositor.report.page import Entry, gallery_page, verdict_page
from compositor.report.verdict import Verdicts, Views

PAGE, RECORD = "page.html", "record.json"
_MANY = 60  # pictures of up to 200 kB on one page


def publish(verdicts: Verdicts, folder: Path, junit: Path | None, before: str = "Approved") -> Verdicts:
    """Write page and record into a folder, JUnit XML to a file. The verdicts, with the page's place. Raises OSError."""
    light = _light([verdict.views for verdict in verdicts.verdicts])
    shown = [replace(verdict, views=views) for verdict, views in zip(verdicts.verdicts, light, strict=True)]
    write_whole(folder / PAGE, verdict_page(replace(verdicts, verdicts=shown), before).encode())
    write_whole(folder / RECORD, verdicts.as_json().encode())
    if junit is not None:
        write_whole(junit, junit_xml(verdicts))
    return replace(verdicts, page=str(folder / PAGE))


def publish_gallery(scene: Path, variants: Sequence[Solved], out: Path) -> Path:
    """A page of every delivery of rendered variants, nothing else on it, beside their folders. Raises OSError."""
    entries = []
    for solved in variants:
        for delivery in solved.plan.deliveries:
            path = Path(solved.files[0]).parent / f"{delivery.name}.{ENDINGS[delivery.format]}"
            view = small_jpeg(open_look(path).on(1.0))[0]
            entries.append(Entry(f"{solved.variant}/{delivery.name}", Views(new=view), delivery.size_px))
    light = _light([entry.views for entry in entries])
    entries = [replace(entry, views=views) for entry, views in zip(entries, light, strict=True)]
    title = next((solved.plan.title for solved in variants if solved.plan.title), scene.stem)
    file = out / scene.stem / PAGE
    write_whole(file, gallery_page(title, entries).encode())
    return file


def _light(views: Sequence[Views]) -> Sequence[Views]:
    """The same pictures, smaller where there are so many that the page could not be mailed."""
    names = [field.name for field in fields(Views)]
    if sum(getattr(each, name) is not None for each in views for name in names) <= _MANY:
        return views

    def lighter(each: Views) -> Views:
        return Views(**{name: lighter_jpeg(data) for name in names if (data := getattr(each, name)) is not None})

    return run_all([partial(lighter, each) for each in views])
