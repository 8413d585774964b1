"""What the overlay says, as short lines of text."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from compositor.audit.findings import Finding
from compositor.audit.wording import held
from compositor.base.letters import NO_BREAK, printable
from compositor.overlay.horizons import AGREES_PX, horizon_deviation_px
from compositor.overlay.perspective import Vanishing
from compositor.overlay.style import Kind, Scale, TextSize, text_width_px
from compositor.plan.model import PlacedElement, Plan, PlatePlan

Sign = Kind | int | Literal["warning", "error"] | None
"""What stands before a line: a sample of a kind of mark, a number, a sign of alarm, nothing."""

_MOST_PARTS = 4  # by eye: longer messages are cut, the report has them whole
_DOT = f"{NO_BREAK}· "
_WORTH_SAYING_DEG = 0.5  # by eye: a smaller difference of view is not seen


@dataclass(frozen=True)
class TextLine:
    """One line of text; indent_px is set when it is broken to a width."""

    text: str
    size: TextSize = TextSize.BODY
    sign: Sign = None
    indent_px: float = 0.0


def element_lines(element: PlacedElement, findings: Sequence[Finding]) -> tuple[TextLine, ...]:
    """An element's label: its name, where it is and how large, what differs, and its findings of weight.

    A difference alone raises no alarm: whether it matters is for the findings to say.
    """
    extent = "deep" if element.stance == "flat" else "high"
    facts = [metres(element.distance_m), _percent(element.scale_ratio), f"{metres(element.height_m)}{NO_BREAK}{extent}"]
    own = [finding for finding in findings if finding.element == element.name]
    return (
        TextLine(element.name, TextSize.TITLE),
        TextLine(_DOT.join(facts)),
        *(TextLine(text) for text in _off(element, {finding.code for finding in own})),
        *finding_lines(own),
    )


def summary(element: PlacedElement, lines: Sequence[TextLine]) -> str:
    """A label in one line, with the number of its remarks."""
    remarks = sum(line.sign is not None for line in lines)
    said = [] if remarks == 0 else [f"{remarks}{NO_BREAK}remark{'s' if remarks > 1 else ''}"]
    return _DOT.join([element.name, metres(element.distance_m), _percent(element.scale_ratio), *said])


def finding_lines(findings: Sequence[Finding]) -> tuple[TextLine, ...]:
    """Findings of weight as lines, errors first."""
    errors = [TextLine(_short(finding), sign="error") for finding in findings if finding.severity == "error"]
    warnings = [TextLine(_short(finding), sign="warning") for finding in findings if finding.severity == "warning"]
    return (*errors, *warnings)


def _short(finding: Finding) -> str:
    """A finding for a label: its few words; the report has the whole sentence."""
    return finding.message if finding.brief is None else finding.brief


def _off(element: PlacedElement, found: set[str]) -> list[str]:
    """What does not agree between an element and the plate, in numbers, but for what a finding says already."""
    gap, lift, said = element.horizon_gap_px, element.view_elevation_mismatch_deg, []
    if gap is not None and abs(gap) > AGREES_PX and "horizons-apart" not in found:
        said.append(f"horizon {abs(gap):.0f}{NO_BREAK}px {'below' if gap > 0 else 'above'} the plate's")
    if abs(lift) >= _WORTH_SAYING_DEG and "seen-from-another-height" not in found:
        said.append(f"taken from {abs(lift):.1f}° {'lower' if lift > 0 else 'higher'}")
    if element.enlargement_ratio > 1.005 and "enlarged" not in found:
        said.append(f"enlarged {element.enlargement_ratio:.2f}{NO_BREAK}x")
    return said


def horizon_text(plate: PlatePlan) -> str:
    """The horizon's row at the frame's centre column, with its deviation there."""
    (_, left), (_, right) = plate.horizon_px
    row, off = (left + right) / 2, sum(horizon_deviation_px(plate)) / 2
    text = f"horizon {row:.0f}" + (f" ± {off:.0f} px" if off >= 0.5 else " px")
    if max(left, right) < 0:
        return f"{text}, above the frame"
    return f"{text}, below the frame" if min(left, right) > plate.size_px[1] else text


def vanishing_text(seen: Vanishing) -> str:
    """Where a vanishing point is."""
    if seen.outside_px is None:
        return "vanishing point at infinity"
    return "vanishing point" if seen.outside_px == 0.0 else f"vanishing point {seen.outside_px:.0f} px outside"


def legend_lines(plan: Plan, findings: Sequence[Finding], kinds: Sequence[Kind]) -> tuple[TextLine, ...]:
    """The caption block: title, camera, what was assumed, what stands in front, and the key to the marks."""
    plate, camera = plan.plate, plan.plate.camera
    lens = f"focal length {camera.focal_px:.0f}{_plus_minus(plate, 'focal_px', 0)} px"
    posture = _posture(plate)
    height = f"{camera.height_m:.2f}{_plus_minus(plate, 'camera_height_m', 2)} m"
    lines = [TextLine(plan.title, TextSize.TITLE)] if plan.title else []
    lines += [TextLine(f"camera {height} high"), *(TextLine(text) for text in posture), TextLine(lens)]
    lines += [TextLine(f"assumed: {text}", TextSize.SMALL) for text in plate.assumed]
    lines += [TextLine(f"assumed for {name}", TextSize.SMALL) for name in _assumed_for(plan)]
    lines += [TextLine(f"in front: {item.name}, {metres(item.distance_m)}") for item in plan.holdouts]
    lines += finding_lines([finding for finding in findings if finding.element is None])
    return (*lines, *(TextLine(kind.value, TextSize.SMALL, kind) for kind in kinds))


def _posture(plate: PlatePlan) -> list[str]:
    """How the plate's camera was held, each angle with its uncertainty."""
    said = held(plate.camera.pitch_deg, plate.camera.roll_deg, 1)
    keys = ("pitch_deg", "roll_deg")
    return [text.replace("°", f"{_plus_minus(plate, key, 1)}°") for text, key in zip(said, keys, strict=False)]


