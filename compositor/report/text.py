"""A plan and its findings as a person reads them in a terminal."""

from collections.abc import Sequence
from shlex import quote

from compositor.audit.findings import Finding
from compositor.audit.wording import held
from compositor.plan.model import PlacedElement, Plan


def told(plan: Plan, findings: Sequence[Finding], files: Sequence[str]) -> str:
    """Lines of text: the plate's camera, a line for each element, findings with their remedies, files."""
    camera = plan.plate.camera
    lines = [
        f"plate  {camera.size_px[0]} × {camera.size_px[1]} px, camera {camera.height_m:.2f} m high, "
        f"{', '.join(held(camera.pitch_deg, camera.roll_deg))}, focal length {camera.focal_px:.0f} px, "
        f"horizon at row {camera.horizon_row(camera.size_px[0] / 2.0):.1f}"
    ]
    width = max((len(element.name) for element in plan.elements), default=0)
    lines += [_element(element, width) for element in plan.elements]
    for finding in findings:
        lines.append(f"{finding.severity}: {finding.message}")
        for number, remedy in enumerate(finding.remedies, 1):
            lines.append(f"    {number}. {remedy.text}")
            if remedy.settings:
                lines.append("       " + " ".join(_option(*setting) for setting in remedy.settings))
    lines += [f"wrote {name}" for name in files]
    return "\n".join(lines) + "\n"


def told_of_several(variants: Sequence[tuple[str, Sequence[Finding], Sequence[str]]]) -> str:
    """Lines for variants (name, findings, files): each with its files, then every finding once, with its variants."""
    lines: list[str] = []
    width = max((len(name) for name, _, _ in variants), default=0)
    for name, findings, files in variants:
        counts = [(severity, sum(f.severity == severity for f in findings)) for severity in ("error", "warning")]
        found = ", ".join(f"{count} {severity}{'s' if count > 1 else ''}" for severity, count in counts if count)
        folder = f"wrote {len(files)} files to {files[0].rpartition('/')[0]}" if files else "solved"
        lines.append(f"{name:<{width}}  {folder}" + (f"; {found}" if found else ""))
    shared: dict[tuple[str, str, str | None], list[str]] = {}  # by what is printed: further ways out may differ
    for name, findings, _ in variants:
        for finding in findings:
            found_in = shared.setdefault((finding.severity, finding.message, finding.remedy), [])
            found_in += [name] if name not in found_in else []
    for (severity, message, remedy), names in shared.items():
        where = "all variants" if len(names) == len(variants) else _some(names)
        lines.append(f"{severity}: {message} [{where}]")
        if remedy is not None:
            lines.append(f"    {remedy}")
    if any(remedy is not None for _, _, remedy in shared):
        lines.append(
            "Of each only the first way out; `compositor check SCENE --variant NAME` tells all, with --set lines."
        )
    return "\n".join(lines) + "\n"


def _some(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) <= 4 else f"{', '.join(names[:3])} and {len(names) - 3} more"


def _option(key: str, value: str) -> str:
    """A setting as it is typed in a shell."""
    return f"--set {quote(f'{key}={value}')}"


def _element(element: PlacedElement, width: int) -> str:
    u, v = element.contact_px
    return (
        f"{element.name:<{width}}  {element.distance_m:6.2f} m away, {_aside(element.offset_m)}, contact at "
        f"({u:.1f}, {v:.1f}), scale {element.scale_ratio:.1%}, {element.height_m:.2f} m "
        f"{'deep' if element.stance == 'flat' else 'high'}{_view(element)}"
    )


def _aside(offset_m: float) -> str:
    """How far to the side of the plate's view something stands."""
    return f"{abs(offset_m):.2f} m {'left' if round(offset_m, 2) < 0 else 'right'}"


def _view(element: PlacedElement) -> str:
    """How far its own camera looked down on it at another angle; nothing for artwork, which is drawn for its place."""
    off_deg = round(element.view_elevation_mismatch_deg, 1)
    if element.own_camera is None:
        return ""
    if off_deg == 0.0:
        return ", seen from the right height"
    return f", seen {abs(off_deg):.1f}° too {'little' if off_deg > 0 else 'much'} from above"
