"""compositor verify: a scene's pictures against those that were approved."""

import sys
from pathlib import Path

import typer

from compositor.cli.options import (
    JobsOption,
    JsonOption,
    JUnitOption,
    OutOption,
    SceneArgument,
    SetOption,
    VariantOption,
    faults_to_exit_2,
    settings,
)


def verify(
    scene: SceneArgument,
    variant: VariantOption = None,
    set_: SetOption = None,
    out: OutOption = Path("outputs"),
    jobs: JobsOption = None,
    junit: JUnitOption = None,
    json_: JsonOption = False,
) -> None:
    """Render a scene and compare it with its approved pictures: plan first, then pixels."""
    with faults_to_exit_2():
        from compositor.jobs.batch import Choice
        from compositor.jobs.progress import progress_on
        from compositor.jobs.publishing import publish
        from compositor.jobs.verify import run_folder, verify_scene

        choice = Choice(scene, settings(set_), variant or (), jobs, progress_on(sys.stderr))
        done = publish(verify_scene(choice, out).verdicts, run_folder(scene, out), junit)
    for line in done.failed:
        typer.echo(line, err=True)
    typer.echo(done.as_json() if json_ else done.as_text(), nl=False)
    raise typer.Exit(done.exit_status())
