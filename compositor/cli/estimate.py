"""compositor estimate: the camera of a photograph, with its uncertainty."""

from pathlib import Path
from typing import Annotated

import typer

from compositor.cli.options import JsonOption, faults_to_exit_2

PhotoArgument = Annotated[Path, typer.Argument(metavar="PHOTO", help="The photograph.")]
EvidenceOption = Annotated[
    Path | None,
    typer.Option(
        "--evidence",
        metavar="FILE",
        help="What is known besides (YAML): level, upright, standing, row, between, points, pitch, roll, height, lens.",
    ),
]
OutOption = Annotated[Path, typer.Option("--out", metavar="DIR", help="Where the annotated picture goes.")]


def estimate(
    photo: PhotoArgument, evidence: EvidenceOption = None, out: OutOption = Path("outputs"), json_: JsonOption = False
) -> None:
    """Find horizon, tilt, roll and lens in a photograph, and print a camera to paste into a scene."""
    with faults_to_exit_2():
        from compositor.jobs.estimate import estimate as estimate_photo

        done = estimate_photo(photo, evidence, out)
    typer.echo(done.as_json() if json_ else done.as_text(), nl=False)
    raise typer.Exit(done.exit_status)
