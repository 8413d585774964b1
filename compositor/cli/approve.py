"""compositor approve: what a scene renders now becomes what it is compared with."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from compositor.cli.options import (
    JobsOption,
    JsonOption,
    OutOption,
    SceneArgument,
    VariantOption,
    faults_to_exit_2,
)


def approve(
    scene: SceneArgument,
    variant: VariantOption = None,
    out: OutOption = Path("outputs"),
    jobs: JobsOption = None,
    even_in_ci: Annotated[
        bool, typer.Option("--even-in-ci", help="Approve although CI is true, where it is refused otherwise.")
    ] = False,
    json_: JsonOption = False,
) -> None:
    """Render a scene and keep small pictures and the plan beside it, to be compared with later; list what changes."""
    with faults_to_exit_2():
        from compositor.jobs.approve import Consent, approve_scene
        from compositor.jobs.batch import Choice
        from compositor.jobs.progress import progress_on

        done = approve_scene(Choice(scene, (), variant or (), jobs, progress_on(sys.stderr)), out, Consent(even_in_ci))
    for line in done.verdicts.failed:
        typer.echo(line, err=True)
    typer.echo(done.as_json() if json_ else done.as_text(), nl=False)
    raise typer.Exit(done.exit_status())
