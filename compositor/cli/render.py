"""compositor render: composites, overlays, layered files and reports."""

from pathlib import Path
from typing import Annotated

import typer

from compositor.cli.options import (
    FailOn,
    FailOnOption,
    JobsOption,
    JsonOption,
    OutOption,
    SceneArgument,
    SetOption,
    VariantOption,
    WithoutOption,
    faults_to_exit_2,
    settings,
    tell_progress,
)


def render(
    scene: SceneArgument,
    variant: VariantOption = None,
    set_: SetOption = None,
    out: OutOption = Path("outputs"),
    without: WithoutOption = None,
    page: Annotated[bool, typer.Option("--page", help="Write one HTML file with all the pictures, too.")] = False,
    jobs: JobsOption = 2,
    json_: JsonOption = False,
    fail_on: FailOnOption = FailOn.ERROR,
) -> None:
    """Render a scene: composite, debug overlay, layered file and report."""
    with faults_to_exit_2():
        from compositor.jobs.batch import Choice
        from compositor.jobs.render import Rendering, render_variants

        choice = Choice(scene, settings(set_), variant or (), jobs, tell_progress)
        done = render_variants(choice, Rendering(out, frozenset(without or ())))
        if page:
            from compositor.jobs.publishing import publish_gallery

            tell_progress(f"to look at: {publish_gallery(scene, done.variants, out)}")
    for line in done.failures():
        typer.echo(line, err=True)
    typer.echo(done.as_json() if json_ else done.as_text(), nl=False)
    raise typer.Exit(done.exit_status(fail_on.value))
