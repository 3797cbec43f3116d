"""The table of trials on the disk: a CSV file to print, fill in, and read back.

One line a trial. Columns by name, in any order: ``trial``, ``aim [N]`` (what was planned),
``tension [N]`` (typed; two such columns for the two belts of a gantry) or ``reading`` (its number
in the book, ``41+42`` for two belts), ``leave out`` (``yes``), ``note``; every other column is a
result, ``size error [um]``, smaller being better unless its head says ``target 0`` or ``larger is
better``. A line without tension and results was not made yet; ``-`` says that a result could not be
measured. A line without an aim, where others have one, was not planned: its tension was chosen by
what earlier ones showed. Lines that begin with ``#`` come first and say whose study it is and its
range.

Conventions: typed tensions as everywhere, "26 +/- 0.5 N"; results are numbers in the unit of their
column.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from beltpitch import units as q
from beltpitch.errors import RequestError
from beltpitch.store.csv_log import escaped, table_lines, unescaped
from beltpitch.study.design import Planned
from beltpitch.study.trials import BELTS, Goal, Measure, Trial, Trials
from beltpitch.uncertainty import Estimate, Part, rectangular

Readings = Callable[[int], Estimate]

TYPED_LIMIT = 0.05  # of a typed tension without a doubt, shared by all: as `adjust` takes it
NOT_MEASURED = "-"
YES = ("yes", "y", "x", "1")
NO = ("no", "n", "0", "")
_HEAD = re.compile(
    r"(?P<name>[^\[\]]+?)\s*(?:\[(?P<unit>[^\[\]]*)\])?\s*"
    r"(?:(?P<larger>larger is better)|smaller is better|target (?P<target>\S+))?",
    re.ASCII,
)
_NUMBER = re.compile(r"(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,2})?)\s*(?P<unit>.*)")
_COMMA = re.compile(r"\d,\d")
_RANGE = re.compile(r"#\s*range\s+(?P<low>[\d.]+)\s+to\s+(?P<high>[\d.]+)\s+N", re.ASCII)


def measure_from(head: str) -> Measure:
    """Return a measure from the head of its column.

    Raises
    ------
    RequestError
        If the head cannot be read.
    """
    match = _HEAD.fullmatch(head.strip())
    if match is None or not match["name"].strip():
        raise RequestError(
            f'the column "{head}" cannot be read; write it as "size error [um]", '
            '"size error [um] target 0" or "stiffness [N/mm] larger is better"'
        )
    goal: Goal = "larger" if match["larger"] else "smaller"
    target = None
    if match["target"] is not None:
        goal, target = "target", _plain_number(match["target"], f'the column "{head}"')
    return Measure(match["name"].strip(), (match["unit"] or "").strip(), goal, target)


def head_of(measure: Measure) -> str:
    """Return the head of a measure's column; `measure_from` reads it."""
    if measure.target is not None:
        return f"{measure.said} target {measure.target:g}"
    return f"{measure.said} larger is better" if measure.goal == "larger" else measure.said


