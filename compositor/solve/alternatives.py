"""Other photographs of an element: from where each was seen, and the settings that put it in."""

import json
from collections.abc import Mapping
from math import atan2, degrees, hypot

from compositor.geometry.ground import ground_point
from compositor.measure.facts import PictureFacts
from compositor.plan.model import Alternative
from compositor.scene.element import Alternative as AlternativeWords
from compositor.scene.element import Element
from compositor.solve.cameras import solve_camera, straightened
from compositor.solve.faults import about, within
from compositor.solve.taken import check_inside

_REPLACED = ("image", "matte", "camera", "contact", "top")
"""Keys that an alternative has of its own; left out there, they are dropped."""


def seen_alternatives(element: Element, facts: Mapping[str, PictureFacts]) -> tuple[Alternative, ...]:
    """The alternatives of an element whose pictures are at hand. Raises FaultyScene with keys relative to it."""
    found = []
    for index, words in enumerate(element.alternatives):
        if words.image in facts:
            with within(("alternatives", index)):
                found.append(_seen(words, facts[words.image]))
    return tuple(found)


def _seen(words: AlternativeWords, facts: PictureFacts) -> Alternative:
    check_inside(words.contact, facts.size_px)
    with within(("camera",)):
        model = solve_camera(words.camera, facts)
    camera = model.camera().at_height(1.0)  # angles do not depend on the height
    with about(("contact",), words.contact, " of its own camera"):
        x, y = ground_point(camera, straightened([words.contact], model.lens)[0])
    given = words.model_dump(mode="json", by_alias=True, exclude_unset=True)
    settings = [(key, _text(given.get(key))) for key in _REPLACED]
    if words.height is not None:
        settings.append(("height", _text(given["height"])))
    return Alternative(
        name=words.image,
        depression_deg=degrees(atan2(1.0, hypot(x, y))),
        azimuth_deg=degrees(atan2(x, y)),
        settings=(*settings, ("plumb", "null")),
    )


def _text(value: object) -> str:
    """A value as YAML on one line (JSON is a subset of it)."""
    return json.dumps(value, ensure_ascii=False)
