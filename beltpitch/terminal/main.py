"""The command line: which commands there are, and how each of them ends.

A command's module is loaded when the command is asked for, and does its own imports inside its
function, so that ``--help`` loads nothing heavy. Errors of beltpitch and of the command line itself
become one line on standard error; nothing prints a traceback.
"""

from __future__ import annotations

import sys
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperCommand, TyperGroup, TyperOption
from typer.exceptions import TyperException

from beltpitch.errors import BeltpitchError, RequestError

# Command (a module of that name beside this file) and what the help says of it.
COMMANDS = {
    "tension": "Tension from a frequency measured by hand.",
    "recording": "Tension from recordings of a plucked belt.",
    "listen": "Tension live: pluck beside the microphone.",
    "pair": "Are two belts matched, and which one to turn.",
    "frequency": "What to listen for at a wanted tension.",
    "window": "What the tension should be, and by which rule.",
    "adjust": "Which way and how far to turn the tensioner.",
    "study": "The best tension by trials: plan, record, learn.",
    "belts": "The belts known, each figure with its source.",
    "span": "Free span from pulleys, and where the tape runs.",
    "weigh": "Linear mass of a belt from a weighed piece.",
    "hang": "Linear mass and stiffness from hung weights.",
    "machine": "The machine file: belts, pairs and duties by name.",
    "history": "Readings that were kept: list, trend, export.",
    "report": "One page a machine, to print or send.",
    "page": "The measurement in a browser, to be seen from afar.",
    "demo": "Two belts of an invented gantry, read for real.",
}
# The panels of a help, and the options in each; what stands in none belongs to the command itself.
PANELS = {
    "Belt": ("--belt", "--width", "--linear-mass", "--construction", "--joined"),
    "Span": ("--span", "--ends"),
    "Target": ("--target", "--within", "--limit"),
    "Sound input": (
        "--device", "--devices", "--plucks", "--for", "--beep", "--low", "--high", "--clock",
        "--reference-tone",
    ),
    "Log": (
        "--machine", "--keep", "--book", "--note", "--seen", "--temperature", "--tensioned",
        "--new-belt", "--taken", "--sound", "--save",
    ),
    "Output": ("--details", "--json", "--unit", "--picture", "--fail-unless", "--help"),
    "Advanced": (
        "--strand", "--loop-sides", "--strand-limit", "--detent", "--pulley-teeth",
        "--rail-friction", "--parks", "--sides", "--travel", "--cross-check",
    ),
}  # fmt: skip
OWN = "Options"
# One line to copy at the end of each help.
EXAMPLES = {
    "tension": '-b "2GT 6 mm" -s "300 mm" -f "110 Hz"',
    "recording": 'y-left.wav -b "2GT 9 mm" -s "412 mm"',
    "listen": '-b "2GT 9 mm" -s "412 mm"',
    "pair": 'y-left.wav y-right.wav -b "2GT 9 mm" -s "412 mm"',
    "frequency": '-b "2GT 9 mm" -s "412 mm"',
    "window": '-b "2GT 9 mm"',
    "adjust": 'y-left --reading "12 N"',
    "belts": '"2GT 9 mm"',
    "span": "--drive fixed",
    "weigh": '-b "2GT 9 mm" --length "1 m" --mass "12.4 g"',
    "hang": '-b "2GT 9 mm" --length "300 mm"',
    "demo": "",
}
SETTINGS: dict[str, Any] = {
    "add_completion": False,
    "pretty_exceptions_enable": False,
    "rich_markup_mode": None,  # the rich help loads rich.markdown: twice the whole start-up
    "context_settings": {"help_option_names": ["-h", "--help"], "max_content_width": 100},
}


