"""A plan and its findings as a person reads them in a terminal."""

from collections.abc import Sequence

from compositor.audit.findings import Finding
from compositor.plan.model import PlacedElement, Plan


def told(plan: Plan, findings: Sequence[Finding], files: Sequence[str]) -> str:
    """Lines of text: the plate's camera, a line for each element, findings with their remedies, files."""
    camera = plan.plate.camera
    lines = [
        f"plate  {camera.size_px[0]} × {camera.size_px[1]} px, camera {camera.height_m:.2f} m high, "
        f"tilt {camera.pitch_deg:+.2f}°, roll {camera.roll_deg:+.2f}°, lens {camera.focal_px:.0f} px, "
        f"horizon at row {camera.horizon_row(camera.principal_px[0]):.1f}"
    ]
    width = max((len(element.name) for element in plan.elements), default=0)
    lines += [_element(element, width) for element in plan.elements]
    for finding in findings:
        lines.append(f"{finding.severity}: {finding.message}")
        if finding.remedy is not None:
            lines.append(f"    {finding.remedy}")
    lines += [f"wrote {name}" for name in files]
    return "\n".join(lines) + "\n"


def _element(element: PlacedElement, width: int) -> str:
    u, v = element.contact_px
    return (
        f"{element.name:<{width}}  {element.distance_m:6.2f} m away, {element.offset_m:+.2f} m aside, contact at "
        f"({u:.1f}, {v:.1f}), scale {element.scale_ratio:.1%}, {element.height_m:.2f} m high, "
        f"seen {element.view_elevation_mismatch_deg:+.1f}° off"
    )
