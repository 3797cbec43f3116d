"""``beltpitch machine``: the file that knows a machine's belts by name."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from beltpitch import parsing
from beltpitch.advice.window import OWN_TARGET
from beltpitch.errors import BeltpitchError, RequestError
from beltpitch.present.text import force
from beltpitch.session.verdict import SCHEMA
from beltpitch.store.entries import (
    BELT_KEYS,
    CHECK_EVERY,
    MACHINE_KEYS,
    PairEntry,
    belt_from,
    meant,
    name_fault,
)
from beltpitch.store.machine_edit import add_belt, add_pair, save
from beltpitch.store.machine_file import USUAL, Machine, load, mistakes
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.drawing import console, field, heading, print_json

if TYPE_CHECKING:
    from beltpitch.store.entries import BeltEntry

app = typer.Typer(
    name="machine",
    help="The machine file: make it, add belts and pairs, check it, show it.",
    no_args_is_help=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

FileArgument = Annotated[
    Path | None, typer.Argument(metavar="[FILE]", help="By default beltpitch.toml here.")
]
BeltsOption = Annotated[
    list[str] | None,
    typer.Option(
        "--add-belt",
        help='A belt as "name; belt; span" with more keys if wanted: '
        '"y-left; 2GT 9 mm; 412 +/- 1 mm; ends=clamp,idler; target=40 N".',
    ),
]
PairsOption = Annotated[
    list[str] | None, typer.Option("--add-pair", help='A pair as "name; first; second".')
]


def add_to(main: typer.Typer) -> None:
    """Add the commands."""
    main.add_typer(app)


@app.command()
def new(
    file: FileArgument = None,
    name: Annotated[str | None, typer.Option("--name", help="Name of the machine.")] = None,
    check_every: Annotated[
        str | None, typer.Option("--check-every", help='How often to look: "90 d".')
    ] = None,
    frame: Annotated[str | None, typer.Option("--frame", help="aluminium or steel.")] = None,
    belts: BeltsOption = None,
    pairs: PairsOption = None,
    json: o.JsonOption = False,
) -> None:
    """Make a machine file. Without --add-belt it asks, with the usual answers in brackets."""
    path = file or Path(USUAL)
    if path.exists():
        raise RequestError(f"{path} is there already: edit it, or add to it with machine add")
    if belts:
        made = _machine(name or _folder(path), check_every, frame, belts, pairs or [])
    else:
        made = _asked(path, name)
    save(made, path)
    _checked(path)
    count = len(made.belts)
    sys.stderr.write(f"beltpitch: {path} written: {count} belt{'s' if count != 1 else ''}\n")
    if json:
        _print_written(path)


def _print_written(path: Path) -> None:

    print_json({"schema": SCHEMA, "machine": {"file": str(path), **_as_json(load(path))}})


def _folder(path: Path) -> str:
    return path.resolve().parent.name or "machine"


def _checked(path: Path) -> None:
    """Read back what was written; a file that cannot be used is taken away again."""
    wrong = mistakes(path)
    if wrong:
        path.unlink()
        raise RequestError(f"{wrong[0].words}; nothing was written")


def _machine(
    name: str, check_every: str | None, frame: str | None, belts: list[str], pairs: list[str]
) -> Machine:

    entries = [belt_entry(text) for text in belts]
    both = [_pair_entry(text) for text in pairs]
    for names in ([e.name for e in entries], [p.name for p in both]):
        twice = next((n for n in names if names.count(n) > 1), None)
        if twice is not None:
            raise RequestError(f'"{twice}" is given twice: each name once')
    return Machine(
        name=name,
        belts={e.name: e for e in entries},
        pairs={p.name: p for p in both},
        check_every=check_every or CHECK_EVERY,
        frame=frame,
    )


def belt_entry(text: str) -> BeltEntry:
    """Return a belt from one line: name; belt; span; key=value...

    Raises
    ------
    RequestError
        If the line cannot be read.
    """
    words = [word.strip() for word in text.split(";")]
    bare = [word for word in words if "=" not in word and word]
    if not 1 <= len(bare) <= len(_BARE):
        raise RequestError(
            f'--add-belt {text!r}: write "name; belt; span", as in "y-left; 2GT 9 mm; 412 mm"'
        )
    values: dict[str, object] = dict(zip(_BARE[1:], bare[1:], strict=False))
    for word in words:
        key, equals, value = (part.strip() for part in word.partition("="))
        if not equals:
            continue
        key = key.replace("-", "_")
        if key not in BELT_KEYS or key in ("tensioner", "joined"):
            raise RequestError(f'--add-belt: no key "{key}"{meant(key, list(BELT_KEYS))}')
        values[key] = value
    fault = name_fault(bare[0])
    if fault:
        raise RequestError(f"--add-belt {text!r}: {fault}")
    return belt_from(bare[0], values)


_BARE = ("name", "belt", "span")


def _pair_entry(text: str) -> PairEntry:

    words = [word.strip() for word in text.split(";")]
    if len(words) != 3 or not all(words):  # noqa: PLR2004
        raise RequestError(f'--add-pair {text!r}: write "name; first; second"')
    return PairEntry(words[0], (words[1], words[2]))


# --- asking -------------------------------------------------------------------------------------


def _asked(path: Path, name: str | None) -> Machine:
    """Ask for a machine, one thing at a time; an empty answer takes what stands in brackets."""
    if not sys.stdin.isatty():
        raise RequestError(
            "nobody is there to ask: give --add-belt, as in "
            '--add-belt "y-left; 2GT 9 mm; 412 +/- 1 mm"'
        )
    title = _ask(
        "Name of the machine", name or _folder(path), _reader(MACHINE_KEYS["name"], "name")
    )
    every = _ask(
        "Look at its belts every", "90 d", _reader(MACHINE_KEYS["check_every"], "check_every")
    )
    belts: dict[str, BeltEntry] = {}
    while True:
        entry = _ask_belt(len(belts) + 1, belts)
        if entry is None:
            break
        belts[entry.name] = entry
    return Machine(name=title, belts=belts, pairs=_ask_pairs(list(belts)), check_every=every)


def _reader(read: Callable[[object, str], object], key: str) -> Callable[[str], str]:
    def checked(text: str) -> str:
        read(text, key)
        return text

    return checked


def _ask(question: str, usual: str | None, check: Callable[[str], Any]) -> str:
    """Ask until the answer can be read; the question goes to standard error."""
    bracket = f" [{usual}]" if usual else ""
    while True:
        sys.stderr.write(f"{question}{bracket}: ")
        sys.stderr.flush()
        line = sys.stdin.readline()
        if not line:
            raise RequestError("the questions were not answered: nothing was written")
        answer = line.strip() or usual or ""
        try:
            check(answer)
        except BeltpitchError as error:
            sys.stderr.write(f"  {error.message}\n")
        else:
            return answer


def _ask_belt(number: int, known: dict[str, BeltEntry]) -> BeltEntry | None:

    def named(text: str) -> None:
        fault = name_fault(text) if text else None
        if fault or text in known:
            raise RequestError(fault or f'"{text}" is there already')

    name = _ask(f"Belt {number}, its name (nothing when all are named)", None, named)
    if not name:
        return None
    belt = _ask('  what is printed on it, as in "2GT 9 mm"', None, parsing.belt)
    ends = _ask(
        "  what holds the span's ends (pulley, idler, clamp)",
        "pulley,pulley",
        _reader(BELT_KEYS["ends"], "ends"),
    )
    span = _ask('  its free span, as in "412 +/- 1 mm"', None, parsing.span)
    park = _ask("  where the axis stands for that span", "not noted", str)
    target = _ask("  your own target (nothing: by belt and duty)", None, _optional("target"))
    values = {"belt": belt, "ends": ends, "span": span, "target": target}
    if park != "not noted":
        values["park"] = park
    return belt_from(name, {key: value for key, value in values.items() if value})


def _optional(key: str) -> Callable[[str], object]:

    return lambda text: BELT_KEYS[key](text, key) if text else None


def _ask_pairs(belts: list[str]) -> dict[str, PairEntry]:

    if len(belts) < 2:  # noqa: PLR2004
        return {}

    def two(text: str) -> None:
        words = text.split()
        if text and (len(words) != 2 or any(w not in belts for w in words)):  # noqa: PLR2004
            raise RequestError(f"write two of {', '.join(belts)}, a space between")

    found: dict[str, PairEntry] = {}
    while True:
        answer = _ask("Two belts that must agree (nothing when there are no more)", None, two)
        if not answer:
            return found
        first, second = answer.split()
        name = f"{first} and {second}"
        found[name] = PairEntry(name, (first, second))


# --- the other commands -------------------------------------------------------------------------


@app.command()
def add(
    belts: BeltsOption = None,
    pairs: PairsOption = None,
    machine: k.MachineOption = None,
    json: o.JsonOption = False,
) -> None:
    """Add belts or pairs. Comments and order of the file stay."""
    if not belts and not pairs:
        raise RequestError(
            'nothing to add: give --add-belt "y-left; 2GT 9 mm; 412 +/- 1 mm", or --add-pair'
        )
    path = machine or Path(USUAL)
    for text in belts or []:
        add_belt(path, belt_entry(text))
    for text in pairs or []:
        add_pair(path, _pair_entry(text))
    sys.stderr.write(f"beltpitch: {path} written\n")
    if json:
        _print_written(path)


@app.command()
def check(file: FileArgument = None, json: o.JsonOption = False) -> int:
    """Find mistakes: line, column and what to write."""
    path = file or Path(USUAL)
    wrong = mistakes(path)
    if json:
        found = [{"line": m.line, "column": m.column, "words": m.words} for m in wrong]
        record = {"file": str(path), "mistakes": found}
        print_json({"schema": SCHEMA, "machine": record})
    else:
        for mistake in wrong:
            sys.stdout.write(f"{mistake.said(str(path))}\n")
        if not wrong:
            sys.stdout.write(f"{path}: no mistake found\n")
    return 2 if wrong else 0


@app.command()
def show(file: FileArgument = None, json: o.JsonOption = False, unit: o.UnitOption = "N") -> None:
    """Show the belts with the windows they are judged by."""
    o.checked_unit(unit)
    machine = load(file or Path(USUAL))
    if json:
        print_json({"schema": SCHEMA, "machine": _as_json(machine)})
        return
    where = console()
    heading(where, f"{machine.name}, looked at every {machine.check_every}")
    for name in machine.belts:
        made = machine.named(name)
        heading(where, name)
        field(where, "belt", made.belt.name)
        if made.span is not None:
            ends = " and ".join(dict.fromkeys(made.span.ends))
            field(where, "span", f"{made.span.length_m * 1000:.4g} mm, {ends}")
        field(where, "window", _window(made.windows.verdict, unit))
        if made.entry.target is not None:
            field(where, "target", f"{made.entry.target}: {made.entry.target_from or OWN_TARGET}")
        for words in made.windows.warnings:
            field(where, "warning", words)
    for pair in machine.pairs.values():
        field(where, "pair", f"{pair.name}: {pair.belts[0]} and {pair.belts[1]}")


def _window(window: Any, unit: str) -> str:

    if window is None:
        return "none known: give a target"
    low, high = (
        "not known" if end is None else force(end, unit) for end in (window.low_n, window.high_n)
    )
    rules = dict.fromkeys((window.low_rule, window.high_rule))
    return f"{low} to {high} ({'; '.join(rule for rule in rules if rule)})"


def _as_json(machine: Machine) -> dict[str, Any]:
    belts = []
    for name in machine.belts:
        made = machine.named(name)
        window = made.windows.verdict
        belts.append(
            {
                "name": name,
                "belt": made.belt.name,
                "linear_mass_kg_per_m": made.belt.linear_mass.value,
                "span_mm": made.span.length_m * 1000 if made.span else None,
                "window_n": [window.low_n, window.high_n] if window else None,
                "target_n": window.target_n if window else None,
                "target_from": made.entry.target_from,
            }
        )
    pairs = [{"name": p.name, "belts": list(p.belts)} for p in machine.pairs.values()]
    return {
        "name": machine.name,
        "check_every_days": machine.check_every_days,
        "belts": belts,
        "pairs": pairs,
    }
