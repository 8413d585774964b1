"""Numbers and settings as the audit writes them."""

from compositor.plan.model import PlacedElement, Plan, Point


def plain(value: float, digits: int = 1) -> str:
    """A number without a minus before nothing."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def sideways(angle_deg: float) -> str:
    """An azimuth in words."""
    if abs(angle_deg) < 0.05:
        return "straight ahead"
    return f"{plain(abs(angle_deg))}° to the {'right' if angle_deg > 0 else 'left'}"


def held(pitch_deg: float, roll_deg: float, digits: int = 2) -> list[str]:
    """How a camera was held: its tilt, and the slant of the horizon in its picture where there is one."""
    tilt, slant = plain(abs(pitch_deg), digits), plain(abs(roll_deg), digits)
    level = float(tilt) == 0.0
    said = ["aimed level" if level else f"tilted {tilt}° {'up' if pitch_deg > 0 else 'down'}"]
    if float(slant) != 0.0:
        said.append(f"horizon rising {slant}° to the {'right' if roll_deg > 0 else 'left'}")
    return said


def setting(element: PlacedElement, key: str, value: str) -> tuple[str, str]:
    """One setting of an element."""
    return f"elements.{element.name}.{key}", value


def ground_setting(element: PlacedElement, ground_m: Point) -> tuple[str, str]:
    """The setting that puts an element's contact on a ground point (X, Y) in metres."""
    return setting(element, "ground", f"{{distance: {ground_m[1]:.4f}, offset: {plain(ground_m[0], 4)}}}")


def ground_goes_on(plan: Plan) -> list[tuple[str, str]]:
    """The setting that lets the ground go on in a strip below: mirrored ground shows."""
    return [("plate.extend.fill", "stretch")] if plan.plate.extension.fill == "mirror" else []


def place(ground_m: Point) -> str:
    """A ground point in words."""
    x, y = ground_m
    aside = "" if abs(x) < 0.005 else f", {abs(x):.2f} m to the {'right' if x > 0 else 'left'}"
    return f"{y:.2f} m away{aside}"
