"""What somebody marked in a photograph by hand: the file behind `estimate --evidence`, in the words of a scene."""

from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field, ValidationError

from compositor.base.errors import LocatedFault, UnusableInput
from compositor.scene.camera import Edge, Lens
from compositor.scene.part import (
    Degrees,
    Part,
    Pixel,
    Point,
    PositiveMetres,
    PositivePixels,
    Rows,
    Segment,
    Several,
    differ,
)
from compositor.scene.scene_file import read_text
from compositor.scene.syntax import line_count
from compositor.scene.tree import Node, dotted, nearest, plain, quoted
from compositor.scene.yaml_text import file_placing, parse

MARKING_PX = 1.0
_MarkingPixels = Annotated[PositivePixels, Field(description="One standard deviation of the marks in pixels.")]
_Edges = Annotated[Several[Edge], Field(min_length=2, max_length=1000)]
_Name = Annotated[str, Field(min_length=1, max_length=80, description="How the report calls it.")]


class LevelMarks(Part):
    """Edges that are parallel and level in the world."""

    name: _Name
    lines: _Edges = Field(description="Two or more edges, [[u, v], [u, v]] each; three or more are better.")
    right_angle_to: _Name | None = Field(default=None, description="Another group at a right angle to this one.")
    plus_minus: _MarkingPixels = MARKING_PX


class UprightMarks(Part):
    """Edges that are upright in the world."""

    name: _Name
    lines: _Edges = Field(description="Two or more edges, [[u, v], [u, v]] each.")
    plus_minus: _MarkingPixels = MARKING_PX


class Stands(Part):
    """An upright object on the ground."""

    base: Point = Field(description="Where it touches the ground, [u, v].")
    top: Point = Field(description="Its highest point, straight above the base, [u, v].")


class StandingMarks(Part):
    """Upright objects of one height; without a height they are only known to be equal (people, posts)."""

    name: _Name
    objects: Annotated[Several[Stands], Field(min_length=1, max_length=1000)]
    height: PositiveMetres | None = Field(default=None, description="In metres; left out = equal but unknown.")
    plus_minus: _MarkingPixels = MARKING_PX


class RowMark(Part):
    """The horizon's row at the picture's centre column."""

    row: Pixel
    plus_minus: _MarkingPixels = MARKING_PX


class Angle(Part):
    """A known angle in degrees."""

    value: Degrees
    plus_minus: Annotated[float, Field(gt=0, le=90)] = 0.5


class Length(Part):
    """A known length in metres."""

    value: PositiveMetres
    plus_minus: PositiveMetres


class HandEvidence(Part):
    """Everything that is known; all of it counts together, by how sure it is."""

    level: Several[LevelMarks] = ()
    upright: Several[UprightMarks] = ()
    standing: Several[StandingMarks] = ()
    row: RowMark | None = None
    between: Annotated[Rows, AfterValidator(differ)] | None = Field(default=None, description="Bounds of the horizon.")
    points: Annotated[Segment, AfterValidator(differ)] | None = Field(
        default=None, description="Points on the horizon."
    )
    pitch: Angle | None = None
    roll: Angle | None = None
    height: Length | None = None
    lens: Lens | None = None
    automatic: bool = Field(default=True, description="Whether what the picture tells by itself counts too.")


def load_evidence(path: Path) -> HandEvidence:
    """The evidence of a YAML file. Raises UnusableInput with every fault and its place."""
    file = str(path)
    text = read_text(path, file)
    parsed = parse(text, file_placing(file, line_count(text)))
    faults = list(parsed.faults)
    try:
        marks = HandEvidence.model_validate(plain(parsed.root))
    except ValidationError as error:
        faults += [_fault(parsed.root, detail["loc"], detail["type"], detail["msg"]) for detail in error.errors()]
    else:
        faults += _naming_faults(parsed.root, marks)
        if not faults:
            return marks
    raise UnusableInput(faults)


def _fault(root: Node, steps: tuple[str | int, ...], kind: str, message: str) -> LocatedFault:
    """An error of the models at its place, in a sentence."""
    key = tuple(step for step in steps if not str(step).startswith("form:"))
    what = _SENTENCES.get(kind, message[:1].lower() + message[1:])
    node = nearest(root, key)
    return node.start.fault(dotted(root, key), what, None if kind == "missing" else quoted(node))


_SENTENCES = {
    "extra_forbidden": "unknown key",
    "missing": "is missing",
    "too_short": "has too few entries; edges take two or more",
    "float_type": "must be a number",
    "string_type": "must be a text",
    "model_type": "must be a mapping, as in {value: 1.6, plus_minus: 0.05}",
}


def _naming_faults(root: Node, marks: HandEvidence) -> list[LocatedFault]:
    """Names that stand twice, and right angles to groups that are not there."""
    names = [
        *(group.name for group in marks.level),
        *(group.name for group in marks.upright),
        *(group.name for group in marks.standing),
    ]
    twice = sorted({name for name in names if names.count(name) > 1})
    faults = [root.place.fault("", "this name stands twice", name) for name in twice]
    free = {group.name for group in marks.level if group.right_angle_to is None}
    for index, group in enumerate(marks.level):
        if group.right_angle_to is not None and group.right_angle_to not in free - {group.name}:
            node = nearest(root, ("level", index, "right_angle_to"))
            what = "names no other level group that has a heading of its own"
            faults.append(node.start.fault(f"level.{group.name}.right_angle_to", what, quoted(node)))
    return faults
