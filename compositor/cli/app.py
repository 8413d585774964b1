"""The command line: a command parses, calls one job, prints its record and returns the record's exit status.

Heavy imports (numpy, OpenCV, pydantic) wait inside the commands, so that help answers at once.
"""

import os
import signal
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
# In the order of a day's work, each in a line that the list of commands shows whole.
app.command(short_help="Render a scene: picture, overlay, layers and report.")(render)
app.command(short_help="Say what fits and what does not; nothing is drawn.")(check)
app.command(short_help="Find the camera in a photograph: horizon, tilt, lens.")(estimate)
app.command(short_help="Say how to photograph a subject so that it fits.")(brief)
app.command("list", short_help="Name the variants and what each changes.")(list_)
app.command(short_help="Say what a changed key would move; nothing is drawn.")(diff)
app.command(short_help="Keep small pictures of a render, to compare with.")(approve)
app.command(short_help="Render and compare with what was approved.")(verify)
app.command(short_help="Compare two pictures or two folders.")(compare)
app.command(short_help="Print the JSON Schema of the scene file.")(schema)


@app.callback()
def callback() -> None:
    """Exit status: 0 good; 1 findings at or above --fail-on, or pictures that differ; 2 unusable input; 3 some variants
    failed."""


# What typer raises for options that cannot be used; it keeps the class itself to itself.
UsageError: type[Exception] = typer.BadParameter.__mro__[1]


def main() -> None:
    """Entry point of the `compositor` command. Options that cannot be used are told in one line, as faults are."""
    signal.signal(signal.SIGTERM, _terminated)
    try:
        status = typer.main.get_command(app).main(standalone_mode=False)
        sys.stdout.flush()
    except UsageError as error:
        typer.echo(_told(error), err=True)
        sys.exit(2)
    except (typer.Abort, KeyboardInterrupt):
        sys.exit(130)
    except BrokenPipeError:  # the reader of our output went away, as `| head` does
        sys.stderr.close()
        sys.exit(0)
    except OSError as error:
        typer.echo(f"{error.filename or 'standard output'}: {error.strerror or error}", err=True)
        sys.exit(2)
    sys.exit(status or 0)


def _terminated(number: int, frame: object) -> None:
    """Asked to go: what is in hand is finished or dropped, as when interrupted."""
    sys.exit(128 + number)


def _told(error: Exception) -> str:
    """FILE:LINE:COLUMN: key: what, the command line standing for the file; a bare command's help as it is."""
    message = str(getattr(error, "format_message", error.__str__)())
    if type(error).__name__ == "NoArgsIsHelpError":
        return str(error)
    param = getattr(error, "param", None)
    hint = getattr(error, "param_hint", None) or (None if param is None else param.opts[0])
    what = " ".join(str(getattr(error, "message", "") or message).split())
    return f"command line:1:1: {f'{hint}: ' if hint else ''}{what.removeprefix('Value error, ')}"


if __name__ == "__main__":
    main()
