"""The page docs/commands.md, made from the commands themselves."""

from __future__ import annotations

from typing import Any

import typer

from beltpitch.terminal.main import COMMANDS, app
from tests.readme import DOCS

PAGE = DOCS / "commands.md"
# The page of the handbook that explains a command.
EXPLAINED = {
    "tension": "quickstart.md",
    "recording": "plucking.md",
    "listen": "listen.md",
    "pair": "pairs.md",
    "frequency": "spans.md",
    "window": "windows.md",
    "adjust": "adjusting.md",
    "belts": "spans.md",
    "span": "spans.md",
    "weigh": "calibrate.md",
    "hang": "calibrate.md",
    "machine": "book.md",
    "history": "book.md",
    "report": "book.md",
    "demo": "quickstart.md",
    "study": "study.md",
    "page": "page.md",
}
HEAD = """# Commands

Made from the commands themselves (by `python tests/readme.py`); `beltpitch COMMAND --help` says the
same.

Exit code 0: done. 1: the measurement could not be made, and the reason is said. 2: the request is
wrong. A verdict such as `slack` never changes the exit code. Messages go to standard error.
"""


def command(*words: str) -> Any:
    """Return a command, or a command of a command, as the command line holds it."""
    found: Any = typer.main.get_command(app)
    for word in words:
        found = found.get_command(None, word)
    return found


def every_command() -> dict[str, Any]:
    """Return each command by its words, those below another after it."""
    found: dict[str, Any] = {}
    for name in COMMANDS:
        found[name] = top = command(name)
        for below in getattr(top, "commands", {}):
            found[f"{name} {below}"] = top.commands[below]
    return found


def options(made: Any) -> list[str]:
    """Return the names of a command's options."""
    return [o for p in made.params if p.param_type_name == "option" for o in _names(p)]


def page() -> str:
    """Return the whole page."""
    lines = ["| command | what it does | explained in |", "|---|---|---|"]
    for name, what in COMMANDS.items():
        where = EXPLAINED.get(name, "")
        link = f"[{where[:-3]}]({where})" if (DOCS / where).is_file() else ""
        lines.append(f"| [`{name}`](#{name}) | {what} | {link} |")
    parts = [HEAD, "\n".join(lines) + "\n"]
    parts += [_section(words, made) for words, made in every_command().items()]
    return "\n".join(parts)


def _section(words: str, made: Any) -> str:
    deep = "#" * (2 + words.count(" "))
    usage = made.get_usage(made.make_context(f"beltpitch {words}", [], resilient_parsing=True))
    lines = [f"{deep} {words}", "", _cell(made.help), "", "```", *usage.splitlines(), "```", ""]
    arguments = [p for p in made.params if p.param_type_name == "argument"]
    named = [p for p in made.params if p.param_type_name == "option"]
    if arguments:
        lines += ["| argument | what |", "|---|---|"]
        lines += [f"| `{p.make_metavar(None)}` | {_cell(p.help)} |" for p in arguments] + [""]
    if named:
        lines += ["| option | what | if not given |", "|---|---|---|"]
        lines += [f"| {_option(p)} | {_cell(p.help)} | {_default(p)} |" for p in named] + [""]
    return "\n".join(lines)


def _names(parameter: Any) -> list[str]:
    return [*parameter.opts, *parameter.secondary_opts]


def _option(parameter: Any) -> str:
    names = ", ".join(f"`{name}`" for name in _names(parameter))
    return names + (", may be repeated" if parameter.multiple else "")


def _default(parameter: Any) -> str:
    plain = parameter.default is None or isinstance(parameter.default, bool)
    return "" if plain else f"`{parameter.default}`"


def _cell(text: str | None) -> str:
    return " ".join((text or "").split()).replace("|", "\\|").replace("<", "&lt;")
