"""Graphics in their places on a delivery: fitted into their boxes, in the delivery's own pixels."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from compositor.base.errors import Fault, FaultyScene
from compositor.base.lettering import Typeface
from compositor.plan.model import PlacedGraphic, TypeLine
from compositor.scene.graphic import Graphic, GraphicPlace
from compositor.solve.copyfitting import Block, Fitted, Setting

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class GraphicFacts:
    """Fonts that were opened, and sizes of flat artwork, by their files as the scene writes them."""

    typefaces: Mapping[str, Typeface] = field(default_factory=dict)
    artwork_px: Mapping[str, tuple[int, int]] = field(default_factory=dict)


def shown_on(graphic: Graphic, delivery: str) -> Graphic | None:
    """The graphic as this delivery has it; None where it is not shown there."""
    if not graphic.visible or (graphic.deliveries is not None and delivery not in graphic.deliveries):
        return None
    place = GraphicPlace() if graphic.deliveries is None else graphic.deliveries[delivery]
    changed = {key: value for key, value in place.model_dump().items() if value is not None}
    return graphic.model_copy(update=changed)


def placed_graphic(graphic: Graphic, delivery: str, size_px: tuple[int, int], facts: GraphicFacts) -> PlacedGraphic:
    """A graphic in its box on a delivery. Raises FaultyScene (keys inside the graphic)."""
    left, top, right, bottom = graphic.box
    box: Box = (left * size_px[0], top * size_px[1], right * size_px[0], bottom * size_px[1])
    if graphic.fill is not None:
        return PlacedGraphic(graphic.name, "fill", box, colour=_colour(graphic.fill))
    if graphic.image is not None:
        width, height = facts.artwork_px[graphic.image]
        scale = min((box[2] - box[0]) / width, (box[3] - box[1]) / height)
        inner = _anchored(graphic.anchor, box, (width * scale, height * scale))
        return PlacedGraphic(graphic.name, "image", inner, graphic.image, enlargement_ratio=scale)
    return _copy(graphic, delivery, box, facts)


def _copy(graphic: Graphic, delivery: str, box: Box, facts: GraphicFacts) -> PlacedGraphic:
    text, font = graphic.text or "", graphic.font or ""
    face = facts.typefaces[font]
    _check_glyphs(text, face, font)
    setting = Setting(graphic.leading, graphic.size, graphic.smallest, graphic.lines)
    block, room_px = Block(text, face, graphic.leading), (box[2] - box[0], box[3] - box[1])
    fitted = block.fit(setting, room_px)
    if fitted is None:
        raise FaultyScene([_unfitted(block.unfitted(setting, room_px), setting, delivery, room_px)])
    inner = _anchored(graphic.anchor, box, (fitted.width_px, fitted.height_px))
    align = graphic.align or _across(graphic.anchor)
    return PlacedGraphic(
        graphic.name,
        "text",
        inner,
        font,
        _colour(graphic.colour or "#000000"),
        _lines(fitted, inner, align),
        fitted.size_px,
        block.rightwards,
    )


def _check_glyphs(text: str, face: Typeface, font: str) -> None:
    missing = face.missing(text)
    if missing:
        listed = ", ".join(f"{character} (U+{ord(character):04X})" for character in missing[:8])
        more = f" and {len(missing) - 8} more" if len(missing) > 8 else ""
        what = f"{font} has no glyph for {listed}{more}; name a font that has, or change the copy"
        raise FaultyScene([Fault(("text",), what)])


def _unfitted(block: Fitted, setting: Setting, delivery: str, room_px: tuple[float, float]) -> Fault:
    wide_px, high_px = max(block.width_px - room_px[0], 0.0), max(block.height_px - room_px[1], 0.0)
    lines = "" if setting.most_lines is None else f" in {setting.most_lines} lines or fewer"
    if setting.most_lines == 1:
        lines = " in one line"
    lack = f"{len(block.lines)} lines"
    if max(wide_px, high_px) > 0.5:
        lack = f"{wide_px:.0f} px too wide and {high_px:.0f} px too high"
    what = (
        f"does not fit its box in {delivery}{lines}: {room_px[0]:.0f} × {room_px[1]:.0f} px, and in type of "
        f"{block.size_px:g} px it is {lack}; give it more room, or shorten it"
    )
    return Fault(("text",), what)


def _lines(fitted: Fitted, inner: Box, align: str) -> tuple[TypeLine, ...]:
    """Every line's pen position: ink to ink, so that edges of lines meet."""
    share = {"left": 0.0, "centre": 0.5, "right": 1.0}[align]
    lines = []
    for number, (text, ink) in enumerate(zip(fitted.lines, fitted.inks, strict=True)):
        free_px = fitted.width_px - ink.width * fitted.size_px
        left_px = inner[0] + share * free_px - ink.left * fitted.size_px
        base_px = inner[1] + (fitted.above + number * fitted.pitch) * fitted.size_px
        lines.append(TypeLine(text, left_px, base_px))
    return tuple(lines)


def _across(anchor: str) -> str:
    return next((side for side in ("left", "right") if side in anchor), "centre")


def _anchored(anchor: str, box: Box, size_px: tuple[float, float]) -> Box:
    """A rectangle of that size in a box."""
    across = {"left": 0.0, "centre": 0.5, "right": 1.0}[_across(anchor)]
    down = 0.0 if anchor.startswith("top") else 1.0 if anchor.startswith("bottom") else 0.5
    left = box[0] + across * (box[2] - box[0] - size_px[0])
    top = box[1] + down * (box[3] - box[1] - size_px[1])
    return left, top, left + size_px[0], top + size_px[1]


def _colour(written: str) -> tuple[float, float, float, float]:
    """#rrggbb or #rrggbbaa (CSS Color Level 4, section 5.2) as shares; sRGB, straight alpha."""
    red, green, blue, alpha = bytes.fromhex(written[1:].ljust(8, "f"))
    return red / 255, green / 255, blue / 255, alpha / 255
