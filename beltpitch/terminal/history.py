"""``beltpitch history``: the readings that were kept, found, shown, carried out and in."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from json import dumps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.table import Table
from rich.text import Text

from beltpitch.advice.safety import plucking, turning
from beltpitch.advice.window import OLD_WORD, TO_TURN, WORDS
from beltpitch.errors import RequestError
from beltpitch.present.plots import save, trend_figure
from beltpitch.present.report import about_belt, trend_words
from beltpitch.present.text import force, interval
from beltpitch.reading import COVERAGE
from beltpitch.session.verdict import SCHEMA, as_json
from beltpitch.store.csv_log import csv_of, json_of, keep_all, sittings_from
from beltpitch.store.dates import moment
from beltpitch.store.log import Filter, History, utc_text
from beltpitch.store.reanalysis import read_again as again
from beltpitch.store.trend import MOST
from beltpitch.store.trend import trend as trend_of
from beltpitch.terminal import drawing, reading_view
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.drawing import COLOURS, console, field, heading, print_json

if TYPE_CHECKING:
    from rich.console import Console

    from beltpitch.store.log import Entry, EntrySummary
    from beltpitch.store.machine_file import Machine
    from beltpitch.store.trend import Trend

app = typer.Typer(
    name="history",
    help="Readings that were kept: list, show, trend, export, import, delete.",
    invoke_without_command=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
MOST_NOTE = 60
SHOWN_SHARE = 0.005  # of the variance; a line below it would be shown as 0 %

BeltNameOption = Annotated[str | None, typer.Option("--belt", help="Only this belt, by its name.")]
AllOption = Annotated[
    bool, typer.Option("--all", help="Every machine, not only the one of this folder.")
]
SinceOption = Annotated[
    str | None, typer.Option("--since", help='Only from then on: "2026-03-01".')
]
UntilOption = Annotated[str | None, typer.Option("--until", help="Only until then.")]
NumberArgument = Annotated[int, typer.Argument(metavar="ID", help="Number of the entry.")]


def add_to(main: typer.Typer) -> None:
    """Add the commands."""
    main.add_typer(app)


def _open(book: Path | None, machine: Machine | None) -> History:

    return History(k.book_path(book, machine), create=False)


@app.callback()
def history(
    context: typer.Context,
    belt: BeltNameOption = None,
    verdict: Annotated[
        str | None, typer.Option("--verdict", help="slack, within, tight or unknown.")
    ] = None,
    since: SinceOption = None,
    until: UntilOption = None,
    most: Annotated[int, typer.Option("--last", min=1, help="How many, the latest.")] = 20,
    every: AllOption = False,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """List the latest readings that were kept."""
    if context.invoked_subcommand is not None:
        return

    o.checked_unit(unit)
    file = k.machine_for(machine)
    which = _filter(file, every=every, belt=belt, verdict=verdict, since=since, until=until)
    with _open(book, file) as kept:
        if json:
            entries = [json_of(entry) for entry in kept.entries(which, most=most)]
            drawing.print_json({"schema": SCHEMA, "history": {"entries": entries}})
            return
        lines, whole = kept.lines(which, most=most), kept.count(which)
        _list(lines, whole, unit, kept.path)


def _filter(
    machine: Machine | None,
    *,
    every: bool = False,
    belt: str | None = None,
    verdict: str | None = None,
    since: str | None = None,
    until: str | None = None,
) -> Filter:

    if verdict is not None and verdict not in (*WORDS, OLD_WORD):
        raise RequestError(f"--verdict {verdict!r} is none of {', '.join(WORDS)}")
    return Filter(
        machine=None if every or machine is None else machine.name,
        belt=belt,
        since=None if since is None else moment(since, "--since"),
        until=None if until is None else moment(until, "--until", ahead=True),
        verdict=verdict,
    )


def _list(lines: Sequence[EntrySummary], whole: int, unit: str, path: Path) -> None:

    where = console()
    if not lines:
        where.print(Text(f"No reading like that in the book {path}."))
        return
    table = Table(box=None, pad_edge=False, expand=True)
    for head in ("id", "taken", "belt", "preload", "u", "verdict"):
        right = head in ("id", "preload", "u")
        table.add_column(head, justify="right" if right else "left", no_wrap=True, min_width=2)
    # the last column takes what room is left, and is cut there
    table.add_column("what", overflow="ellipsis", no_wrap=True, ratio=1)
    for line in lines:
        preload = "" if line.preload_n is None else force(line.preload_n, unit)
        u = "" if line.preload_u_n is None else force(line.preload_u_n, unit)
        row = (f"{line.id}", _local(line.taken), line.belt, preload, u)
        words = Text(line.verdict, style=COLOURS[line.verdict])
        table.add_row(*(Text(cell) for cell in row), words, Text(_what(line)))
    where.print(table)
    if whole > len(lines):
        where.print(Text(f"{len(lines)} of {whole}; more with --last {whole}"))


def _local(when: Any) -> str:
    return str(when.astimezone().strftime("%Y-%m-%d %H:%M"))


def _what(line: EntrySummary) -> str:
    strand = f"strand {line.strand}" if line.strand else None
    seen = f"seen: {line.seen}" if line.seen else None
    told = (line.event, strand, seen, line.note)
    words = "; ".join(word for word in told if word) or line.source
    return words if len(words) <= MOST_NOTE else f"{words[: MOST_NOTE - 3]}..."


@app.command()
def show(
    number: NumberArgument,
    revision: Annotated[
        int | None, typer.Option("--revision", min=1, help="An earlier reading of its recording.")
    ] = None,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Show one reading whole."""
    o.checked_unit(unit)
    with _open(book, k.machine_for(machine)) as kept:
        entry = kept.entry(number, revision)
    if json:
        print_json({"schema": SCHEMA, "history": {"entry": json_of(entry)}})
    else:
        _show(entry, unit)


