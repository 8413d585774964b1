"""From a plan to findings: every rule, in one order."""

from collections.abc import Sequence

from compositor.audit.delivered import delivered
from compositor.audit.evidence import element_assumed, plate_assumed, uncertain
from compositor.audit.findings import SEVERITIES, Case, Covers, Finding
from compositor.audit.framing import contact, cut, floating
from compositor.audit.ground import intersecting
from compositor.audit.horizons import horizon_gap, roll
from compositor.audit.light import light_side, shadow_on_holdout
from compositor.audit.marks import marks
from compositor.audit.sizes import enlarged, heights, kind, stretch
from compositor.audit.views import azimuth, elevation
from compositor.plan.model import Plan

ELEMENT_RULES = (
    element_assumed,
    uncertain,
    heights,
    kind,
    elevation,
    azimuth,
    horizon_gap,
    roll,
    enlarged,
    contact,
    cut,
    floating,
    stretch,
    light_side,
    shadow_on_holdout,
)


def audit(plan: Plan, covers: Covers | None = None) -> tuple[Finding, ...]:
    """All findings of a plan: the plate's first, then each element's in draw order, then those of pairs, of marks
    and of deliveries.

    covers: how far a holdout covers pixels of the full frame, where its matte is at hand.
    """
    case = Case(plan, covers)
    found = list(plate_assumed(plan))
    for element in plan.elements:
        for rule in ELEMENT_RULES:
            found.extend(rule(case, element))
    found.extend(intersecting(case))
    found.extend(marks(plan))
    found.extend(delivered(case))
    return tuple(found)


def at_or_above(findings: Sequence[Finding], severity: str) -> bool:
    """Whether any finding is at least that severe."""
    order: tuple[str, ...] = SEVERITIES
    return any(order.index(finding.severity) >= order.index(severity) for finding in findings)
