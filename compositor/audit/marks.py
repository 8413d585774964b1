"""Judging things in the picture already: which disagree with the rest, by how much, and what puts them right."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from compositor.audit.findings import Finding, Remedy, ranked
from compositor.audit.sight import depression_deg, inside_frame
from compositor.audit.wording import plain
from compositor.base.errors import GeometryError
from compositor.geometry.heights import upright_height
from compositor.plan.model import Mark, Plan, Point


def marks(plan: Plan) -> Iterator[Finding]:
    """Findings of every mark."""
    for mark in plan.marks:
        yield from _height(plan, mark)
        yield from _horizon(plan, mark)


def right_top_px(plan: Plan, mark: Mark) -> Point | None:
    """Where its top belongs, its foot staying; None where it is right or claims nothing."""
    target_m = _target_m(plan, mark)
    return None if target_m is None else _scaled(plan, mark, target_m).top_px


def _target_m(plan: Plan, mark: Mark) -> float | None:
    """The likely height of a mark that is out of scale; None for one that is not."""
    if mark.claimed_m is None:
        return None
    low_m, likely_m, high_m = mark.claimed_m
    allowed = plan.tolerances.height_fraction
    return None if low_m * (1.0 - allowed) <= mark.height_m <= high_m * (1.0 + allowed) else likely_m


def _height(plan: Plan, mark: Mark) -> Iterator[Finding]:
    target_m = _target_m(plan, mark)
    if target_m is None:
        return
    off = mark.height_m / target_m - 1.0
    rest = "the other marks" if mark.free else "the plate's camera"
    yield Finding(
        "out-of-scale",
        "warning",
        mark.name,
        f"By {rest}, {mark.name} is drawn {mark.height_m:.2f} m high where it stands, but it is {mark.claim}: "
        f"{abs(off):.0%} too {'large' if off > 0 else 'small'}.",
        ranked([_scale_remedy(plan, mark, target_m), _move_remedy(plan, mark, target_m)]),
        f"{abs(off):.0%} too {'large' if off > 0 else 'small'}: {mark.height_m:.2f} m, not {target_m:.2f} m",
    )


def _scale_remedy(plan: Plan, mark: Mark, height_m: float) -> Remedy:
    after = _scaled(plan, mark, height_m)
    share = _size_px(after) / _size_px(mark)
    settings = _settings(mark, after)
    return Remedy(f"Scale it to {share:.1%} about its foot.", settings, True, abs(float(np.log(share))))


def _move_remedy(plan: Plan, mark: Mark, height_m: float) -> Remedy | None:
    """To where its size in pixels is right: towards or away from the horizon."""
    line = plan.plate.camera.horizon_line()
    away = float(line @ [*mark.contact_px, 1.0])

    def at(step_px: float) -> Mark:
        return _shifted(mark, float(line[0]) * step_px, float(line[1]) * step_px)

    step_px = _solved(lambda step: _height_m(plan, at(step)) - height_m, -0.98 * away, 20.0 * away)
    if step_px is None:
        return None
    after = at(step_px)
    inside = inside_frame(plan, after.contact_px) or not inside_frame(plan, mark.contact_px)
    return Remedy(
        f"Move it {abs(step_px):.0f} px {'down, nearer' if step_px > 0 else 'up, farther away'}, its size kept"
        f"{'' if inside else '; but then its foot lies outside the frame'}.",
        _settings(mark, after),
        True,
        abs(step_px) / plan.plate.size_px[1] + (0.05 if inside else 0.55),
    )


def _horizon(plan: Plan, mark: Mark) -> Iterator[Finding]:
    """A horizon of its own, against the plate's."""
    if mark.own_horizon_row_px is None:
        return
    camera, column = plan.plate.camera, mark.contact_px[0]
    off_deg = depression_deg(camera, (column, mark.own_horizon_row_px))
    if abs(off_deg) <= plan.tolerances.view_elevation_deg:
        return
    gap_px = mark.own_horizon_row_px - camera.horizon_row(column)
    way = "below" if gap_px > 0 else "above"
    after = _shifted(mark, 0.0, -gap_px)
    remedy = Remedy(
        f"Move it {'up' if gap_px > 0 else 'down'} by {abs(gap_px):.0f} px, so that the horizons meet.",
        (*_settings(mark, after), (f"marks.{mark.name}.horizon", plain(after.own_horizon_row_px or 0.0, 2))),
        True,
        abs(gap_px) / plan.plate.size_px[1],
    )
    yield Finding(
        "horizons-apart",
        "warning",
        mark.name,
        f"The horizon of {mark.name} lies {abs(gap_px):.0f} px {way} the plate's, so it is seen {plain(abs(off_deg))}° "
        f"too {'little' if gap_px > 0 else 'much'} from above.",
        (remedy,),
        f"horizon {abs(gap_px):.0f} px {way} the plate's",
    )


def _settings(before: Mark, after: Mark) -> tuple[tuple[str, str], ...]:
    found = []
    for key, old, new in (("contact", before.contact_px, after.contact_px), ("top", before.top_px, after.top_px)):
        if old != new:
            found.append((f"marks.{before.name}.{key}", f"[{plain(new[0], 2)}, {plain(new[1], 2)}]"))
    return tuple(found)


def _scaled(plan: Plan, mark: Mark, height_m: float) -> Mark:
    """The mark with its top moved towards or away from its foot until it is that high."""
    (u, v), (top_u, top_v) = mark.contact_px, mark.top_px

    def at(share: float) -> Mark:
        return replace(mark, top_px=(u + share * (top_u - u), v + share * (top_v - v)))

    share = _solved(lambda share: _height_m(plan, at(share)) - height_m, 1e-3, 1e3)
    return mark if share is None else at(share)


def _shifted(mark: Mark, right_px: float, down_px: float) -> Mark:
    own = mark.own_horizon_row_px
    return replace(
        mark,
        contact_px=(mark.contact_px[0] + right_px, mark.contact_px[1] + down_px),
        top_px=(mark.top_px[0] + right_px, mark.top_px[1] + down_px),
        own_horizon_row_px=None if own is None else own + down_px,
    )


def _height_m(plan: Plan, mark: Mark) -> float:
    try:
        return upright_height(plan.plate.camera, mark.contact_px, mark.top_px)
    except GeometryError:
        return float("inf")


def _size_px(mark: Mark) -> float:
    return float(np.hypot(*np.subtract(mark.contact_px, mark.top_px)))


def _solved(wrong: Callable[[float], float], low: float, high: float) -> float | None:
    """Where a function that rises or falls through nought between two values is nought, by bisection."""
    at_low, at_high = wrong(low), wrong(high)
    if at_low * at_high > 0.0 or np.isnan(at_low * at_high):
        return None
    for _ in range(100):
        middle = (low + high) / 2.0
        at_middle = wrong(middle)
        if (at_middle > 0.0) == (at_low > 0.0):
            low, at_low = middle, at_middle
        else:
            high = middle
    return (low + high) / 2.0