def _assumed_for(plan: Plan) -> list[str]:
    """Assumptions about elements, those that share one in one line."""
    shared: dict[str, list[str]] = {}
    for element in plan.elements:
        for text in element.assumed:
            shared.setdefault(text, []).append(element.name)
    return [f"{', '.join(names)}: {text}" for text, names in shared.items()]


def wrapped(lines: Sequence[TextLine], width_px: float, scale: Scale) -> tuple[TextLine, ...]:
    """The lines in letters that the font has, broken between words to a width, the sign with the first part.

    What needs more than four parts is cut there.
    """
    result: list[TextLine] = []
    for line in lines:
        size_px = scale.text_px(line.size)
        indent_px = sign_width_px(line.sign, size_px)
        parts = _broken(printable(line.text), width_px - indent_px, size_px)
        if len(parts) > _MOST_PARTS:
            parts = [
                *parts[: _MOST_PARTS - 1],
                _shortened(f"{parts[_MOST_PARTS - 1]} …", width_px - indent_px, size_px),
            ]
        for index, part in enumerate(parts):
            result.append(TextLine(part, line.size, line.sign if index == 0 else None, indent_px))
    return tuple(result)


def sign_width_px(sign: Sign, size_px: int) -> float:
    """Room before a line for its sign."""
    if sign is None:
        return 0.0
    return size_px * (3.0 if isinstance(sign, Kind) else 1.5)


def metres(value_m: float) -> str:
    """A length for reading: centimetres below ten metres, decimetres below a hundred."""
    digits = 2 if abs(value_m) < 10 else 1 if abs(value_m) < 100 else 0
    return f"{value_m:.{digits}f}{NO_BREAK}m"


def step_text(distance_m: float) -> str:
    """A round distance without needless digits."""
    return f"{distance_m:g} m"


def _percent(ratio: float) -> str:
    return f"{100 * ratio:.{0 if ratio >= 0.095 else 1}f}{NO_BREAK}%"


def _plus_minus(plate: PlatePlan, key: str, digits: int) -> str:
    value = plate.plus_minus.get(key, 0.0)
    return f" ± {value:.{digits}f}" if round(value, digits) > 0 else ""


def _broken(text: str, room_px: float, size_px: int) -> list[str]:
    """Greedy line breaking; a word too long for a line is cut with dots."""
    lines: list[str] = []
    for word in (part.replace(NO_BREAK, " ") for part in text.split(" ") if part):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_px(longer, size_px) <= room_px:
            lines[-1] = longer
        else:
            lines.append(_shortened(word, room_px, size_px))
    return lines


def _shortened(word: str, room_px: float, size_px: int) -> str:
    if text_width_px(word, size_px) <= room_px:
        return word
    kept = word
    while kept and text_width_px(kept + "…", size_px) > room_px:
        kept = kept[:-1]
    return kept + "…"