def _show(entry: Entry, unit: str) -> None:

    where, line, reading = console(), entry.line, entry.record["reading"]
    machine = f"{line.machine} · " if line.machine else ""
    heading(where, f"{line.id} · {machine}{line.belt} · {_local(line.taken)}")
    estimates = entry.estimates
    if estimates.preload is not None:
        colour = f"bold {COLOURS[line.verdict]}"
        field(where, "preload", f"{interval(estimates.preload, unit)}   {line.verdict}", colour)
    if estimates.tension is not None:
        strand = f" ({line.strand})" if line.strand else ""
        field(where, "tension", f"{interval(estimates.tension, unit)}, this strand{strand} alone")
    if estimates.frequency is not None:
        field(where, "frequency", f"{line.frequency_hz:.2f} Hz (u {estimates.frequency.u:.2g} Hz)")
    window = entry.window
    if window is not None:
        low, high = (
            "not known" if end is None else force(end, unit)
            for end in (window.low_n, window.high_n)
        )
        field(where, "window", f"{low} to {high}")
    for label, words in _told(entry, reading, unit):
        field(where, label, words)


def _told(entry: Entry, reading: dict[str, Any], unit: str) -> list[tuple[str, str]]:
    """Return the labelled lines that come after the figures, without those that say nothing."""
    line = entry.line
    asked = (entry.record.get("inputs") or {}).get("belt") or {}
    span = reading.get("span_mm")
    plucks = ", ".join(
        f"{p['frequency_hz']:.2f}" + ("" if p["used"] else " (set aside)")
        for p in reading["plucks"]
        if p["frequency_hz"] is not None
    )
    lines = [b for b in reading["preload_budget"] if b["share"] >= SHOWN_SHARE]
    budget = [f"{b['input']} {force(b['u_n'], unit, '.2g')} ({b['share']:.0%})" for b in lines]
    if len(lines) < len(reading["preload_budget"]):
        budget.append(f"the rest: below {SHOWN_SHARE:.1%} each")
    corrected = ", ".join(f"{c['name']} {c['percent']:+.2f} %" for c in reading["corrections"])
    warm = None if line.temperature_c is None else f"{line.temperature_c:g} degC"
    every = (
        ("belt", reading.get("belt")),
        ("span", None if span is None else f"{span:g} mm, {reading.get('ends')}"),
        # where no place was noted the book has the span's own text in its stead
        ("parked at", None if line.park == asked.get("span") else line.park),
        ("plucks", f"{plucks} Hz" if plucks else None),
        ("uncertainty", ", ".join(budget)),
        ("corrected", corrected),
        ("source", line.source),
        ("event", line.event),
        ("shop", warm),
        ("seen", line.seen),
        ("note", line.note),
        *(("warning", words) for words in reading["warnings"]),
        *(("assumed", words) for words in reading["notes"]),
        ("revision", f"{line.revision}, made by {entry.program} on {_local(entry.kept)}"),
        ("digest", line.digest),
        ("sound", "kept" if entry.has_sound else None),
    )
    return [(label, str(words)) for label, words in every if words]


