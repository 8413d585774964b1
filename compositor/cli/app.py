"""The command line: a command parses, calls one job, prints its record and returns the record's exit status.

Heavy imports (numpy, OpenCV, pydantic) wait inside the commands, so that help answers at once.
"""

import os
import sys

# numpy's linear algebra pool is never needed and costs start-up time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import typer

from compositor.cli.approve import approve
from compositor.cli.brief import brief
from compositor.cli.check import check
from compositor.cli.compare import compare
from compositor.cli.diff import diff
from compositor.cli.estimate import estimate
from compositor.cli.list import list_
from compositor.cli.render import render
from compositor.cli.schema import schema
from compositor.cli.verify import verify

app = typer.Typer(
    name="compositor",
    help="Place photographs of different cameras into one picture by camera geometry.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
    no_args_is_help=True,
)
app.command()(render)
app.command()(check)
app.command()(estimate)
app.command()(brief)
app.command("list")(list_)
app.command()(verify)
app.command()(approve)
app.command()(compare)
app.command()(diff)
app.command()(schema)


@app.callback()
def callback() -> None:
    """Exit status: 0 good; 1 findings at or above --fail-on, or pictures that differ; 2 unusable input; 3 some variants
    failed."""


def main() -> None:
    """Entry point of the `compositor` command."""
    try:
        app()
    except BrokenPipeError:  # the reader of our output went away, as `| head` does
        sys.stderr.close()
        sys.exit(0)


if __name__ == "__main__":
    main()
