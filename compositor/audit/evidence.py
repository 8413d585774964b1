"""Rules about what is known: assumptions, and uncertainty too large to tell."""

from collections.abc import Iterator

from compositor.audit.findings import Case, Finding, Remedy
from compositor.audit.wording import setting
from compositor.plan.model import PlacedElement, Plan

_DEVIATIONS = 2.0
"""Two standard deviations hold 19 of 20 cases (normal distribution)."""


def plate_assumed(plan: Plan) -> Iterator[Finding]:
    """What nothing states about the plate's camera."""
    camera = plan.plate.camera
    values = {"lens": ("lens", f"{{pixels: {camera.focal_px:.3f}}}"), "height": ("height", f"{camera.height_m:g}")}
    for text in plan.plate.assumed:
        found = values.get(text.split(" ")[0], ("roll", "0"))
        yield _assumed(None, text, (f"plate.camera.{found[0]}", found[1]))


def element_assumed(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """What nothing states about an element's camera."""
    own = element.own_camera
    for text in element.assumed:
        if own is None:
            continue
        if text.startswith("lens"):
            key, value = "camera.lens", f"{{pixels: {own.focal_px:.3f}}}"
        elif text.startswith("roll"):
            key, value = "camera.roll", "0"
        else:
            key, value = "camera.height", f"{own.height_m:.4f}"
        yield _assumed(element.name, text, setting(element, key, value))


def _assumed(element: str | None, text: str, stated: tuple[str, str]) -> Finding:
    return Finding(
        "assumed",
        "info",
        element,
        f"{element or 'The plate'}: assumed {text}.",
        (
            Remedy("If that is right, state it.", (stated,), True, 0.0),
            Remedy("If another value is known, state that one; sizes and places follow it.", change=0.5),
        ),
        f"assumed {text.split(':')[0]}",
    )


def uncertain(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """Where the numbers are known too loosely to judge by them."""
    limits, known = case.plan.tolerances, element.plus_minus
    view_deg = _DEVIATIONS * known.get("view_elevation_mismatch_deg", 0.0)
    scale = _DEVIATIONS * known.get("scale_ratio", 0.0) / max(element.scale_ratio, 1e-12)
    told = []
    if view_deg > limits.view_elevation_deg:
        told.append(f"from how high it is seen only to ±{view_deg:.1f}°")
    if scale > limits.scale_uncertainty_fraction:
        told.append(f"its size only to ±{scale:.0%}")
    if told:
        yield Finding(
            "too-uncertain",
            "warning",
            element.name,
            f"For {element.name} one can tell {' and '.join(told)} (19 times of 20), which is too loose to judge by.",
            (
                Remedy(
                    "Mark three or more long level edges for the horizon, in the plate and in its photograph, or state "
                    "the horizon more closely.",
                    change=0.0,
                ),
            ),
            f"known only to ±{view_deg:.1f}° and ±{scale:.0%}",
        )