@app.command()
def trend(
    belt: Annotated[str, typer.Argument(metavar="BELT", help="The belt, by its name.")],
    picture: Annotated[
        Path | None, typer.Option("--picture", help="Draw it too: a .png, .svg or .pdf file.")
    ] = None,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Drift of a belt, and when to look again."""
    o.checked_unit(unit)
    file = k.machine_for(machine)
    about = about_belt(file, belt)
    with _open(book, file) as kept:
        which = _filter(file, belt=belt) if file is not None else _only_owner(kept, belt)
        entries = kept.entries(which, most=MOST)
        if not entries:
            raise RequestError(f'no reading of "{belt}" in the book {kept.path}')
    found = trend_of(entries, about)
    if picture is not None:
        save(trend_figure(found, belt, unit), picture)
    if json:
        print_json({"schema": SCHEMA, "history": {"trend": trend_json(belt, found)}})
    else:
        _draw_trend(belt, found, unit)


def _only_owner(kept: History, belt: str) -> Filter:
    """Return the filter of a belt without a machine file, if only one machine has it."""
    owners = [machine for machine, name in kept.belts() if name == belt]
    if len(owners) > 1:
        named = ", ".join(owner or "no machine" for owner in owners)
        raise RequestError(
            f'"{belt}" is kept for several machines ({named}): give --machine FILE of one'
        )
    return Filter(machine=owners[0] if owners else None, belt=belt)


def trend_json(belt: str, found: Trend) -> dict[str, Any]:
    """Return a trend as JSON."""

    def estimate(x: Any) -> tuple[Any, Any, Any]:
        return (None, None, None) if x is None else (x.value, x.u, list(x.interval(COVERAGE)))

    def when(x: Any) -> str | None:
        return None if x is None else utc_text(x)

    drift, level, change = estimate(found.drift), estimate(found.level), estimate(found.change)
    window = found.window
    return {
        "belt": belt,
        "drift_n_per_day": drift[0],
        "drift_u_n_per_day": drift[1],
        "drift_interval_n_per_day": drift[2],
        "level_n": level[0],
        "level_u_n": level[1],
        "level_interval_n": level[2],
        "change_n": change[0],
        "change_u_n": change[1],
        "change_interval_n": change[2],
        "coverage": COVERAGE,
        "scatter": found.scatter,
        "window_n": [window.low_n, window.high_n] if window else None,
        "verdict": found.word,
        "leaves": when(found.leaves),
        "leaves_earliest": when(found.leaves_earliest),
        "next_check": when(found.next_check),
        "why": found.why,
        "holds": found.holds,
        "doubt": found.doubt or None,
        "notes": list(found.notes),
        "points": [
            {
                "entry": p.entry,
                "taken": utc_text(p.taken),
                "preload_n": p.preload.value,
                "preload_u_n": p.preload.u,
                "used": p.used,
                "outlier": p.outlier,
                "event": p.event,
                "temperature_c": p.temperature_c,
            }
            for p in found.points
        ],
    }


def _draw_trend(belt: str, found: Trend, unit: str) -> None:

    where = console()
    heading(where, belt)
    for label, words in trend_words(found, unit):
        colour = f"bold {COLOURS[found.word]}" if label == "preload" else ""
        field(where, label, words, colour)
    _cautions(where, found)


def _cautions(where: Console, found: Trend) -> None:

    for i, words in enumerate(turning() if found.word in TO_TURN else plucking()):
        field(where, "caution" if i == 0 else "", words)


@app.command()
def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A .csv or a .json file.")],
    belt: BeltNameOption = None,
    since: SinceOption = None,
    until: UntilOption = None,
    every: AllOption = False,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
) -> None:
    """Write readings to a CSV file, or whole to JSON."""
    kind = file.suffix.lower()
    if kind not in (".csv", ".json"):
        raise RequestError(f"{file}: name a .csv or a .json file to write")
    if file.exists():
        raise RequestError(f"{file} is there already: name another file")
    found = k.machine_for(machine)
    which = _filter(found, every=every, belt=belt, since=since, until=until)
    with _open(book, found) as kept:
        if kind == ".csv":
            lines = kept.lines(which, most=None)
            text, count = csv_of(lines), len(lines)
        else:
            entries = [json_of(entry) for entry in kept.entries(which, most=None)]
            record = {"schema": SCHEMA, "history": {"entries": entries}}
            text, count = dumps(record, indent=2, allow_nan=False), len(entries)
    _write(file, text)
    sys.stderr.write(f"beltpitch: {count} entries written to {file}\n")
    if json:
        _print("written", {"file": str(file), "count": count})


def _print(name: str, record: dict[str, Any]) -> None:

    print_json({"schema": SCHEMA, "history": {name: record}})


def _write(file: Path, text: str) -> None:
    try:
        with file.open("x", encoding="utf-8", newline="") as out:
            out.write(text)
    except OSError as error:
        raise RequestError(f"{file} cannot be written: {error.strerror or error}") from None


@app.command("import")
def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A CSV file as export writes it.")],
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
) -> None:
    """Take readings from a CSV file. Those that are in the book already are passed over."""
    sittings = sittings_from(file)
    path = k.book_path(book, k.machine_for(machine))
    with History(path) as kept:
        new, there = keep_all(kept, sittings)
    sys.stderr.write(f"beltpitch: {new} kept in {path}, {there} were there already\n")
    if json:
        _print("imported", {"book": str(path), "kept": new, "there_already": there})


@app.command()
def delete(
    number: NumberArgument,
    yes: Annotated[bool, typer.Option("--yes", help="Yes, for good.")] = False,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
) -> None:
    """Delete one reading with its revisions and its sound, for good."""
    with _open(book, k.machine_for(machine)) as kept:
        line = kept.entry(number).line
        what = f"{line.id} ({line.belt}, {_local(line.taken)})"
        if not yes:
            raise RequestError(f"nothing deleted: to delete {what} for good, add --yes")
        kept.delete(number)
    sys.stderr.write(f"beltpitch: deleted {what}\n")
    if json:
        _print("deleted", {"id": line.id, "belt": line.belt, "taken": utc_text(line.taken)})


@app.command()
def sound(
    number: NumberArgument,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A .flac file to write.")],
    machine: k.MachineOption = None,
    book: k.BookOption = None,
) -> None:
    """Write the sound that was kept with a reading to a file."""
    if file.suffix.lower() != ".flac":
        raise RequestError(f"{file}: the sound is kept as FLAC; name a .flac file")
    with _open(book, k.machine_for(machine)) as kept:
        flac = kept.sound(number)
    try:
        with file.open("xb") as out:
            out.write(flac)
    except FileExistsError:
        raise RequestError(f"{file} is there already: name another file") from None
    except OSError as error:
        raise RequestError(f"{file} cannot be written: {error.strerror or error}") from None


@app.command("read-again")
def read_again(
    number: NumberArgument,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Read a kept sound again, as this version hears it. It becomes a new revision."""
    o.checked_unit(unit)
    with _open(book, k.machine_for(machine)) as kept:
        done, verdict = again(kept, number)
    if json:
        print_json({"schema": SCHEMA, "readings": [as_json(verdict)]})
    else:
        reading_view.show([verdict], unit, heard=True)
    sys.stderr.write(f"beltpitch: kept as revision {done.revision} of {done.id}\n")
