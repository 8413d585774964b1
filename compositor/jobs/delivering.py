"""A delivery's picture, rendered at its own size, in its space and depth, with its graphics.

The full frame is drawn only for what shows all of it; nothing smaller is cut or shrunk from it, so a delivery is the
same whatever else is written.
"""

from dataclasses import replace
from functools import cached_property, partial

from compositor.base.arrays import Pixels
from compositor.colour.coding import convert_linear
from compositor.colour.space import SRGB, Space
from compositor.deliver.graphics import Easel
from compositor.jobs.keeping import Drawn
from compositor.jobs.pictures import Prepared
from compositor.jobs.solving import Problem
from compositor.plan.model import Delivery
from compositor.render.compose import compose, compose_linear, compose_onto
from compositor.render.layers import Layer, render_layers
from compositor.render.shaping import frame_shape, picture_shape
from compositor.render.view import Sampled, View, encode_opaque, sample_plate, view_plate


def composed(problem: Problem, ready: Prepared, view: View, spare: bool = False) -> Drawn:
    """The layers without the plate, and the encoded frame, of a view. spare: no picture is needed any more."""

    def make() -> Drawn:
        plate, layers = _layers(problem, ready, view, spare)
        if spare and not isinstance(plate, Sampled) and plate.flags.writeable:
            compose_onto(plate, ready.space, layers)
            return layers, plate
        return layers, compose(plate, ready.space, layers)

    return ready.keeper.picture(picture_shape(problem.plan, view), make)


def _layers(problem: Problem, ready: Prepared, view: View, spare: bool = False) -> tuple[Pixels | Sampled, list[Layer]]:
    """The plate and the layers over it, as a view shows them."""
    plate = _seen_plate(problem, ready, view)
    pictures = replace(ready.pictures, let_go=spare)
    return plate, render_layers(problem.plan, pictures, plate, ready.space, view)


def _seen_plate(problem: Problem, ready: Prepared, view: View) -> Pixels | Sampled:
    """As a view shows it: where it has to be sampled, strip by strip for the first variant, and held for others and for
    layers that look into it."""
    shelf, plan, shape = problem.inputs.shelf, problem.plan, (frame_shape(problem.plan.plate), view)
    looked_into = plan.holdouts or (plan.light is not None and plan.plate.air is not None)
    if view.cut_px is None and (shelf.again("plate view", (), shape) or looked_into):
        look = partial(sample_plate, ready.plate, ready.space, view, ready.softened)
        return shelf.take("plate view", (), shape, lambda: look().whole())
    return view_plate(ready.plate, ready.space, view, ready.softened)


class Frame:
    """A variant's full frame, drawn when something first asks for it.

    layered: whether its layers will be asked for, too; else they are let go, which are larger than the frame.
    """

    def __init__(self, problem: Problem, ready: Prepared, layered: bool) -> None:
        self.problem, self.ready, self.layered = problem, ready, layered
        self.view = View.of_frame(problem.plan.plate.size_px)

    @cached_property
    def _drawn(self) -> Drawn:
        layers, samples = composed(self.problem, self.ready, self.view, self._last())
        return layers if self.layered else [], samples

    def _last(self) -> bool:
        """Whether nothing looks at a picture again once the frame is drawn: to keep the plate as it was, and cut-outs,
        would only take memory."""
        plan = self.problem.plan
        alone = self.problem.inputs.shelf.users(plan.plate.source.image) == 1
        return alone and not self.layered and all(self.shown_by(delivery) for delivery in plan.deliveries)

    def shown_by(self, delivery: Delivery) -> bool:
        """Whether a delivery is the frame, in the same colours and no deeper."""
        same = View.of_window(delivery.window_px, delivery.size_px) == self.view
        return same and not _is_converted(self.ready, delivery)

    @property
    def layers(self) -> list[Layer]:
        """Without the plate. Raises ValueError where they were let go."""
        if not self.layered:
            raise ValueError("a frame of which no layers are wanted")
        return self._drawn[0]

    @property
    def samples(self) -> Pixels:
        """Encoded (h, w, 3)."""
        return self._drawn[1]


def delivery_space(ready: Prepared, delivery: Delivery) -> Space:
    """The space that a delivery is written in."""
    return SRGB if delivery.profile == "srgb" else ready.space


def delivered(frame: Frame, delivery: Delivery) -> Pixels:
    """A delivery's encoded picture (h, w, 3) in its own space and depth."""
    problem, ready = frame.problem, frame.ready
    view, space = View.of_window(delivery.window_px, delivery.size_px), delivery_space(ready, delivery)
    if _is_converted(ready, delivery):
        samples = _converted(problem, ready, view, space, delivery.depth_bits or ready.plate.dtype.itemsize * 8)
    elif frame.shown_by(delivery):
        samples = frame.samples
    else:
        samples = composed(problem, ready, view)[1]
    if delivery.graphics:
        samples = samples.copy()
        inputs = problem.inputs
        easel = Easel(samples, space, inputs.faces.__getitem__, lambda name: inputs.artwork[name].picture, ready.space)
        easel.draw(delivery.graphics)
    return samples


def shows_frame(frame: Frame, delivery: Delivery, samples: Pixels) -> bool:
    """Whether a delivery is a PNG file of the full frame as it is. samples: what was delivered."""
    plain = delivery.format == "png" and delivery.dpi is None and delivery.size_px == frame.view.size_px
    return plain and delivery.depth_bits in (None, samples.dtype.itemsize * 8) and samples is frame.samples


def _is_converted(ready: Prepared, delivery: Delivery) -> bool:
    deepened = delivery.depth_bits == 16 and ready.plate.dtype.itemsize == 1
    return delivery_space(ready, delivery).icc != ready.space.icc or deepened


def _converted(problem: Problem, ready: Prepared, view: View, space: Space, depth_bits: int) -> Pixels:
    """Composed in linear light and encoded only once, for another space or more bits than the plate has."""
    plate, layers = _layers(problem, ready, view)
    linear = compose_linear(plate, ready.space, layers)
    return encode_opaque(convert_linear(linear, ready.space, space), space, depth_bits)
