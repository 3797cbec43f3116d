"""The command line: which commands there are, and how each of them ends.

Every command does its imports inside its function, so that ``--help`` loads nothing heavy. Errors
of beltpitch and of the command line itself become one line on standard error; nothing prints a
traceback.
"""

from __future__ import annotations

import sys

import typer
from typer.exceptions import TyperException

from beltpitch.cli import (
    adjust,
    belts,
    demo,
    frequency,
    hang,
    listen,
    pair,
    recording,
    span,
    tension,
    weigh,
    window,
)
from beltpitch.errors import BeltpitchError

app = typer.Typer(
    name="beltpitch",
    help="Belt tension from the pitch of a plucked span, and how far to trust it.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # the rich help loads rich.markdown: twice the whole start-up
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
for module in (
    tension,
    frequency,
    recording,
    listen,
    pair,
    belts,
    span,
    window,
    adjust,
    weigh,
    hang,
    demo,
):
    module.add_to(app)

INTERRUPTED = 130  # 128 + SIGINT, as shells report it


def run() -> None:
    """Run the command line and leave with its exit code: 0 done, 1 no answer, 2 wrong request."""
    sys.exit(run_with(sys.argv[1:]))


def run_with(arguments: list[str]) -> int:
    """Run one command and return its exit code."""
    try:
        code = app(arguments, standalone_mode=False)
    except TyperException as error:
        return _complain(" ".join(error.format_message().split()), error.exit_code)
    except BeltpitchError as error:
        return _complain(error.message, error.exit_code)
    except (KeyboardInterrupt, typer.Abort):
        return _complain("stopped", INTERRUPTED)
    except BrokenPipeError:
        # The reader of a pipe has had enough, as in `beltpitch belts | head`.
        sys.stderr.close()
        return 0
    return code if isinstance(code, int) else 0


def _complain(message: str, code: int) -> int:
    if message:
        sys.stderr.write(f"beltpitch: {message}\n")
    return code
