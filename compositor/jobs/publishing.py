"""What a run of comparisons leaves beside its pictures: a page, a record, and JUnit XML where it is asked for."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from compositor.deliver.writing import ENDINGS
from compositor.files.atomic import write_whole
from compositor.jobs.looking import open_look, small_jpeg
from compositor.jobs.outcome import Solved
from compositor.report.junit import junit_xml
from compositor.report.page import Entry, gallery_page, verdict_page
from compositor.report.verdict import Verdicts, Views

PAGE, RECORD = "page.html", "record.json"


def publish(verdicts: Verdicts, folder: Path, junit: Path | None, before: str = "Approved") -> Verdicts:
    """Write page and record into a folder, JUnit XML to a file. The verdicts, with the page's place. Raises OSError."""
    write_whole(folder / PAGE, verdict_page(verdicts, before).encode())
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
    title = next((solved.plan.title for solved in variants if solved.plan.title), scene.stem)
    file = out / scene.stem / PAGE
    write_whole(file, gallery_page(title, entries).encode())
    return file
