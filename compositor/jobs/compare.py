"""The compare job: any two pictures, or two folders of pictures, such as two renders of a scene."""

import json
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from compositor.base.errors import LocatedFault, UnusableInput
from compositor.jobs.judging import Case, judged_by_file, overlaid
from compositor.jobs.looking import Allowance, allowance_for, open_look, small_jpeg, unusable_pictures
from compositor.measure.comparison import Region
from compositor.pixels.strips import run_all
from compositor.plan.change import PlanChange
from compositor.plan.difference import plan_changes
from compositor.report.verdict import STATUSES, Verdict, Verdicts, Views

_PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp", ".avif")
_REPORT = "report.json"
_VIEWS = 4  # of a picture on the page: before, new, difference, overlay
_FILES = {"approved": "first", "new": "second"}  # nothing was approved here
_WORDS = {"contact": "contact_px", "horizon": "horizon_px"}
"""Keys of a report that a plan calls otherwise."""


def compare_paths(approved: Path, new: Path, out: Path) -> Verdicts:
    """Compare two files, or the pictures of the same names in two folders. Raises UnusableInput.

    In folders, the debug overlays beside a report are left out, and the reports tell what moved.
    """
    for path in (approved, new):
        if not path.exists():
            raise UnusableInput([LocatedFault(str(path), 1, 1, "", "no such file or folder")])
    if approved.is_dir() != new.is_dir():
        file = new if approved.is_dir() else approved
        raise UnusableInput([LocatedFault(str(file), 1, 1, "", "is a file and the other a folder: name two alike")])
    folder = compare_folder(approved, new, out)
    if new.is_dir():
        verdicts = _folders(approved, new, folder)
    else:
        verdicts = [_files(new.name, approved, new, folder, allowance_for(_VIEWS))]
    verdicts = [replace(v, files={_FILES.get(kind, kind): file for kind, file in v.files.items()}) for v in verdicts]
    verdicts.sort(key=lambda verdict: STATUSES.index(verdict.status))
    return Verdicts(" and ".join(_told_apart(approved, new)), verdicts)


def compare_folder(approved: Path, new: Path, out: Path) -> Path:
    """Where a comparison leaves its page, record and pictures."""
    return out / f"{approved.stem}-{new.stem}.compare"


def _told_apart(approved: Path, new: Path) -> tuple[str, str]:
    """As much of two paths' ends as tells one from the other."""
    most = max(len(approved.parts), len(new.parts))
    ends = (tuple("/".join(path.parts[-count:]) for path in (approved, new)) for count in range(1, most + 1))
    one, other = next((pair for pair in ends if pair[0] != pair[1]), (approved.name, new.name))
    return one, other


def _folders(approved: Path, new: Path, folder: Path) -> list[Verdict]:
    before, after = _pictures(approved), _pictures(new)
    names = sorted({*before, *after})
    allowance = allowance_for(_VIEWS * len(names))
    tasks = [partial(_files, name, before.get(name), after.get(name), folder, allowance) for name in names]
    return run_all(tasks)


def _pictures(folder: Path) -> dict[str, Path]:
    """Pictures below a folder by their place in it."""
    found = sorted(path for path in folder.rglob("*") if path.suffix.lower() in _PICTURES and path.is_file())
    return {path.relative_to(folder).as_posix(): path for path in found if not _beside(path, folder)}


def _beside(picture: Path, folder: Path) -> bool:
    """Whether it is no picture of a render but something beside it: an overlay, layers, what a comparison left."""
    rendered = (picture.parent / _REPORT).exists()
    left = any(part.endswith((".verify", ".compare")) for part in picture.relative_to(folder).parts)
    return left or (rendered and (picture.stem.endswith("overlay") or picture.stem == "layers"))


def _files(name: str, approved: Path | None, new: Path | None, folder: Path, allowance: Allowance) -> Verdict:
    with unusable_pictures():
        if new is None:
            assert approved is not None
            look = open_look(approved)
            blank = Verdict(name, "orphaned", ("only in the first",), size_px=look.shown.size_px)
            view = Views(approved=small_jpeg(look.on(1.0), allowance=allowance)[0])
            return replace(blank, files={"approved": str(approved)}, views=view)
        look = open_look(new)
        if approved is None:
            blank = Verdict(name, "missing", ("only in the second",), size_px=look.shown.size_px)
            view = Views(new=small_jpeg(look.on(1.0), allowance=allowance)[0])
            return replace(blank, files={"new": str(new)}, views=view)
        before, after, place = _report(approved), _report(new), Path(name)
        whole = after.get("plate", {}).get("size") == list(look.shown.size_px)
        case = Case(
            name,
            new,
            folder / "pictures" / place.parent,
            place.name,
            _changes(before, after),
            _regions(after) if whole else (),
            allowance=allowance,
        )
        verdict = judged_by_file(case, approved)
        overlay = new.parent / "overlay.png"
        return overlaid(verdict, overlay, allowance) if whole and overlay.exists() else verdict


def _report(picture: Path) -> Mapping[str, Any]:
    """The report beside a picture; empty where there is none, or no readable one."""
    try:
        told = json.loads((picture.parent / _REPORT).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return told if isinstance(told, dict) else {}


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[PlanChange, ...]:
    if not before or not after:
        return ()
    try:
        return plan_changes(_as_plan(before), _as_plan(after))
    except (KeyError, TypeError, ValueError, IndexError):
        return ()  # reports of another kind have no say


def _as_plan(report: Mapping[str, Any]) -> dict[str, Any]:
    """What a report and a plan both tell, in the plan's words."""
    told = ("name", "contact", "scale_ratio")
    elements = [{_WORDS.get(key, key): element[key] for key in told} for element in report["elements"]]
    return {"elements": elements, "plate": {"horizon_px": report["plate"]["horizon"]}}


def _regions(report: Mapping[str, Any]) -> tuple[Region, ...]:
    """Boxes of elements where the picture shows the report's whole frame."""
    found = []
    for element in report.get("elements", ()):
        left, top, right, bottom = element.get("box") or (0.0, 0.0, 0.0, 0.0)
        found.append(Region(str(element["name"]), ((left, top), (right, top), (right, bottom), (left, bottom))))
    return tuple(found)
