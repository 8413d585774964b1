"""compositor check: all the geometry and the findings, no pixels."""

import typer

from compositor.cli.options import (
    FailOn,
    FailOnOption,
    JobsOption,
    JsonOption,
    SceneArgument,
    SetOption,
    VariantOption,
    faults_to_exit_2,
    settings,
)


def check(
    scene: SceneArgument,
    variant: VariantOption = None,
    set_: SetOption = None,
    jobs: JobsOption = None,
    json_: JsonOption = False,
    fail_on: FailOnOption = FailOn.ERROR,
) -> None:
    """Solve a scene and say what fits and what does not, without drawing anything."""
    with faults_to_exit_2():
        from compositor.jobs.check import check_scene

        done = check_scene(scene, settings(set_), variant or (), jobs)
    for line in done.failures():
        typer.echo(line, err=True)
    typer.echo(done.as_json() if json_ else done.as_text(), nl=False)
    raise typer.Exit(done.exit_status(fail_on.value))
