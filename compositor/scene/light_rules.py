"""Which keys of the plate's light go together. Looks at the tree, as :mod:`compositor.scene.combinations`."""

from collections.abc import Iterator

from compositor.base.errors import Fault, Key
from compositor.scene.tree import Node

_FORMS = (("azimuth", "elevation"), ("pixel",), ("shadow",), ("time", "place", "heading"))
_DIRECTION = "azimuth and elevation, pixel, shadow, or time, place and heading"


def light_faults(light: Node, key: Key) -> Iterator[Fault]:
    """Two directions at once, half a direction, and none where the sun is to shine."""
    if not isinstance(light.value, dict):
        return
    given = light.mapping
    forms = [form for form in _FORMS if any(name in given for name in form)]
    if len(forms) > 1:
        first = [next(name for name in form if name in given) for form in forms]
        yield Fault((*key, first[1]), f"two forms at once: {', '.join(first)}; keep one")
        return
    for form in forms:
        for name in form:
            if name not in given:
                there = next(other for other in form if other in given)
                yield Fault((*key, name), f"missing: goes with `{there}`; a direction is {_DIRECTION}")
    sun = given.get("sun")
    if not forms and (sun is None or sun.value != 0 or isinstance(sun.value, bool)):
        yield Fault(key, f"needs the sun's direction ({_DIRECTION}), or `sun: 0` for an overcast sky")
