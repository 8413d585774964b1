"""What differs between the light of two plans."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from compositor.base.tolerances import PlanTolerances
from compositor.plan.change import PlanChange, other_changes
from compositor.plan.leaves import leaf_changes

_SUBJECT, _LEFT = "light", "left_ratio"
_BODY = "solid"
_KINDS = {"cast": "cast shadow", "contact": "contact shadow"}


def light_changes(
    old: Mapping[str, Any] | None, new: Mapping[str, Any] | None, tolerances: PlanTolerances
) -> Iterator[PlanChange]:
    """The sun and the ground first, then each element's shadows. Where a thing stands is told of the thing."""
    measured = (
        {_LEFT} if old and new and not _another_light(old.get(_LEFT, ()), new.get(_LEFT, ()), tolerances) else set()
    )
    yield from other_changes(_SUBJECT, old or {}, new or {}, {"shadows", "assumed", *measured}, tolerances)
    before, after = ({shadow["element"]: shadow for shadow in (part or {}).get("shadows", ())} for part in (old, new))
    for name in [*before, *(name for name in after if name not in before)]:
        one, other = before.get(name, {}), after.get(name, {})
        for key, word in _KINDS.items():
            if bool(one.get(key)) != bool(other.get(key)):
                yield PlanChange(name, f"{name} {word} is {'new' if other.get(key) else 'gone'}")
        if one and other:
            yield from _body(name, one.get(_BODY), other.get(_BODY), tolerances)
            yield from other_changes(name, one, other, {"element", "frame", _BODY, *_KINDS}, tolerances)


def _body(
    name: str, old: Mapping[str, Any] | None, new: Mapping[str, Any] | None, tolerances: PlanTolerances
) -> Iterator[PlanChange]:
    """The body that a thing is taken for where it throws its shadow: many numbers, told in one sentence."""
    if not any(leaf_changes(old, new, tolerances.value_fraction)):
        return
    told = [f"{name} throws the shadow of another body"]
    before, after = old or {}, new or {}
    depths = [f"{part['depth_m']:.2f} m" for part in (after, before) if part.get("depth_m") is not None]
    if len(set(depths)) == 2:
        told.append(f"{depths[0]} deep instead of {depths[1]}")
    if before.get("is_round") != after.get("is_round"):
        told.append("round" if after.get("is_round") else "no longer round")
    yield PlanChange(name, ", ".join(told))


def _another_light(old: Sequence[float], new: Sequence[float], tolerances: PlanTolerances) -> bool:
    return any(abs(b - a) > tolerances.light_fraction * a for a, b in zip(old, new, strict=False))