def _plain_number(text: str, place: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise RequestError(f"{place}: {text!r} is no number; write it as 12.5")
    return value


# --- out ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as it stands in its file: comment lines, heads, one row of texts a trial."""

    path: Path
    comments: tuple[str, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...] = ()

    @property
    def range_n(self) -> tuple[float, float] | None:
        """The range it was planned for; None if it does not say."""
        for words in self.comments:
            match = _RANGE.match(words)
            if match is not None:
                return float(match["low"]), float(match["high"])
        return None


def planned_sheet(
    path: Path,
    name: str,
    plan: Sequence[Planned],
    measures: Sequence[Measure],
    range_n: tuple[float, float],
    belts: Sequence[str] = (),
) -> Sheet:
    """Return the table of a plan, to be filled in.

    Parameters
    ----------
    path
        Where it will stand.
    name
        Whose study it is.
    plan
        The trials in their order.
    measures
        What will be measured.
    range_n
        The range it was planned for.
    belts
        The two belts of a gantry; each gets its own column of tension.
    """
    tensions = [f"tension {b} [N]" for b in belts] if len(belts) == BELTS else ["tension [N]"]
    heads = ("trial", "aim [N]", *tensions, "reading", *(head_of(m) for m in measures))
    heads = (*heads, "leave out", "note")
    blank = [""] * (len(heads) - 2)
    rows = tuple((str(p.order), f"{p.tension_n:.1f}", *blank) for p in plan)
    low, high = range_n
    return Sheet(path, (f"# study of {name}", f"# range {low:.2f} to {high:.2f} N"), heads, rows)


def write(sheet: Sheet, *, new: bool = False) -> None:
    """Write a table.

    Raises
    ------
    RequestError
        If it is there already although it is `new`, or cannot be written.
    """
    out = io.StringIO(newline="")
    for words in sheet.comments:
        out.write(words + "\r\n")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([escaped(head) for head in sheet.heads])
    for row in sheet.rows:
        writer.writerow([cell if cell == NOT_MEASURED else escaped(cell) for cell in row])
    try:
        with sheet.path.open("x" if new else "w", encoding="utf-8", newline="") as file:
            file.write(out.getvalue())
    except FileExistsError:
        raise RequestError(f"{sheet.path} is there already: name another with --table") from None
    except OSError as error:
        raise RequestError(f"{sheet.path} cannot be written: {error.strerror or error}") from None


def filled_in(sheet: Sheet, trial: int, values: Mapping[str, str]) -> Sheet:
    """Return the table with cells of one trial filled in.

    Parameters
    ----------
    sheet
        The table.
    trial
        Number of the trial; a new number adds a line.
    values
        Texts by the name of their column, without its unit.

    Raises
    ------
    RequestError
        If there is no such column.
    """
    names = [_name(head) for head in sheet.heads]
    at = names.index("trial") if "trial" in names else 0
    for name in values:
        if name.casefold() not in names:
            raise RequestError(
                f'{sheet.path} has no column "{name}"; it has {", ".join(names[1:])}'
            )
    rows = [list(row) for row in sheet.rows]
    row = next((r for r in rows if r[at].strip() == str(trial)), None)
    if row is None:
        row = [""] * len(names)
        row[at] = str(trial)
        rows.append(row)
    for name, text in values.items():
        row[names.index(name.casefold())] = text
    return Sheet(sheet.path, sheet.comments, sheet.heads, tuple(tuple(r) for r in rows))


def _name(head: str) -> str:
    match = _HEAD.fullmatch(head.strip())
    return " ".join((match["name"] if match else head).casefold().split())


# --- in -----------------------------------------------------------------------------------------


def sheet_from(path: Path) -> Sheet:
    """Read a table as it stands.

    Raises
    ------
    RequestError
        If it cannot be read, or its lines are no table.
    """
    lines = table_lines(path)
    comments = tuple(line for line in lines if line.lstrip().startswith("#"))
    # comment lines are blanked, so that the lines keep their numbers
    text = "\n".join("" if line.lstrip().startswith("#") else line for line in lines)
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    found: list[tuple[int, tuple[str, ...]]] = []
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                found.append((reader.line_num, tuple(unescaped(c.strip()) for c in row)))
    except csv.Error as error:
        raise RequestError(f"{path}, line {reader.line_num}: not CSV: {error}") from None
    if not found:
        raise RequestError(f"{path} is empty: beltpitch study plan makes a table")
    heads = found[0][1]
    if len(heads) == 1 and ";" in heads[0]:
        raise RequestError(f"{path} is separated by semicolons: save it separated by commas")
    for number, cells in found[1:]:
        if len(cells) != len(heads):
            raise RequestError(
                f"{path}, line {number}: {len(cells)} cells, the first line has {len(heads)}"
            )
    return Sheet(
        path, comments, heads, tuple(c for _, c in found[1:]), tuple(n for n, _ in found[1:])
    )


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where in a row each thing stands."""

    trial: int
    aim: int | None
    tensions: tuple[int, ...]
    reading: int | None
    leave_out: int | None
    note: int | None
    measures: tuple[tuple[int, Measure], ...]


def _columns(sheet: Sheet) -> _Columns:
    names = [_name(head) for head in sheet.heads]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise RequestError(f'{sheet.path} has the column "{twice}" twice: name each once')
    if "trial" not in names:
        raise RequestError(f'{sheet.path} has no column "trial": number the trials')
    where = {name: at for at, name in enumerate(names)}
    tensions = [at for at, name in enumerate(names) if name.split(" ")[0] == "tension"]
    known = {"trial", "aim", "reading", "leave out", "note", *(names[at] for at in tensions)}
    measures = [
        (at, measure_from(head))
        for at, (name, head) in enumerate(zip(names, sheet.heads, strict=True))
        if name not in known
    ]
    if not measures:
        raise RequestError(
            f'{sheet.path} has no column of results: add one, such as "size error [um]"'
        )
    if len(tensions) > BELTS:
        raise RequestError(f"{sheet.path} has {len(tensions)} columns of tension; a study has two")
    return _Columns(
        where["trial"],
        where.get("aim"),
        tuple(tensions),
        where.get("reading"),
        where.get("leave out"),
        where.get("note"),
        tuple(measures),
    )


def trials_from(sheet: Sheet, name: str, readings: Readings) -> Trials:
    """Return the trials of a table; lines not made yet are passed over.

    Parameters
    ----------
    sheet
        The table.
    name
        Whose study it is.
    readings
        Returns the preload of an entry of the book by its number.

    Raises
    ------
    RequestError
        If a cell cannot be read or is missing.
    """
    columns = _columns(sheet)
    aimed = columns.aim is not None and any(row[columns.aim] for row in sheet.rows)
    trials, seen = [], set()
    for line, row in zip(sheet.lines or range(2, len(sheet.rows) + 2), sheet.rows, strict=True):
        place = f"{sheet.path}, line {line}"
        number = _count(row[columns.trial], place)
        if number in seen:
            raise RequestError(f"{place}: trial {number} is there twice")
        seen.add(number)
        trial = _trial(columns, row, number, place, readings)
        if trial is not None:
            later = aimed and columns.aim is not None and not row[columns.aim]
            trials.append(replace(trial, planned=not later))
    if not trials:
        raise RequestError(f"{sheet.path} has no trial filled in yet")
    measures = tuple(m for _, m in columns.measures)
    return Trials(name, measures, tuple(trials), sheet.path.name)


def _count(text: str, place: str) -> int:
    if not text.isascii() or not text.isdigit():
        raise RequestError(f"{place}: trial {text!r} is no number; number the trials 1, 2, 3")
    return int(text)


def _trial(
    columns: _Columns, row: Sequence[str], number: int, place: str, readings: Readings
) -> Trial | None:
    typed = [row[at] for at in columns.tensions]
    kept = row[columns.reading] if columns.reading is not None else ""
    cells = [row[at] for at, _ in columns.measures]
    if not any((*typed, kept, *cells)):
        return None
    results = tuple(
        _result(cell, measure, place)
        for cell, (_, measure) in zip(cells, columns.measures, strict=True)
    )
    out = row[columns.leave_out].casefold() if columns.leave_out is not None else ""
    if out not in (*YES, *NO):
        raise RequestError(f'{place}: "leave out" is {out!r}; write yes, or nothing')
    return Trial(
        number=number,
        tensions=_tensions(typed, kept, number, place, readings),
        results=results,
        left_out=out in YES,
        note=row[columns.note] if columns.note is not None else "",
    )


def _result(cell: str, measure: Measure, place: str) -> float | None:
    if cell == NOT_MEASURED:
        return None
    if not cell:
        raise RequestError(
            f'{place}: "{measure.name}" is empty; write its value, or - if it could not be measured'
        )
    if _COMMA.search(cell):
        raise RequestError(
            f'{place}: "{measure.name}" {cell!r}: a comma in a number is not read; write 12.5'
        )
    match = _NUMBER.fullmatch(cell)
    if match is None:
        raise RequestError(f'{place}: "{measure.name}" {cell!r} is no number; write it as 12.5')
    unit = match["unit"].strip()
    if unit and unit != measure.unit:
        wanted = f"is in {measure.unit}" if measure.unit else "has no unit"
        raise RequestError(
            f'{place}: "{measure.name}" {cell!r}: this column {wanted}; write it so, in every line'
        )
    return _plain_number(match["number"], place)


def _tensions(
    typed: Sequence[str], kept: str, number: int, place: str, readings: Readings
) -> tuple[Estimate, ...]:
    given = [text for text in typed if text]
    if kept and given:
        raise RequestError(f"{place}: a tension and a reading: give one of them")
    if not kept and not given:
        raise RequestError(f"{place}: no tension: write it, or the number of its reading")
    if kept:
        return tuple(readings(_count(word.strip(), place)) for word in kept.split("+"))
    if len(given) != len(typed):
        raise RequestError(f"{place}: the tension of one belt is missing; write both")
    return tuple(_typed(text, f"{number}/{i}", place) for i, text in enumerate(given))


def _typed(text: str, key: str, place: str) -> Estimate:
    try:
        given = q.positive(text, q.FORCE)
    except RequestError as error:
        raise RequestError(f"{place}: tension {error.message}") from None
    if given.u is not None:
        return Estimate.single(given.value, given.u, name="tension as typed", key=f"typed:{key}")
    return Estimate(
        given.value,
        (
            Part("tension without +/-", "typed:all", rectangular(TYPED_LIMIT * given.value)),
            Part("last digit", f"typed:{key}", rectangular(given.half_digit)),
        ),
    )
