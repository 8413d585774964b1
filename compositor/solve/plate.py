"""The plate's camera in the full frame: the plate's own, moved by whatever was added around the picture."""

from functools import cache

from compositor.base.errors import Fault, FaultyScene
from compositor.base.limits import too_large
from compositor.base.sameness import once_for_each
from compositor.geometry.camera import Camera
from compositor.plan.effects import Air
from compositor.plan.model import EdgeGroup, Extension, PlatePlan, Point, Source
from compositor.scene.plate import Plate
from compositor.solve.cameras import CameraModel
from compositor.solve.effects import air_of, focus_of
from compositor.solve.uncertainty import NONE, Nudge, standard_deviations, variances

# A camera at the eye level of a standing person: 1.640 m for the median man, 1.517 m for the median woman
# (ANSUR II, NATICK/TR-15/007, 2014); between them.
ASSUMED_CAMERA_HEIGHT_M = 1.6


class PlateGround:
    """The plate's solved camera in the full frame, under any nudge, and its pixels moved into that frame."""

    def __init__(self, plate: Plate, model: CameraModel, agreed_height_m: float | None = None) -> None:
        """agreed_height_m: what marks in the picture agree on, where nothing states the camera's height.

        Raises FaultyScene for a frame beyond the pixel limit.
        """
        extend = plate.extend
        self.extension = Extension() if extend is None else Extension(**extend.model_dump())
        self.plate, self.model = plate, model
        width, height = model.size_px
        self.size_px = (
            width + self.extension.left + self.extension.right,
            height + self.extension.top + self.extension.bottom,
        )
        reason = too_large(self.size_px)
        if reason is not None:
            raise FaultyScene([Fault(("plate", "extend"), f"the plate with what is added around it {reason}")])
        self.assumed_height_m = ASSUMED_CAMERA_HEIGHT_M if agreed_height_m is None else agreed_height_m
        why = "the eye of a standing person" if agreed_height_m is None else "what most of the marks agree on"
        self.camera, self.unmoved = cache(self._camera), cache(self._unmoved)
        self.height_text = None if model.height_known else f"height of {self.assumed_height_m:.4g} m: {why}"

    def _camera(self, nudge: Nudge = NONE) -> Camera:
        """The plate's camera in the full frame."""
        return self.unmoved(nudge).shifted(self.extension.left, self.extension.top, self.size_px)

    def _unmoved(self, nudge: Nudge = NONE) -> Camera:
        """The plate's camera in the plate's own pixels."""
        camera = self.model.camera(nudge)
        if self.model.height_known:
            return camera
        return camera.at_height(self.assumed_height_m * (1.0 + nudge.height_fraction))

    def moved(self, points_px: tuple[Point, ...]) -> tuple[Point, ...]:
        """Points of the plate's picture in the full frame, without distortion."""
        left, top = self.extension.left, self.extension.top
        return tuple((u + left, v + top) for u, v in self.model.straight(points_px))


@once_for_each
def plate_plan(ground: PlateGround) -> PlatePlan:
    def numbers(nudge: Nudge) -> dict[str, float]:
        camera = ground.camera(nudge)
        return {
            "pitch_deg": camera.pitch_deg,
            "roll_deg": camera.roll_deg,
            "focal_px": camera.focal_px,
            "camera_height_m": camera.height_m,
            "horizon_left_px": camera.horizon_row(0.0),
            "horizon_right_px": camera.horizon_row(float(ground.size_px[0])),
        }

    camera, model = ground.camera(), ground.model
    now = numbers(NONE)
    width = float(ground.size_px[0])
    air = air_of(ground.plate.air)
    texts = (ground.height_text, _air_text(air, (now["horizon_left_px"], now["horizon_right_px"]), ground.size_px[1]))
    return PlatePlan(
        source=Source(ground.plate.image, lens=model.lens),
        extension=ground.extension,
        camera=camera,
        horizon_px=((0.0, now["horizon_left_px"]), (width, now["horizon_right_px"])),
        plus_minus=standard_deviations(variances(numbers, model.uncertain)),
        assumed=(*model.assumed, *(text for text in texts if text is not None)),
        edge_groups=tuple(_moved_group(group, ground.extension) for group in model.edge_groups),
        air=air,
        focus=focus_of(ground.plate.focus),
    )


def _air_text(air: Air | None, horizon_rows_px: tuple[float, float], height_px: int) -> str | None:
    """What is assumed of the air's colour where the plate does not show any."""
    above, below = max(horizon_rows_px) < 0.0, min(horizon_rows_px) > height_px
    if air is None or air.colour is not None or not (above or below):
        return None
    edge = "top" if above else "bottom"
    return f"the air's colour: the plate's along its {edge} edge, since the horizon lies outside"


def _moved_group(group: EdgeGroup, extension: Extension) -> EdgeGroup:
    left, top = extension.left, extension.top
    u, v, w = group.vanishing_px
    edges = tuple(((a[0] + left, a[1] + top), (b[0] + left, b[1] + top)) for a, b in group.edges_px)
    return EdgeGroup(edges, (u + left * w, v + top * w, w))
