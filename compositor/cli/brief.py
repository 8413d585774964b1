"""compositor brief: how to photograph a subject so that it fits its place."""

from datetime import date as date_
from pathlib import Path
from typing import Annotated

import typer

from compositor.cli.options import JsonOption, SceneArgument, SetOption, faults_to_exit_2, settings


def brief(
    scene: SceneArgument,
    element: Annotated[str | None, typer.Argument(metavar="[ELEMENT]", help="The element to be photographed.")] = None,
    set_: SetOption = None,
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="DISTANCE,OFFSET", help="Instead of an element: a place in metres on the ground."),
    ] = None,
    height: Annotated[
        float | None, typer.Option("--height", metavar="METRES", help="The subject's height; goes with --at.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="KIND", help="What it is, such as person: its usual height.")
    ] = None,
    sensor: Annotated[
        str, typer.Option("--sensor", metavar="MM,MM", help="Long and short side of the sensor at hand.")
    ] = "36,24",
    pixels: Annotated[
        str, typer.Option("--pixels", metavar="PX,PX", help="Long and short side of its pictures.")
    ] = "6000,4000",
    sun: Annotated[
        str | None,
        typer.Option(
            "--sun",
            metavar="AZIMUTH,ELEVATION",
            help="The sun, where the scene tells none: degrees to the right of the plate's view, and degrees high.",
        ),
    ] = None,
    site: Annotated[
        str | None, typer.Option("--site", metavar="LATITUDE,LONGITUDE", help="Where the photograph will be taken.")
    ] = None,
    date: Annotated[str | None, typer.Option("--date", metavar="YYYY-MM-DD", help="When; goes with --site.")] = None,
    zone: Annotated[
        str, typer.Option("--zone", metavar="ZONE", help="The time zone to tell times in, such as Europe/Rome.")
    ] = "UTC",
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where to write the sheet.")] = Path("outputs"),
    json_: JsonOption = False,
) -> None:
    """Say how to photograph a subject so that it fits: from where, with which lenses, in which light; with a sheet."""
    size_mm, size_px = _two(sensor, "--sensor"), _two(pixels, "--pixels")
    place_m, sun_deg, site_deg = _some(at, "--at"), _some(sun, "--sun"), _some(site, "--site")
    with faults_to_exit_2():
        from compositor.audit.brief import Sensor
        from compositor.jobs.brief import Wanted, brief_scene

        held = Sensor((max(size_mm), min(size_mm)), (round(max(size_px)), round(min(size_px))))
        day = _day(date)
        wanted = Wanted(element, place_m, height, kind, held, sun_deg, site_deg, day, zone)
        done = brief_scene(scene, settings(set_), wanted, out)
    typer.echo(done.as_json() if json_ else done.as_text(), nl=False)


def _day(text: str | None) -> date_ | None:
    """A day. Raises typer.BadParameter."""
    try:
        return None if text is None else date_.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"must be a day such as 2026-06-21 ({text})", param_hint="--date") from None


def _some(text: str | None, option: str) -> tuple[float, float] | None:
    return None if text is None else _two(text, option, positive=False)


def _two(text: str, option: str, positive: bool = True) -> tuple[float, float]:
    """Two numbers with a comma between. Raises typer.BadParameter."""
    parts = text.split(",")
    try:
        first, second = (float(part) for part in parts)
    except ValueError:
        raise typer.BadParameter(f"must be two numbers with a comma between ({text})", param_hint=option) from None
    if not all(abs(value) < 1e9 for value in (first, second)) or (positive and min(first, second) <= 0.0):
        raise typer.BadParameter(f"must be two lengths greater than 0 ({text})", param_hint=option)
    return first, second
