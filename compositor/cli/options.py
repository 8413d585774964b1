"""Options that several commands share, and how faults are printed."""

from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

SceneArgument = Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (YAML or JSON).")]
SetOption = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Change one key of the scene, as in plate.camera.horizon=800 or "
        "elements.lounge-chair.ground.distance=9. Repeatable.",
    ),
]
VariantOption = Annotated[
    list[str] | None,
    typer.Option(
        "--variant",
        metavar="NAME",
        help="Only this variant; with patterns such as uk-* (in quotes) all that match. Repeatable; default: all.",
    ),
]
JobsOption = Annotated[
    int | None, typer.Option("--jobs", metavar="N", min=1, help="Variants worked on at once; default: one per core.")
]
OutOption = Annotated[Path, typer.Option("--out", metavar="DIR", help="The folder to write into.")]
JUnitOption = Annotated[Path | None, typer.Option("--junit", metavar="FILE", help="Write JUnit XML there, too.")]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print the record as JSON on standard output, and nothing else there.")
]


class FailOn(StrEnum):
    """From which severity on findings make the exit status 1."""

    INFO = "info"
    WARNING = "warning"
    ERROR = "error"


class Extra(StrEnum):
    """What a render writes besides deliveries and report."""

    OVERLAY = "overlay"
    LAYERS = "layers"


WithoutOption = Annotated[
    list[Extra] | None,
    typer.Option(
        "--without", metavar="overlay|layers", help="Leave out all overlays, or all layered files. Repeatable."
    ),
]


class Workers(StrEnum):
    """What works on variants."""

    THREADS = "threads"
    PROCESSES = "processes"


WorkersOption = Annotated[
    Workers,
    typer.Option(
        "--workers",
        help="Threads of one process; or processes, of which one that is killed takes only its variant along.",
    ),
]
SchedulerOption = Annotated[
    str | None,
    typer.Option("--scheduler", metavar="ADDRESS", help="Work on a dask.distributed cluster that sees the same files."),
]
MemoryOption = Annotated[
    str | None,
    typer.Option(
        "--memory", metavar="SIZE", help="Use no more than this, such as 800M or 4G; default: half of the machine's."
    ),
]
CacheOption = Annotated[
    Path | None,
    typer.Option(
        "--cache",
        metavar="DIR",
        help="Where prepared pictures and layers are kept for the next run; default: the user's cache folder.",
    ),
]
NoCacheOption = Annotated[bool, typer.Option("--no-cache", help="Keep nothing for later, make all anew.")]
ResumeOption = Annotated[bool, typer.Option("--resume", help="Go on: leave variants that are done as they are.")]

FailOnOption = Annotated[
    FailOn, typer.Option("--fail-on", help="Findings of this severity or above make the exit status 1.")
]


def settings(pairs: list[str] | None) -> list[tuple[str, str]]:
    """KEY=VALUE options as pairs. Raises typer.BadParameter for one without a key or an equals sign."""
    found = []
    for pair in pairs or []:
        key, equals, value = pair.partition("=")
        if not equals or not key.strip():
            raise typer.BadParameter(f"must be KEY=VALUE ({pair})", param_hint="--set")
        found.append((key.strip(), value))
    return found


def tell(line: str) -> None:
    """A line on standard error, where it is in nobody's way."""
    typer.echo(line, err=True)


@contextmanager
def faults_to_exit_2() -> Iterator[None]:
    """Unusable input: a line for each fault on standard error and exit status 2, never a traceback."""
    from compositor.base.errors import UnusableInput

    try:
        yield
    except UnusableInput as error:
        for fault in error.faults:
            typer.echo(str(fault), err=True)
        raise typer.Exit(2) from None