class Command(TyperCommand):
    """A command whose help has panels, and that refuses an option of one value given twice."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write arguments and options, each in its panel."""
        panels: dict[str, list[tuple[str, str]]] = {"Arguments": [], OWN: []}
        panels |= {name: [] for name in PANELS}
        for param in self.get_params(ctx):
            record = param.get_help_record(ctx)
            if record is None:
                continue
            own = OWN if isinstance(param, TyperOption) or param.opts[0][:1] == "-" else "Arguments"
            homes = [name for name, opts in PANELS.items() if {*param.opts} & {*opts}]
            panels[homes[0] if homes else own].append(record)
        for name, records in panels.items():
            if records:
                with formatter.section(name):
                    formatter.write_dl(records)

    def format_epilog(self, ctx: Any, formatter: Any) -> None:
        """Write an example to copy."""
        name = ctx.info_name
        if name in EXAMPLES and ctx.parent is not None and ctx.parent.parent is None:
            with formatter.section("Example"):
                formatter.write(f"  beltpitch {name} {EXAMPLES[name]}".rstrip() + "\n")

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the arguments.

        Raises
        ------
        RequestError
            If an option that takes one value is given twice.
        """
        _, _, order = self.make_parser(ctx).parse_args(args=list(args))
        for i, param in enumerate(order):
            once = isinstance(param, TyperOption) and not (param.multiple or param.is_flag)
            if once and param in order[:i]:
                raise RequestError(f"{param.opts[0]} is given twice: give it once")
        return super().parse_args(ctx, args)


def _refuse_repeats(app: typer.Typer) -> None:
    for command in app.registered_commands:
        command.cls = Command
    for group in app.registered_groups:
        if group.typer_instance is not None:
            _refuse_repeats(group.typer_instance)


class Commands(TyperGroup):
    """The commands of the table above, each loaded when it is asked for."""

    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ARG002 (signature of the base)
        """Return the names, in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:  # noqa: ARG002
        """Return one command, its module loaded."""
        if cmd_name not in COMMANDS:
            raise RequestError(
                f"no command {cmd_name!r}{_near(cmd_name)}; beltpitch --help lists them"
            )
        alone = typer.Typer(**SETTINGS)
        import_module(f"beltpitch.terminal.{cmd_name}").add_to(alone)
        _refuse_repeats(alone)
        made = typer.main.get_command(alone)
        made.name = cmd_name
        return made.commands[cmd_name] if isinstance(made, TyperGroup) else made

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002
        """Write the table, without loading a single command."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


def _near(name: str) -> str:
    from difflib import get_close_matches

    near = get_close_matches(name, COMMANDS, n=2)
    return f"; did you mean {' or '.join(near)}?" if near else ""


app = typer.Typer(name="beltpitch", cls=Commands, **SETTINGS)


def _version(wanted: bool) -> None:
    if wanted:
        from beltpitch.store.log import program

        sys.stdout.write(f"{program()}\n")
        raise typer.Exit


@app.callback()
def about(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Say which version."),
    ] = False,
) -> None:
    """Belt tension from the pitch of a plucked span, and how far to trust it."""


FIRST = """\
beltpitch turns the tone of a plucked belt into its tension.

From a frequency measured by hand, the belt as printed and its free span:
  beltpitch tension -b "2GT 6 mm" -s "300 mm" -f "110 Hz"
With a microphone:      beltpitch listen -b "2GT 6 mm" -s "300 mm"
Two belts of a gantry:  beltpitch pair
Without any belt:       beltpitch demo      All commands: beltpitch --help
"""
INTERRUPTED = 130  # 128 + SIGINT, as shells report it


def run() -> None:
    """Run the command line and leave with its exit code.

    0 done; 1 no answer; 2 wrong request; 3 another verdict than `--fail-unless` allows.
    """
    sys.exit(run_with(sys.argv[1:]))


def run_with(arguments: list[str]) -> int:
    """Run one command and return its exit code; without one say what to do first."""
    if not arguments:
        sys.stdout.write(FIRST)
        return 0
    if arguments[0] == "help":
        arguments = [*arguments[1:], "--help"]
    try:
        code = app(arguments, standalone_mode=False)
    except TyperException as error:
        if "\nUsage:" in f"\n{error.format_message()}":  # a group without a command: its help
            sys.stdout.write(error.format_message() + "\n")
            return 0
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
