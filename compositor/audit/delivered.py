"""Rules about deliveries: room asked for that is not there, copy that will be covered or that covers a subject."""

from collections.abc import Iterator

from compositor.audit.findings import Case, Finding, Remedy
from compositor.audit.sight import scale_of, share_within
from compositor.plan.model import Delivery, PlacedGraphic, Plan

_EXTEND = Remedy("Extend the plate on that side, or ask for less room.")
_ENOUGH = 0.02
"""By eye: copy that lies over less than this share of a subject lies beside it."""


def delivered(case: Case) -> Iterator[Finding]:
    """What is wrong with each delivery as a layout."""
    for delivery in case.plan.deliveries:
        yield from _room(delivery)
        for graphic in delivery.graphics:
            if graphic.kind != "fill":
                yield from _covered(delivery, graphic)
                yield from _covering(case.plan, delivery, graphic)
                yield from _soft(case.plan, delivery, graphic)


def _room(delivery: Delivery) -> Iterator[Finding]:
    names = " and ".join(delivery.kept)
    if delivery.margin_short_px > 0.0:
        yield Finding(
            "margin-short",
            "warning",
            None,
            f"In delivery {delivery.name} the room about {names} is {delivery.margin_short_px:.0f} px of the frame "
            "less than asked: the frame has no more for this shape.",
            (_EXTEND,),
            f"{delivery.margin_short_px:.0f} px of margin missing in {delivery.name}",
        )
    if delivery.rule_short_px > 0.0:
        yield Finding(
            "composition-missed",
            "info",
            None,
            f"The composition of delivery {delivery.name} is {delivery.rule_short_px:.0f} px of the frame off: there "
            "the frame ends, or what it is laid around would be cut.",
            (_EXTEND,),
        )


def _covered(delivery: Delivery, graphic: PlacedGraphic) -> Iterator[Finding]:
    left, top, right, bottom = graphic.box_px
    a, b, c, d = delivery.safe_px
    width, height = delivery.size_px
    over = {"left": a - left, "top": b - top, "right": right - (width - c), "bottom": bottom - (height - d)}
    bands = {"left": a, "top": b, "right": c, "bottom": d}
    for side, px in over.items():
        if bands[side] > 0 and px > 0.5:
            yield Finding(
                "copy-covered",
                "warning",
                None,
                f"In delivery {delivery.name} graphic {graphic.name} reaches {px:.0f} px into the band at the {side} "
                "that will be covered.",
                (Remedy(f"Move its box for {delivery.name}."),),
            )


def _covering(plan: Plan, delivery: Delivery, graphic: PlacedGraphic) -> Iterator[Finding]:
    """Copy over what the delivery is laid around."""
    scale, left, top = scale_of(delivery), delivery.window_px[0], delivery.window_px[1]
    x0, y0, x1, y1 = graphic.box_px
    box = (left + x0 / scale, top + y0 / scale, left + x1 / scale, top + y1 / scale)
    for name in delivery.kept:
        share = share_within(plan.element(name), box)
        if share > _ENOUGH:
            yield Finding(
                "copy-over-element",
                "warning",
                name,
                f"In delivery {delivery.name} graphic {graphic.name} lies over {share:.0%} of {name}.",
                (Remedy(f"Move its box for {delivery.name}, or leave a wider margin on that side."),),
                f"{graphic.name} over it in {delivery.name}",
            )


def _soft(plan: Plan, delivery: Delivery, graphic: PlacedGraphic) -> Iterator[Finding]:
    if graphic.kind == "image" and graphic.enlargement_ratio > plan.tolerances.enlargement_ratio:
        yield Finding(
            "artwork-enlarged",
            "warning",
            None,
            f"In delivery {delivery.name} graphic {graphic.name} has too few pixels: it is shown at "
            f"{graphic.enlargement_ratio:.0%} of its own size and will look soft.",
            (Remedy("Use a larger file of it, or a smaller box."),),
        )
