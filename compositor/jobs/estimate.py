"""The estimate job: a photograph, and what is known of it, to a camera with its uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from pathlib import Path
from typing import Any

import numpy as np

from compositor.base.arrays import Floats
from compositor.base.errors import GeometryError, LocatedFault, PictureError, UnusableInput
from compositor.colour.coding import as_eight_bits
from compositor.files.atomic import write_whole
from compositor.files.header import read_file
from compositor.files.load import EncodedPlate, load_plate
from compositor.files.png import encode_png
from compositor.geometry.evidence import (
    Evidence,
    FoundStructure,
    HorizonPoint,
    LevelEdges,
    Standing,
    StatedValue,
    UprightEdges,
    horizon_between,
)
from compositor.geometry.lens import focal_from_equivalent
from compositor.geometry.weighing import Frame, Weighed, weigh
from compositor.measure.camera import EXIF_LENS_SD, WHAT_HELPS, FoundCamera, find_camera
from compositor.overlay.estimate import Drawn, draw_estimate
from compositor.report.record import as_json
from compositor.scene.evidence import HandEvidence, load_evidence
from compositor.solve.cameras import focal_of

STATED_LENS_SD = 0.01  # of a lens given by hand
AUTOMATIC, LENS = "the picture's edges", "lens"
KINDS: dict[type, str] = {
    LevelEdges: "level edges, marked",
    UprightEdges: "upright edges, marked",
    Standing: "standing objects, marked",
    HorizonPoint: "horizon",
    StatedValue: "stated",
}


@dataclass(frozen=True)
class Estimate:
    """What `estimate` tells: the record, and the picture with everything drawn in, None where nothing was found."""

    record: dict[str, Any]
    lines: tuple[str, ...]

    @property
    def exit_status(self) -> int:
        """0, or 1 where nothing could be told."""
        return int("cannot_tell" in self.record)

    def as_json(self) -> str:
        """The record."""
        return as_json(self.record)

    def as_text(self) -> str:
        """For people: a `camera:` block to paste, with what it rests on in comments."""
        return "\n".join(self.lines) + "\n"


def estimate(photo: Path, evidence: Path | None, out: Path) -> Estimate:
    """Estimate the camera of a photograph; writes an annotated picture. Raises UnusableInput."""
    marks = HandEvidence() if evidence is None else load_evidence(evidence)
    plate = _opened(photo)
    rgb = as_eight_bits(plate.samples)
    height, width = rgb.shape[:2]
    frame = Frame((width, height), (width / 2.0, height / 2.0))
    lens, stated_by = _lens(marks, plate, photo)
    found = find_camera(rgb, frame.principal_px, None if lens is None else lens.value)
    pieces = _evidence(marks, found, lens, frame)
    if all(piece.name == LENS for piece in pieces):
        return _nothing(found.reason or "nothing is given but the lens")
    try:
        weighed = weigh(pieces, frame)
    except GeometryError as error:
        return _nothing(str(error))
    contradicting = (*weighed.contradicting, *([LENS] if found.lens_disagrees else []))
    used = _used(pieces, found, marks, stated_by, contradicting)
    picture = draw_estimate(rgb, _drawn(weighed, found, marks))
    target = out / photo.stem / "estimate.png"
    write_whole(target, encode_png(picture, plate.header.icc))
    record = _record(weighed, used)
    return Estimate(record, _text(record, (str(target),)))


def _opened(photo: Path) -> EncodedPlate:
    try:
        return load_plate(read_file(photo))
    except PictureError as error:
        raise UnusableInput([LocatedFault(str(photo), 1, 1, "", error.reason)]) from error


def _lens(marks: HandEvidence, plate: EncodedPlate, photo: Path) -> tuple[StatedValue | None, str]:
    """The lens that is stated, and by what. Raises UnusableInput for `exif` without Exif data."""
    size, exif = tuple(map(float, plate.header.size_px)), plate.header.lens
    original = (size[0], size[1])
    given = marks.lens
    if given is not None and given != "exif":
        focal = focal_of(given, original)
        return StatedValue(LENS, "focal_px", focal, STATED_LENS_SD * focal), "stated"
    if exif is not None and exif.equivalent_mm is not None:
        focal = focal_from_equivalent(exif.equivalent_mm, original)
        return StatedValue(LENS, "focal_px", focal, hypot(EXIF_LENS_SD, 0.3 / exif.equivalent_mm) * focal), "Exif"
    if given == "exif":
        fault = LocatedFault(str(photo), 1, 1, "lens", "the picture's Exif data states no 35 mm equivalent", "exif")
        raise UnusableInput([fault])
    return None, ""


def _evidence(marks: HandEvidence, found: FoundCamera, lens: StatedValue | None, frame: Frame) -> list[Evidence]:
    """Everything that is known, as evidence."""
    pieces: list[Evidence] = []
    if marks.automatic and found.structure is not None:
        pieces.append(FoundStructure(AUTOMATIC, found.structure))
    if marks.automatic and found.skyline is not None:
        sky, width = found.skyline, float(frame.size_px[0])
        pieces.append(HorizonPoint("edge of sea or plain, left", 0.0, sky.left_px, sky.row_sd_px))
        pieces.append(HorizonPoint("edge of sea or plain, right", width, sky.right_px, sky.row_sd_px))
    # The automatic answer has weighed the lens already; the lens counts once.
    if lens is not None and (found.structure is None or not marks.automatic):
        pieces.append(lens)
    pieces += [LevelEdges(g.name, _edges(g.lines), g.plus_minus, g.right_angle_to) for g in marks.level]
    pieces += [UprightEdges(g.name, _edges(g.lines), g.plus_minus) for g in marks.upright]
    for group in marks.standing:
        bases, tops = (np.array([getattr(thing, end) for thing in group.objects]) for end in ("base", "top"))
        pieces.append(Standing(group.name, bases, tops, group.height, group.plus_minus))
    centre_px = frame.size_px[0] / 2.0
    if marks.row is not None:
        pieces.append(HorizonPoint("row", centre_px, marks.row.row, marks.row.plus_minus))
    if marks.between is not None:
        pieces.append(horizon_between("between", *marks.between, centre_px))
    for index, point in enumerate(marks.points or (), 1):
        pieces.append(HorizonPoint(f"point {index}", point[0], point[1], 1.0))
    if marks.pitch is not None:
        pieces.append(StatedValue("pitch", "pitch_deg", marks.pitch.value, marks.pitch.plus_minus))
    if marks.roll is not None:
        pieces.append(StatedValue("roll", "roll_deg", marks.roll.value, marks.roll.plus_minus))
    if marks.height is not None:
        pieces.append(StatedValue("height", "height_m", marks.height.value, marks.height.plus_minus))
    return pieces


def _edges(lines: Sequence[Any]) -> Floats:
    return np.array(lines, dtype=np.float64).reshape(-1, 2, 2)


def _used(
    pieces: Sequence[Evidence], found: FoundCamera, marks: HandEvidence, stated_by: str, contradicting: tuple[str, ...]
) -> list[dict[str, Any]]:
    """What the estimate rests on, a row each; the automatic answer by its directions."""
    rows: list[dict[str, Any]] = []
    if found.structure is not None and marks.automatic:
        for bundle in found.structure.bundles:
            x, y, w = bundle.vanishing_px
            infinite = abs(w) * 1e9 < hypot(x, y)
            rows.append(
                {
                    "kind": f"{bundle.kind} edges, found",
                    "count": len(bundle.edges),
                    "vanishing": None if infinite else [x / w, y / w],
                    "heading_deg": bundle.heading_deg,
                }
            )
        if stated_by:
            rows.append({"kind": "lens", "source": stated_by})
    for piece in pieces:
        if piece.name != AUTOMATIC:
            rows.append(
                {"kind": type(piece).__name__, "name": piece.name}
                | ({"source": stated_by} if piece.name == LENS else {})
            )
    named = [row.get("name", row["kind"]) for row in rows]
    for row, name in zip(rows, named, strict=True):
        row["contradicts"] = name in contradicting or (AUTOMATIC in contradicting and "found" in row["kind"])
    return rows


def _record(weighed: Weighed, used: list[dict[str, Any]]) -> dict[str, Any]:
    """The record, with a camera in the words of a scene."""
    camera = weighed.camera
    width = float(camera.size_px[0])
    rows = [camera.horizon_row(0.0), camera.horizon_row(width)]
    row_sd = (weighed.plus_minus["horizon_left_px"] + weighed.plus_minus["horizon_right_px"]) / 2.0
    block: dict[str, Any] = {
        "horizon": {"row": round(camera.horizon_row(width / 2.0), 2), "plus_minus": max(round(row_sd, 2), 0.01)},
        "roll": round(camera.roll_deg, 3),
        "lens": {"pixels": round(camera.focal_px, 2)},
    }
    if weighed.height_known:
        block["height"] = round(camera.height_m, 4)
    record: dict[str, Any] = {
        "camera": block,
        "horizon": [[0.0, rows[0]], [width, rows[1]]],
        "pitch_deg": camera.pitch_deg,
        "roll_deg": camera.roll_deg,
        "focal_px": camera.focal_px,
        "plus_minus": weighed.plus_minus,
        "evidence": used,
    }
    if weighed.height_known:
        record["camera_height_m"] = camera.height_m
    if weighed.heights and not weighed.height_known:
        record["camera_height_ratio"] = {name: 1.0 / height for name, height in weighed.heights.items()}
    return record


def _nothing(reason: str) -> Estimate:
    helps = f"{WHAT_HELPS}; --evidence FILE takes all of these"
    return Estimate({"cannot_tell": f"{reason}; {helps}"}, (f"cannot tell: {reason}", f"    {helps}"))


def _text(record: dict[str, Any], files: Sequence[str]) -> tuple[str, ...]:
    """Lines for people; all but the block itself are YAML comments, so that the whole can be pasted."""
    block, off = record["camera"], record["plus_minus"]
    lines = [
        "camera:",
        f"  horizon: {{row: {block['horizon']['row']:g}, plus_minus: {block['horizon']['plus_minus']:g}}}",
        f"  roll: {block['roll']:g}",
        f"  lens: {{pixels: {block['lens']['pixels']:g}}}",
        *([f"  height: {block['height']:g}"] if "height" in block else []),
        f"# tilt {record['pitch_deg']:+.2f}° ± {off['pitch_deg']:.2f}°, roll {record['roll_deg']:+.2f}° ± "
        f"{off['roll_deg']:.2f}°, lens {record['focal_px']:.0f} ± {off['focal_px']:.0f} px",
    ]
    for name, ratio in record.get("camera_height_ratio", {}).items():
        lines.append(f"# the camera stands {ratio:.3f} times as high as {name}")
    for row in record["evidence"]:
        if row["contradicts"]:
            lines.append(f"# contradicts the rest: {row.get('name', row['kind'])}")
    return (*lines, *(f"# wrote {name}" for name in files))


def _drawn(weighed: Weighed, found: FoundCamera, marks: HandEvidence) -> Drawn:
    """What the picture shows: found and marked edges by direction."""
    groups: list[tuple[str, Floats, Floats]] = []
    camera = weighed.camera
    if marks.automatic and found.structure is not None:
        for bundle in found.structure.bundles:
            what = "upright" if bundle.heading_deg is None else f"level, {_turned(bundle.heading_deg):+.0f}°"
            groups.append((what, found.edges_px[bundle.edges], np.array(bundle.vanishing_px)))
    for group in marks.level:
        if group.name in weighed.headings_rad:
            heading = weighed.headings_rad[group.name]
            point = camera.direction_px(np.array([np.sin(heading), np.cos(heading), 0.0]))
            groups.append((group.name, _edges(group.lines), point))
    for upright in marks.upright:
        groups.append((upright.name, _edges(upright.lines), camera.direction_px(np.array([0.0, 0.0, 1.0]))))
    off = weighed.plus_minus
    return Drawn(camera, (off["horizon_left_px"], off["horizon_right_px"]), tuple(groups))


def _turned(heading_deg: float) -> float:
    """A direction's azimuth within ±90°: an edge has no front."""
    return (heading_deg + 90.0) % 180.0 - 90.0
