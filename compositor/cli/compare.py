"""compositor compare: any two pictures, or two folders of pictures."""

from pathlib import Path
from typing import Annotated

import typer

from compositor.cli.options import JsonOption, JUnitOption, OutOption, faults_to_exit_2


def compare(
    first: Annotated[Path, typer.Argument(metavar="A", help="A picture, or a folder of pictures such as a render.")],
    second: Annotated[Path, typer.Argument(metavar="B", help="What it is compared with.")],
    out: OutOption = Path("outputs"),
    junit: JUnitOption = None,
    json_: JsonOption = False,
) -> None:
    """Compare two pictures or folders: what moved, what changed, and a page to look at."""
    with faults_to_exit_2():
        from compositor.jobs.compare import compare_folder, compare_paths
        from compositor.jobs.publishing import publish

        done = publish(compare_paths(first, second, out), compare_folder(first, second, out), junit, "Before")
    typer.echo(done.as_json() if json_ else done.as_text(), nl=False)
    raise typer.Exit(done.exit_status())
