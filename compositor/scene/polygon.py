"""Polygons drawn in a picture."""

from typing import Annotated

from pydantic import AfterValidator, Field
from pydantic_core import PydanticCustomError

from compositor.scene.part import Point, Several


def _has_area(polygon: tuple[Point, ...]) -> tuple[Point, ...]:
    closed = zip(polygon, polygon[1:] + polygon[:1], strict=True)
    if sum(a[0] * b[1] - b[0] * a[1] for a, b in closed) == 0.0:
        raise PydanticCustomError("no_area", "a polygon without area")
    return polygon


Polygon = Annotated[Several[Point], Field(min_length=3, max_length=20_000), AfterValidator(_has_area)]
