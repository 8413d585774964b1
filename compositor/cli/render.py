"""compositor render: composites, overlays, layered files and reports."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from compositor.cli.options import (
    CacheOption,
    FailOn,
    FailOnOption,
    JobsOption,
    JsonOption,
    MemoryOption,
    NoCacheOption,
    OutOption,
    ResumeOption,
    SceneArgument,
    SchedulerOption,
    SetOption,
    VariantOption,
    WithoutOption,
    Workers,
    WorkersOption,
    faults_to_exit_2,
    settings,
    tell,
)

if TYPE_CHECKING:
    from compositor.jobs.batch import Means


def render(
    scene: SceneArgument,
    variant: VariantOption = None,
    set_: SetOption = None,
    out: OutOption = Path("outputs"),
    without: WithoutOption = None,
    page: Annotated[bool, typer.Option("--page", help="Write one HTML file with all the pictures, too.")] = False,
    resume: ResumeOption = False,
    jobs: JobsOption = None,
    workers: WorkersOption = Workers.THREADS,
    scheduler: SchedulerOption = None,
    memory: MemoryOption = None,
    cache: CacheOption = None,
    no_cache: NoCacheOption = False,
    json_: JsonOption = False,
    fail_on: FailOnOption = FailOn.ERROR,
) -> None:
    """Render a scene: composite, debug overlay, layered file and report."""
    with faults_to_exit_2():
        from compositor.jobs.batch import Choice
        from compositor.jobs.progress import progress_on
        from compositor.jobs.render import Rendering, render_variants

        means = _means(workers, scheduler, memory, cache, no_cache)
        choice = Choice(scene, settings(set_), variant or (), jobs, progress_on(sys.stderr), means)
        try:
            done = render_variants(choice, Rendering(out, frozenset(extra.value for extra in without or ()), resume))
        except KeyboardInterrupt:
            tell("stopped; what is written is whole, and --resume goes on")
            raise
        if page:
            from compositor.jobs.publishing import publish_gallery

            tell(f"to look at: {publish_gallery(scene, done.variants, out)}")
    for line in done.failures():
        typer.echo(line, err=True)
    typer.echo(done.as_json() if json_ else done.as_text(), nl=False)
    raise typer.Exit(done.exit_status(fail_on.value))


def _means(workers: Workers, scheduler: str | None, memory: str | None, cache: Path | None, no_cache: bool) -> "Means":
    """Raises typer.BadParameter for a size that is none."""
    from compositor.jobs.batch import Means
    from compositor.jobs.cache import default_cache
    from compositor.jobs.memory import bytes_of

    try:
        memory_bytes = None if memory is None else bytes_of(memory)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--memory") from None
    kept = None if no_cache else cache or default_cache()
    return Means(workers.value, scheduler, memory_bytes, kept)
