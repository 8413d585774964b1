"""Layers: what is drawn over the plate, one storey each."""

from dataclasses import dataclass
from typing import Literal

from compositor.pixels.picture import Picture

Kind = Literal["plate", "element", "shadow", "contact", "holdout"]
Operator = Literal["over", "multiply"]


@dataclass(frozen=True)
class Layer:
    """One storey of the picture, cropped to its content.

    operator: "over" is Porter and Duff's source-over; "multiply" darkens what stands below by the layer's
    colour, as far as its alpha reaches. offset_px: (x, y) of its top-left pixel in the view.
    """

    name: str
    kind: Kind
    operator: Operator
    offset_px: tuple[int, int]
    picture: Picture
