"""One difference between two plans, and how those without words of their own are told."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from compositor.base.tolerances import PlanTolerances
from compositor.plan.leaves import leaf_changes


@dataclass(frozen=True)
class PlanChange:
    """One difference. subject: an element, a delivery, or plate. text: in words, beginning with the subject.

    figures: the same in numbers, keys with units, where there are any. delivery: the only one that it is about.
    """

    subject: str
    text: str
    figures: Mapping[str, Any] = field(default_factory=dict)
    delivery: str | None = None


def other_changes(
    subject: str, old: Mapping[str, Any], new: Mapping[str, Any], known: set[str], tolerances: PlanTolerances
) -> Iterator[PlanChange]:
    """Whatever has no words of its own, by key. known: keys that are told otherwise, or shape no picture."""
    left, right = ({key: value for key, value in part.items() if key not in known} for part in (old, new))
    for text in leaf_changes(left, right, tolerances.value_fraction):
        yield PlanChange(subject, f"{subject} {text}")
