"""One picture's verdict: the plan first, then the pixels."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from compositor.base.arrays import Floats, apply_homography
from compositor.base.tolerances import PICTURE, PictureTolerances
from compositor.files.atomic import write_whole
from compositor.files.jpeg import encode_jpeg
from compositor.jobs.looking import SMALL, Allowance, Look, fact_changes, open_look, small_jpeg
from compositor.jobs.proofs import Proof, small_picture
from compositor.measure.comparison import Comparison, Region, Shown, compare_pictures
from compositor.measure.difference_picture import difference_picture
from compositor.plan.change import PlanChange
from compositor.plan.cropped import cropped_plan
from compositor.plan.model import Delivery, Plan
from compositor.report.verdict import Verdict, Views

_DIFFERENCE_QUALITY = 85


@dataclass(frozen=True)
class Case:
    """A picture to be judged. file: the new one; folder: where small pictures of it are put, named after stem.

    allowance: of pictures on the page, where nothing small was approved.
    """

    name: str
    file: Path
    folder: Path
    stem: str
    plan_changes: tuple[PlanChange, ...] = ()
    regions: tuple[Region, ...] = ()
    tolerances: PictureTolerances = PICTURE
    allowance: Allowance = SMALL

    def kept(self, kind: str, data: bytes) -> str:
        """Writes a small picture of a kind; its path."""
        path = self.folder / f"{self.stem}-{kind}.jpg"
        write_whole(path, data)
        return str(path)


def regions_of(plan: Plan, delivery: Delivery) -> tuple[Region, ...]:
    """Outlines of what a delivery shows, in its pixels: elements, then graphics."""
    seen = cropped_plan(plan, delivery)
    regions = [
        Region(element.name, _outline(apply_homography(element.homography_matrix, element.own_hull_px)))
        for element in seen.elements
    ]
    for graphic in delivery.graphics:
        left, top, right, bottom = graphic.box_px
        regions.append(Region(graphic.name, ((left, top), (right, top), (right, bottom), (left, bottom))))
    return tuple(regions)


def judged_by_proof(case: Case, proof: Proof | None, hint: str) -> Verdict:
    """A new picture against its approval. hint: how to approve it. Raises PictureError."""
    look = open_look(case.file)
    facts, size_px = look.facts, look.shown.size_px
    blank = Verdict(case.name, "missing", size_px=size_px, files={"new": str(case.file)})
    if proof is None:
        reason = f"nothing was approved; the new picture lies at {case.file}; {hint}"
        return replace(blank, reasons=(reason,), views=Views(new=small_jpeg(look.on(1.0))[0]))
    data, side_px = small_picture(look.on(1.0), proof.side_px)
    files = {"approved": str(proof.picture), "new": str(case.file)}
    approved = open_look(proof.picture)
    approved_bytes = proof.picture.read_bytes()
    if facts == proof.facts and not case.plan_changes and data == approved_bytes:
        return replace(blank, status="match", figures={"identical": 1.0}, files=files, views=Views(new=data))
    if facts["size"] != proof.facts["size"]:
        views = Views(approved_bytes, data)
        return _resized(replace(blank, files=files, views=views), proof.facts["size"], case)
    new = open_look(Path(case.kept("new", data)))
    ratio = side_px / max(size_px)
    found = _compared(case, approved, new, ratio)
    verdict = _verdict(blank, case, found, fact_changes(proof.facts, facts))
    if facts["hash"] == proof.facts["hash"]:
        what = "the small picture is another" if found.deviations else "the plan is another"
        told = () if verdict.passes else (f"every sample is as approved; {what}",)
        verdict = replace(verdict, reasons=(*verdict.reasons, *told))
    difference = encode_jpeg(difference_picture(approved.shown, new.shown), _DIFFERENCE_QUALITY)
    files["difference"] = case.kept("difference", difference)
    return replace(verdict, files=files, views=Views(approved_bytes, data, difference))


def judged_by_file(case: Case, approved_file: Path) -> Verdict:
    """A new picture against another file, at full size. Raises PictureError."""
    approved, new = open_look(approved_file), open_look(case.file)
    size_px, before, after = new.shown.size_px, approved.facts, new.facts
    files = {"approved": str(approved_file), "new": str(case.file)}
    new_small, side_px = small_jpeg(new.on(1.0), allowance=case.allowance)
    blank = Verdict(case.name, "match", size_px=size_px, files=files, views=Views(new=new_small))
    if before == after and not case.plan_changes:
        return replace(blank, figures={"identical": 1.0})
    views = Views(small_jpeg(approved.on(1.0), side_px)[0], new_small)
    if before["size"] != after["size"]:
        return _resized(replace(blank, views=views), approved.shown.size_px, case)
    found = _compared(case, approved, new, 1.0)
    verdict = _verdict(blank, case, found, fact_changes(before, after))
    picture = difference_picture(approved.on(1.0), new.on(1.0))
    files["difference"] = case.kept("difference", encode_jpeg(picture, _DIFFERENCE_QUALITY))
    small = small_jpeg(Shown(picture, new.shown.space), side_px)[0]
    return replace(verdict, files=files, views=replace(views, difference=small))


def overlaid(verdict: Verdict, overlay: Path, allowance: Allowance = SMALL) -> Verdict:
    """The verdict with a debug overlay of the same frame to look at. Raises PictureError."""
    view = small_jpeg(open_look(overlay).shown, allowance=allowance)[0]
    return replace(verdict, views=replace(verdict.views, overlay=view))


def _compared(case: Case, approved: Look, new: Look, ratio: float) -> Comparison:
    """The pictures' comparison; see-through ones on white and on black, whichever shows more."""
    regions = [Region(r.name, tuple((u * ratio, v * ratio) for u, v in r.outline_px)) for r in case.regions]
    grounds = (1.0,) if approved.coverage is None and new.coverage is None else (1.0, 0.0)
    found = [
        compare_pictures(approved.on(ground), new.on(ground), regions, case.tolerances, ratio) for ground in grounds
    ]
    return max(found, key=lambda each: each.deviations[0].excess_ratio if each.deviations else 0.0)


def _verdict(blank: Verdict, case: Case, found: Comparison, facts: Sequence[str]) -> Verdict:
    reasons = (*facts, *(deviation.text for deviation in found.deviations))
    return replace(
        blank,
        status="match" if not reasons and not case.plan_changes else "differs",
        reasons=reasons,
        plan_changes=case.plan_changes,
        figures=found.figures,
        worst_box_px=found.deviations[0].box_px if found.deviations else None,
    )


def _resized(blank: Verdict, before: Sequence[int], case: Case) -> Verdict:
    assert blank.size_px is not None
    text = "{} × {} px became {} × {} px".format(*before, *blank.size_px)
    return replace(blank, status="size changed", reasons=(text,), plan_changes=case.plan_changes)


def _outline(points: Floats) -> tuple[tuple[float, float], ...]:
    return tuple((float(u), float(v)) for u, v in points)
