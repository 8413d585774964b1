"""What differs between two plans, as a person would say it: pixels, per cent, names.

Works on the plain values of :mod:`compositor.plan.stable`, or on any mapping with some of the same keys; what one of
the two does not tell is not compared. Only what shapes a picture counts: not titles, not tolerances, not uncertainties.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from math import hypot
from typing import Any

import numpy as np

from compositor.base.arrays import Floats, apply_homography
from compositor.base.tolerances import PLAN, PlanTolerances
from compositor.plan.change import PlanChange, other_changes
from compositor.plan.light_difference import light_changes
from compositor.plan.stable import PlanData

_PLATE = "plate"
_PLATE_KEYS = {"camera", "horizon_px", "plus_minus", "assumed", "edge_groups"}
_ELEMENT_KEYS = {"homography", "contact_px", "top_px", "scale_ratio", "enlargement_ratio", "plus_minus", "assumed"} | {
    *("name", "plane", "stance", "distance_m", "offset_m", "raise_m", "height_m", "camera_height_m", "horizon_gap_px"),
    *("own_size_px", "own_hull_px", "own_contact_px", "own_top_px", "own_camera", "own_distance_m", "artwork_m"),
    *("view_elevation_mismatch_deg", "view_azimuth_mismatch_deg", "stated_height_m", "stated_camera_height_m"),
    *("kind", "stands_on", "plumb_px", "alternatives"),
}
_DELIVERY_KEYS = {
    "quality",  # how a file is coded says nothing of what it shows; its pixels do
    "name",
    "size_px",
    "window_px",
    "margin_short_px",
    "rule_short_px",
    "cropped_px",
    "kept",
    "safe_px",
    "graphics",
    "likeness",
}
_PLAN_KEYS = {"title", "plate", "elements", "holdouts", "stack", "deliveries", "tolerances", "marks", "layered"} | {
    *("light", "deliveries_listed")
}


def plan_changes(before: PlanData, after: PlanData, tolerances: PlanTolerances = PLAN) -> tuple[PlanChange, ...]:
    """Differences larger than the tolerances: plate first, then elements, order, deliveries, light, and the rest."""
    old, new = (_named(plan.get("elements", ())) for plan in (before, after))
    found = list(_plate(before.get(_PLATE, {}), after.get(_PLATE, {}), tolerances))
    found += _come_and_gone(old, new, "")
    for name in new:
        if name in old:
            found += _element(name, old[name], new[name], tolerances)
    found += _order(before.get("stack", ()), after.get("stack", ()))
    found += _holdouts(before.get("holdouts", ()), after.get("holdouts", ()))
    found += _deliveries(_named(before.get("deliveries", ())), _named(after.get("deliveries", ())), tolerances)
    if "light" in before and "light" in after:
        found += light_changes(before["light"], after["light"], tolerances)
    common = before.keys() & after.keys()
    left, right = ({key: plan[key] for key in plan if key in common} for plan in (before, after))
    found += other_changes("plan", left, right, _PLAN_KEYS, tolerances)
    return tuple(found)


def _named(items: Sequence[Mapping[str, Any]]) -> dict[str, Mapping[str, Any]]:
    return {str(item["name"]): item for item in items}


def _come_and_gone(old: Mapping[str, Any], new: Mapping[str, Any], kind: str) -> Iterator[PlanChange]:
    for name in old:
        if name not in new:
            yield PlanChange(name, f"{name}{kind} is gone")
    for name in new:
        if name not in old:
            yield PlanChange(name, f"{name}{kind} is new")


def _plate(old: Mapping[str, Any], new: Mapping[str, Any], tolerances: PlanTolerances) -> Iterator[PlanChange]:
    parts: list[str] = []
    figures: dict[str, Any] = {}
    if "camera" in old and "camera" in new:
        parts += _camera(old["camera"], new["camera"], tolerances, figures)
    if "horizon_px" in old and "horizon_px" in new:
        parts += _horizon(old["horizon_px"], new["horizon_px"], tolerances, figures)
    if parts:
        yield PlanChange(_PLATE, f"{_PLATE} " + ", ".join(parts), figures)
    yield from other_changes(_PLATE, old, new, _PLATE_KEYS, tolerances)


def _camera(
    old: Mapping[str, Any], new: Mapping[str, Any], tolerances: PlanTolerances, figures: dict[str, Any]
) -> Iterator[str]:
    if old["size_px"] != new["size_px"]:
        yield "frame {} × {} → {} × {} px".format(*old["size_px"], *new["size_px"])
    longer = new["focal_px"] / old["focal_px"] - 1
    if abs(longer) > tolerances.scale_fraction:
        figures["focal_ratio"] = longer + 1
        yield f"lens {_percent(longer)} {'longer' if longer > 0 else 'shorter'}"
    higher_m = new["height_m"] - old["height_m"]
    if abs(higher_m) > tolerances.scale_fraction * old["height_m"]:
        figures["camera_raised_m"] = higher_m
        yield f"camera {abs(higher_m):.3g} m {'higher' if higher_m > 0 else 'lower'}"


def _horizon(
    old: Sequence[Sequence[float]], new: Sequence[Sequence[float]], tolerances: PlanTolerances, figures: dict[str, Any]
) -> Iterator[str]:
    left, right = (float(new[end][1] - old[end][1]) for end in (0, 1))
    if max(abs(left), abs(right)) > tolerances.moved_px:
        middle = (left + right) / 2
        figures["horizon_lowered_px"] = middle
        if abs(middle) > tolerances.moved_px:
            yield f"horizon {_pixels(middle)} px {'lower' if middle > 0 else 'higher'}"
        if abs(right - left) > 2 * tolerances.moved_px:
            yield f"horizon {_pixels(right - left)} px more {'down' if right > left else 'up'} to the right"


def _element(
    name: str, old: Mapping[str, Any], new: Mapping[str, Any], tolerances: PlanTolerances
) -> Iterator[PlanChange]:
    parts: list[str] = []
    figures: dict[str, Any] = {}
    right, down = (float(b - a) for a, b in zip(old["contact_px"], new["contact_px"], strict=True))
    if hypot(right, down) > tolerances.moved_px:
        figures |= {"right_px": right, "down_px": down}
        parts.append("contact " + in_words(right, down))
    larger = new["scale_ratio"] / old["scale_ratio"] - 1
    if abs(larger) > tolerances.scale_fraction:
        figures["scale_ratio"] = larger + 1
        parts.append(f"{_percent(larger)} {'larger' if larger > 0 else 'smaller'}")
    if _mirrored(old) != _mirrored(new):
        parts.append("mirrored")
    elsewhere_px, extent_px = (0.0, 0.0) if "mirrored" in parts else _reshaped_px(old, new)
    # Whatever moves in depth is seen in a little other perspective, which its new size says already.
    allowed_px = max(tolerances.reshaped_px, tolerances.reshaped_fraction * extent_px if parts else 0.0)
    if elsewhere_px > allowed_px and _same_source(old, new):
        figures["reshaped_px"] = elsewhere_px
        parts.append(f"its outline different by up to {_pixels(elsewhere_px)} px")
    if parts:
        yield PlanChange(name, f"{name} " + ", ".join(parts), figures)
    yield from other_changes(name, old, new, _ELEMENT_KEYS, tolerances)


def _mirrored(element: Mapping[str, Any]) -> bool:
    """Whether right and left are exchanged at its contact."""
    if "homography" not in element:
        return False
    (a, b, _), (c, d, _), _ = element["homography"]
    return bool(a * d - b * c < 0)


def _same_source(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    return bool(old.get("source") == new.get("source"))


def _reshaped_px(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[float, float]:
    """How far outlines lie apart once contact and size agree (0 where the outline is not told), and their extent."""
    hulls = [part.get("own_hull_px") for part in (old, new)]
    if hulls[0] is None or hulls[0] != hulls[1]:
        return 0.0, 0.0
    one, other = (apply_homography(np.array(part["homography"]), hulls[0]) for part in (old, new))
    larger = new["scale_ratio"] / old["scale_ratio"]
    expected: Floats = np.array(new["contact_px"]) + (one - np.array(old["contact_px"])) * larger
    return float(np.hypot(*(other - expected).T).max()), float(np.ptp(other, axis=0).max())


def _order(old: Sequence[Mapping[str, Any]], new: Sequence[Mapping[str, Any]]) -> Iterator[PlanChange]:
    """Pairs whose order from far to near is turned round."""
    before = [str(item["name"]) for item in old]
    after = [str(item["name"]) for item in new if item["name"] in before]
    before = [name for name in before if name in after]
    for far, near in combinations(after, 2):
        if before.index(far) > before.index(near):
            yield PlanChange(near, f"{near} is now in front of {far}")


def _holdouts(old: Sequence[Mapping[str, Any]], new: Sequence[Mapping[str, Any]]) -> Iterator[PlanChange]:
    before, after = _named(old), _named(new)
    yield from _come_and_gone(before, after, " as a holdout")
    for name in after:
        if name in before and before[name].get("matte") != after[name].get("matte"):
            yield PlanChange(name, f"{name} has another matte")


def _deliveries(old: Mapping[str, Any], new: Mapping[str, Any], tolerances: PlanTolerances) -> Iterator[PlanChange]:
    for change in _come_and_gone(old, new, " as a delivery"):
        yield replace(change, delivery=change.subject)
    for name in new:
        if name in old:
            for change in _delivery(name, old[name], new[name], tolerances):
                yield replace(change, delivery=name)


def _delivery(
    name: str, old: Mapping[str, Any], new: Mapping[str, Any], tolerances: PlanTolerances
) -> Iterator[PlanChange]:
    parts = list(_framing(old, new, tolerances))
    if parts:
        yield PlanChange(name, f"{name} " + ", ".join(parts))
    yield from other_changes(name, old, new, _DELIVERY_KEYS, tolerances)
    yield from _graphics(name, old.get("graphics", ()), new.get("graphics", ()), tolerances)


def _framing(old: Mapping[str, Any], new: Mapping[str, Any], tolerances: PlanTolerances) -> Iterator[str]:
    if old["size_px"] != new["size_px"]:
        yield "{} × {} → {} × {} px".format(*old["size_px"], *new["size_px"])
    left, top, width, height = (float(b - a) for a, b in zip(old["window_px"], new["window_px"], strict=True))
    if hypot(left, top) > tolerances.moved_px:
        yield "window " + in_words(left, top)
    if max(abs(width), abs(height)) > 2 * tolerances.moved_px:
        yield "window {:.0f} × {:.0f} → {:.0f} × {:.0f} px".format(*old["window_px"][2:], *new["window_px"][2:])


def _graphics(
    delivery: str, old: Sequence[Mapping[str, Any]], new: Sequence[Mapping[str, Any]], tolerances: PlanTolerances
) -> Iterator[PlanChange]:
    before, after = _named(old), _named(new)
    yield from _come_and_gone(before, after, f" on {delivery}")
    for name in after:
        if name in before:
            moved = [float(b - a) for a, b in zip(before[name]["box_px"], after[name]["box_px"], strict=True)]
            if max(map(abs, moved)) > tolerances.lettering_px:
                text = f"{name} on {delivery} {in_words((moved[0] + moved[2]) / 2, (moved[1] + moved[3]) / 2)}"
                yield PlanChange(name, text)
            yield from other_changes(name, before[name], after[name], {"box_px", "lines"}, tolerances)
            texts = [[line["text"] for line in part.get("lines", ())] for part in (before[name], after[name])]
            if texts[0] != texts[1]:
                yield PlanChange(name, f"{name} on {delivery} reads {' / '.join(texts[1])!r}")


def in_words(right_px: float, down_px: float) -> str:
    """A displacement: 14 px lower, 3 px farther left."""
    parts = []
    if abs(right_px) >= 0.05:
        parts.append(f"{_pixels(right_px)} px farther {'right' if right_px > 0 else 'left'}")
    if abs(down_px) >= 0.05:
        parts.append(f"{_pixels(down_px)} px {'lower' if down_px > 0 else 'higher'}")
    return " and ".join(parts) if parts else "in its place"


def _pixels(length_px: float) -> str:
    return f"{abs(length_px):.1f}" if abs(length_px) < 9.95 else f"{abs(length_px):.0f}"


def _percent(fraction: float) -> str:
    return f"{abs(fraction) * 100:.1f} %"
