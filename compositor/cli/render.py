"""compositor render: composites, overlays, layered files and reports."""

from pathlib import Path
from typing import Annotated

import typer

from compositor.cli.options import (
    FailOn,
    FailOnOption,
    JsonOption,
    SceneArgument,
    SetOption,
    faults_to_exit_2,
    settings,
)


def render(
    scene: SceneArgument,
    set_: SetOption = None,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where to write.")] = Path("outputs"),
    json_: JsonOption = False,
    fail_on: FailOnOption = FailOn.ERROR,
) -> None:
    """Render a scene: composite, debug overlay, layered file and report."""
    with faults_to_exit_2():
        from compositor.jobs.render import render_scene

        done = render_scene(scene, settings(set_), out)
    typer.echo(done.as_json() if json_ else done.as_text(), nl=False)
    raise typer.Exit(done.exit_status(fail_on.value))
