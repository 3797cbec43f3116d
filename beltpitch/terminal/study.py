"""``beltpitch study``: the tension at which this machine works best, found by trials."""

from __future__ import annotations

import datetime as dt
import secrets
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.table import Table
from rich.text import Text

from beltpitch import parsing
from beltpitch.advice.bounds import Range
from beltpitch.advice.limits import limits_of
from beltpitch.advice.safety import turning
from beltpitch.errors import CannotTell, RequestError
from beltpitch.present.plots import save
from beltpitch.present.study_plot import study_figure
from beltpitch.present.text import force
from beltpitch.session.verdict import SCHEMA
from beltpitch.store.belt_request import without_machine
from beltpitch.store.log import History
from beltpitch.study.design import planned
from beltpitch.study.sources import (
    StudySource,
    field_of,
    name_table,
    readings_of,
    study_from,
    subject_of,
)
from beltpitch.study.sources import choose as write_target
from beltpitch.study.study import as_json, trial_json
from beltpitch.study.trials_table import (
    filled_in,
    measure_from,
    planned_sheet,
    sheet_from,
    trials_from,
    write,
)
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.drawing import console, field, heading, print_json
from beltpitch.terminal.drawing import field as told
from beltpitch.terminal.study_sketch import sketch
from beltpitch.units import FORCE, positive

if TYPE_CHECKING:
    from rich.console import Console

    from beltpitch.study.study import Study, StudyAnswer
    from beltpitch.study.trials import Field, Trials
    from beltpitch.study.trials_table import Sheet

