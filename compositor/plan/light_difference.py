"""What differs between the light of two plans."""

from collections.abc import Iterator, Mapping
from typing import Any

from compositor.base.tolerances import PlanTolerances
from compositor.plan.change import PlanChange, other_changes

_SUBJECT = "light"
_KINDS = {"cast": "cast shadow", "contact": "contact shadow"}


def light_changes(
    old: Mapping[str, Any] | None, new: Mapping[str, Any] | None, tolerances: PlanTolerances
) -> Iterator[PlanChange]:
    """The sun and the ground first, then each element's shadows. Where a thing stands is told of the thing."""
    yield from other_changes(_SUBJECT, old or {}, new or {}, {"shadows", "assumed"}, tolerances)
    before, after = ({shadow["element"]: shadow for shadow in (part or {}).get("shadows", ())} for part in (old, new))
    for name in [*before, *(name for name in after if name not in before)]:
        one, other = before.get(name, {}), after.get(name, {})
        for key, word in _KINDS.items():
            if bool(one.get(key)) != bool(other.get(key)):
                yield PlanChange(name, f"{name} {word} is {'new' if other.get(key) else 'gone'}")
        if one and other:
            yield from other_changes(name, one, other, {"element", "frame", *_KINDS}, tolerances)
