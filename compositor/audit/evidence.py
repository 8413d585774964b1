"""Rules about what is known: assumptions, and uncertainty too large to tell."""

from collections.abc import Iterator, Sequence

from compositor.audit.findings import Case, Finding, Remedy, ranked
from compositor.audit.wording import setting
from compositor.geometry.camera import Camera
from compositor.plan.model import PlacedElement, Plan

_DEVIATIONS = 2.0
"""Two standard deviations hold 19 of 20 cases (normal distribution)."""


def plate_assumed(plan: Plan) -> Iterator[Finding]:
    """What nothing states about the plate."""
    for text in _worth_telling(plan, plan.plate.assumed):
        stated = _stated(text, plan.plate.camera)
        key = "light" if _subject(text) == "light" else "camera"
        yield _assumed(None, text, None if stated is None else (f"plate.{key}.{stated[0]}", stated[1]))


def element_assumed(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """What nothing states about an element's camera."""
    for text in _worth_telling(case.plan, element.assumed):
        stated = None if element.own_camera is None else _stated(text, element.own_camera)
        yield _assumed(
            element.name, text, None if stated is None else setting(element, f"camera.{stated[0]}", stated[1])
        )


def _worth_telling(plan: Plan, texts: Sequence[str]) -> list[str]:
    return [text for text in texts if _subject(text) not in plan.tolerances.assumed]


def _stated(text: str, camera: Camera) -> tuple[str, str] | None:
    """Key and value of a camera that state what a text says was assumed; None for what is no camera's."""
    values = {
        "lens": ("lens", f"{{pixels: {camera.focal_px:.3f}}}"),
        "roll": ("roll", "0"),
        "height": ("height", f"{camera.height_m:.5g}"),
        "camera height": ("height", f"{camera.height_m:.5g}"),
        "sun's share": ("sun", _share(text)),
    }
    return next((value for words, value in values.items() if text.startswith(f"{words} of ")), None)


def _share(text: str) -> str:
    """The percentage that a text tells, as a share."""
    told = text.partition("%")[0].rpartition(" ")[2]
    return f"{int(told) / 100.0:g}" if told.isdigit() else ""


def _subject(text: str) -> str:
    """What an assumption is about, as tolerances name it."""
    word = text.removeprefix("camera ").split(" ")[0]
    return "light" if word == "sun's" else word


def _known_otherwise(element: str | None, text: str) -> str:
    if element is not None and _subject(text) == "height":
        return "If its real height or its camera's is known, state that one; its size follows it."
    follow = "shadows follow" if _subject(text) == "light" else "sizes and places follow"
    return f"If another value is known, state that one; {follow} it."


def _assumed(element: str | None, text: str, stated: tuple[str, str] | None) -> Finding:
    what, _, why = text.partition(": ")
    right = None if stated is None else Remedy("If that is right, state it.", (stated,), True, 0.0)
    other = Remedy(_known_otherwise(element, text), change=0.5)
    return Finding(
        "assumed",
        "info",
        element,
        f"Assumed for {element or 'the plate'}: {what}{f' ({why})' if why else ''}.",
        ranked([right, other]),
        f"assumed {what}",
    )


def uncertain(case: Case, element: PlacedElement) -> Iterator[Finding]:
    """Where the numbers are known too loosely to judge by them."""
    limits, known = case.plan.tolerances, element.plus_minus
    view_deg = _DEVIATIONS * known.get("view_elevation_mismatch_deg", 0.0)
    scale = _DEVIATIONS * known.get("scale_ratio", 0.0) / max(element.scale_ratio, 1e-12)
    told = []
    if view_deg > limits.view_elevation_deg:
        told.append(f"the angle at which it is seen from above to ±{view_deg:.1f}°")
    if scale > limits.scale_uncertainty_fraction:
        told.append(f"its size to ±{scale:.1%}")
    if told:
        yield Finding(
            "too-uncertain",
            "warning",
            element.name,
            f"{element.name} is known too loosely to judge: {' and '.join(told)} (in 19 cases of 20).",
            (
                Remedy(
                    "Mark three or more long level edges for the horizon, in the plate and in its photograph, or state "
                    "the horizon more closely.",
                    change=0.0,
                ),
            ),
            f"known only to ±{view_deg:.1f}° and ±{scale:.0%}",
        )