app = typer.Typer(
    name="study",
    help="The best tension by trials: plan, record, learn, next, why, choose.",
    no_args_is_help=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

TableOption = Annotated[
    Path | None,
    typer.Option("--table", help="The table of trials, a CSV file; else the machine file's."),
]
LowOption = Annotated[
    str | None, typer.Option("--low", help='Lowest tension to study: "20 N"; else the window\'s.')
]
HighOption = Annotated[
    str | None, typer.Option("--high", help='Highest tension to study: "60 N"; else the window\'s.')
]
USUAL_TABLE = "trials.csv"


def add_to(main: typer.Typer) -> None:
    """Add the commands."""
    main.add_typer(app)


# --- what is studied ----------------------------------------------------------------------------


def _subject(name: str | None, machine: Path | None, belt: str | None) -> StudySource:
    """Return what is studied: a name of the machine file, or a belt by its kind, or a range."""
    if name is not None:
        found = k.machine_for(machine)
        if found is None:
            raise without_machine(name, "or --table FILE without a name")
        return subject_of(found, name)
    if machine is not None:
        raise RequestError("--machine needs the name of a belt or a pair before it")
    if belt is None:
        return StudySource("this axis", (Range(None, None),))

    made = parsing.belt(belt)
    limits = limits_of(made)
    return StudySource(made.name, (Range(limits.seating, limits.allowable),))


def _ends(low: str | None, high: str | None) -> tuple[float | None, float | None]:

    return (
        None if low is None else positive(low, FORCE, option="--low").value,
        None if high is None else positive(high, FORCE, option="--high").value,
    )


def _table(subject: StudySource, table: Path | None) -> Path:
    if table is not None:
        return table
    if subject.table is not None:
        return subject.table
    raise RequestError(
        f"no table of trials is known for {subject.name}: give --table FILE, or make one with: "
        "beltpitch study plan"
    )


def _made(
    name: str | None,
    table: Path | None,
    ends: tuple[str | None, str | None],
    machine: Path | None,
    belt: str | None,
    book: Path | None,
) -> tuple[Study, StudySource, Path]:
    """Return the study of a table."""
    subject = _subject(name, machine, belt)
    path = _table(subject, table)
    place = k.book_path(book, subject.machine)
    made = study_from(subject, sheet_from(path), lambda: History(place, create=False), _ends(*ends))
    return made, subject, path


# --- plan and record ----------------------------------------------------------------------------


@app.command()
def plan(
    name: k.NameArgument = None,
    trials: Annotated[int, typer.Option("--trials", help="Cuts you are willing to make.")] = 12,
    measure: Annotated[
        list[str] | None,
        typer.Option(
            "--measure",
            help='What to measure on each, with your unit: "size error [um]", '
            '"size error [mm] target 0", "stiffness [N/mm] larger is better".',
        ),
    ] = None,
    table: TableOption = None,
    low: LowOption = None,
    high: HighOption = None,
    belt: o.BeltOption = None,
    seed: Annotated[
        int | None, typer.Option("--seed", help="Of the random order; the same gives the same.")
    ] = None,
    machine: k.MachineOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Plan trials. Tensions in random order, as a table to print and fill in."""
    o.checked_unit(unit)
    subject = _subject(name, machine, belt)
    field = field_of(subject, _ends(low, high))
    if not measure:
        raise RequestError(
            'say what to measure, as in --measure "size error [um]"; usual ones: '
            + "; ".join(head for head, _ in IDEAS)
        )
    heads = [measure_from(head) for head in measure]
    number = secrets.randbelow(1_000_000) if seed is None else seed
    every = planned(field, trials, seed=number)
    path = table or _beside(subject, USUAL_TABLE)
    belts = [b.name for b in subject.belts]
    sheet = planned_sheet(path, subject.name, every, heads, (field.low_n, field.high_n), belts)
    write(sheet, new=True)
    if subject.machine is not None and name_table(subject.machine, belts, path):
        sys.stderr.write(f"beltpitch: {path.name} is now the study of {subject.name}\n")
    if json:
        tensions = [{"trial": p.order, "tension_n": p.tension_n} for p in every]
        record = {"name": subject.name, "table": str(path), "seed": number, "plan": tensions}
        _print({**record, **_field_json(field)})
    else:
        _draw_plan(subject, field, sheet, unit)


IDEAS = (
    ("size error [um] target 0", "a test cut: measured less wanted"),
    ("lost motion [um]", "reversal error, from a square or a circle"),
    ("roundness [um]", "a circle: largest less smallest diameter"),
    ("surface [um]", "roughness, or a mark from 1 to 5"),
    ("skipped steps", "position after many moves, in steps"),
    ("current [A]", "of the motor, moving freely"),
    ("noise [dB]", "at one place, one speed"),
)


def _beside(subject: StudySource, name: str) -> Path:
    """Return a file beside the machine file."""
    if subject.machine is None or subject.machine.path is None:
        return Path(name)
    return subject.machine.path.parent / f"trials-{'-'.join(subject.name.split())}.csv"


def _field_json(field: Field) -> dict[str, Any]:
    return {
        "window_n": [field.low_n, field.high_n],
        "low_rule": field.low_rule,
        "high_rule": field.high_rule,
    }


def _draw_plan(subject: StudySource, field: Field, sheet: Sheet, unit: str) -> None:

    where = console()
    heading(where, f"{subject.name} · {len(sheet.rows)} trials")
    told(
        where,
        "range",
        f"{force(field.low_n, unit)} ({field.low_rule}) to {force(field.high_n, unit)} "
        f"({field.high_rule})",
    )
    shown = Table(box=None, pad_edge=False)
    keep = [i for i, head in enumerate(sheet.heads) if head not in ("reading", "leave out", "note")]
    for i in keep:
        shown.add_column(Text(sheet.heads[i]), justify="right" if i <= 1 else "left")
    for row in sheet.rows:
        shown.add_row(*(Text(row[i] or "______") for i in keep))
    where.print(shown)
    told(where, "table", f"{sheet.path}: print it, or fill it in with any spreadsheet")
    for i, words in enumerate(HOW):
        told(where, "how" if i == 0 else "", words)

    for i, words in enumerate(turning(pair=len(subject.belts) > 1)):
        told(where, "caution" if i == 0 else "", words)


HOW = (
    "Keep the order: it is random, so that a tool that wears does not look like tension.",
    "Set about the aim, settle the belt, read it, write the reading's number or the tension.",
    "Set the tension anew also for a repeat; cut the same piece, tool, feed and place.",
    "Write - where something could not be measured; leave a line empty until it is made.",
)


@app.command()
def record(
    trial: Annotated[int, typer.Option("--trial", min=1, help="Number of the trial.")],
    name: k.NameArgument = None,
    reading: Annotated[
        list[int] | None,
        typer.Option("--reading", help="Number of the reading in the book; twice for a pair."),
    ] = None,
    tension: Annotated[
        list[str] | None,
        typer.Option("--tension", help='Typed instead: "26 +/- 0.5 N"; twice for a pair.'),
    ] = None,
    result: Annotated[
        list[str] | None, typer.Option("--result", help='What was measured: "size error=23".')
    ] = None,
    note: Annotated[str | None, typer.Option("--note", help="A note.")] = None,
    leave_out: Annotated[
        bool, typer.Option("--leave-out", help="Something went wrong with this trial.")
    ] = False,
    table: TableOption = None,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
) -> None:
    """Write down one trial. Its tension, from the book or typed, and its results."""
    subject = _subject(name, machine, None)
    path = _table(subject, table)
    sheet = sheet_from(path)
    values = _results(result or [])
    if reading:
        values["reading"] = "+".join(str(one) for one in reading)
    columns = [h.split("[")[0].strip() for h in sheet.heads if h.split(" ")[0] == "tension"]
    if tension:
        if len(tension) != len(columns):
            raise RequestError(
                f"{path} has {len(columns)} columns of tension: give --tension as often"
            )
        values.update(zip(columns, tension, strict=True))
    if note is not None:
        values["note"] = note
    if leave_out:
        values["leave out"] = "yes"
    if not values:
        raise RequestError('nothing to record: give --reading 41 --result "size error=23"')
    changed = filled_in(sheet, trial, values)
    made = _checked(subject, changed, book, trial)
    write(changed)
    count, lines = len(made.trials), len(changed.rows)
    sys.stderr.write(f"beltpitch: trial {trial} written into {path}: {count} of {lines} made\n")
    if json:
        written = next(one for one in made.trials if one.number == trial)
        _print({"name": subject.name, "table": str(path), "recorded": trial_json(written)})


def _results(texts: list[str]) -> dict[str, str]:
    found = {}
    for text in texts:
        key, equals, value = (part.strip() for part in text.partition("="))
        if not (key and equals and value):
            raise RequestError(f'--result {text!r}: write it as "size error=23"')
        found[key] = value
    return found


def _checked(subject: StudySource, sheet: Sheet, book: Path | None, trial: int) -> Trials:
    """Read the table as it would be; a mistake is told before anything is written."""
    place = k.book_path(book, subject.machine)
    with readings_of(subject, lambda: History(place, create=False)) as readings:
        made = trials_from(sheet, subject.name, readings)
    if trial not in [one.number for one in made.trials]:
        raise RequestError(f"trial {trial} needs a tension and its results together")
    return made


# --- learn --------------------------------------------------------------------------------------


@app.command()
def learn(
    name: k.NameArgument = None,
    table: TableOption = None,
    low: LowOption = None,
    high: HighOption = None,
    belt: o.BeltOption = None,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture", help="Draw it too: .png, .svg or .pdf; several results are numbered."
        ),
    ] = None,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Say what the trials have shown. The best tension, or why there is none yet."""
    o.checked_unit(unit)
    made, _, _ = _made(name, table, (low, high), machine, belt, book)
    if picture is not None:
        _pictures(made, picture, unit)
    if json:
        _print_all(made)
    else:
        _draw(made, unit)


def _print(record: dict[str, Any]) -> None:

    print_json({"schema": SCHEMA, "study": record})


def _print_all(made: Study) -> None:

    _print(as_json(made))


def _pictures(made: Study, path: Path, unit: str) -> None:

    for i in range(len(made.answers)):
        several = len(made.answers) > 1
        place = path.with_stem(f"{path.stem}-{i + 1}") if several else path
        save(study_figure(made, i, unit), place)
        sys.stderr.write(f"beltpitch: {place} drawn\n")


def _draw(made: Study, unit: str) -> None:

    where = console()
    for answer in made.answers:
        found = answer.finding
        heading(
            where, f"{made.trials.name} · {found.measure.said} · {len(found.data.numbers)} trials"
        )
        sketch(where, made, answer, unit)
        field(where, "shown", f"{answer.sentence}.", "bold")
        for i, words in enumerate(answer.notes):
            field(where, "used" if i == 0 else "note", f"{words}.")
        _draw_next(where, answer, unit)
        for i, words in enumerate(answer.compared):
            field(where, "mechanics" if i == 0 else "", f"{words}.")
        where.print()
    for measure, why in made.refused:
        field(where, "not judged", why if measure in why else f"{measure}: {why}")
    _draw_end(where, made, unit)


def _draw_next(where: Console, answer: StudyAnswer, unit: str) -> None:

    step = answer.next
    if step.tension_n is None:
        field(where, "next", f"{step.teaches}.")
        return
    cuts = "one cut" if step.trials == 1 else f"{step.trials} cuts"
    field(where, "next", f"{cuts} at {force(step.tension_n, unit)}: {step.teaches}.")


def _draw_end(where: Console, made: Study, unit: str) -> None:

    for words in made.notes:
        field(where, "note", f"{words}.")
    if made.agreement:
        field(where, "together", f"{made.agreement}.", "bold")
    if made.chosen_n is not None:
        field(where, "set", f"{force(made.chosen_n, unit)} ({made.chosen_why})", "bold")
    for i, words in enumerate(made.expected_words):
        field(where, "expected" if i == 0 else "", f"{words}.")


@app.command("next")
def next_(
    name: k.NameArgument = None,
    table: TableOption = None,
    low: LowOption = None,
    high: HighOption = None,
    belt: o.BeltOption = None,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Say what to try next, and what it would teach."""
    o.checked_unit(unit)
    made, _, _ = _made(name, table, (low, high), machine, belt, book)
    if json:
        _print_all(made)
        return
    where = console()
    for answer in made.answers:
        heading(where, f"{made.trials.name} · {answer.finding.measure.said}")
        field(where, "so far", f"{answer.sentence}.")
        _draw_next(where, answer, unit)


@app.command()
def why(
    name: k.NameArgument = None,
    table: TableOption = None,
    low: LowOption = None,
    high: HighOption = None,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> None:
    """Hold the trials against the mechanics. It shows whether the machine behaves as belts do."""
    o.checked_unit(unit)
    made, subject, _ = _made(name, table, (low, high), machine, None, book)
    if made.expected is None:
        raise RequestError(
            f"the mechanics need the duty of {subject.name}: write [duty.NAME] with mass, "
            "acceleration and friction into the machine file, and axis = NAME at the belt"
        )
    if json:
        _print_all(made)
        return
    where = console()
    heading(where, f"{made.trials.name} · what the mechanics expect")
    for i, words in enumerate(made.expected_words):
        field(where, "expected" if i == 0 else "", f"{words}.")
    for answer in made.answers:
        for i, words in enumerate(answer.compared):
            field(where, "shown" if i == 0 else "", f"{words}.")


# --- choose -------------------------------------------------------------------------------------


@app.command()
def choose(
    name: Annotated[
        str, typer.Argument(metavar="NAME", help="A belt or a pair of the machine file.")
    ],
    tension: Annotated[
        str | None, typer.Option("--tension", help='Another than the one found: "28 N".')
    ] = None,
    by: Annotated[
        str | None, typer.Option("--by", help="The result that decides, where they disagree.")
    ] = None,
    table: TableOption = None,
    low: LowOption = None,
    high: HighOption = None,
    machine: k.MachineOption = None,
    book: k.BookOption = None,
    json: o.JsonOption = False,
) -> None:
    """Make the tension found the target. The machine file names the study as its source."""
    made, subject, path = _made(name, table, (low, high), machine, None, book)
    chosen = _chosen(made, tension, by)
    assert subject.machine is not None
    today = dt.datetime.now(dt.UTC).astimezone().date().isoformat()
    source = f"study of {len(made.trials.trials)} trials, {path.name}, {today}"
    names = [b.name for b in subject.belts]
    write_target(subject.machine, names, chosen, source, path)
    sys.stderr.write(
        f"beltpitch: target {chosen:.1f} N written for {subject.name}, with {path.name} as its "
        "source\n"
    )
    if json:
        target = {"target_n": chosen, "source": source, "belts": names}
        _print({"name": subject.name, "table": str(path), "target": target})


def _chosen(made: Study, tension: str | None, by: str | None) -> float:
    """Return the tension to write: as typed, as one result has it, or as found; in the window."""
    if tension is not None:
        wanted = positive(tension, FORCE, option="--tension").value
        if not made.field.low_n <= wanted <= made.field.high_n:
            raise RequestError(
                f"--tension {tension!r} is outside the window of {made.field.low_n:.1f} to "
                f"{made.field.high_n:.1f} N; a study recommends nothing there"
            )
        return wanted
    if by is not None:
        names = [a.finding.measure.name for a in made.answers]
        if by not in names:
            raise RequestError(f'--by "{by}": no such result; there are {", ".join(names)}')
        return made.answers[names.index(by)].finding.best_n
    if made.chosen_n is None:
        words = made.agreement or made.answers[0].sentence
        raise CannotTell(f'{words}; decide with --by "{made.answers[0].finding.measure.name}"')
    return made.chosen_n
