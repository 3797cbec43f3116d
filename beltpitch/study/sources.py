"""A study of a belt or a pair: its window, its table, its readings, brought together.

The window is what belt and duty allow, without the user's present target: that is what a study is
to find. For a pair it is what both belts allow.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from beltpitch.errors import RequestError
from beltpitch.store.machine_edit import add_belt
from beltpitch.store.named_belts import layout_of
from beltpitch.study.study import study
from beltpitch.study.trials import EndKind, Field
from beltpitch.study.trials_table import Sheet, sheet_from, trials_from
from beltpitch.uncertainty import Estimate

if TYPE_CHECKING:
    from beltpitch.advice.bounds import Bound, Range
    from beltpitch.store.entries import BeltEntry
    from beltpitch.store.log import History
    from beltpitch.store.machine_file import Machine
    from beltpitch.store.named_belts import NamedBelt
    from beltpitch.study.study import Study

Opened = Callable[[], "History"]


@dataclass(frozen=True, slots=True)
class StudySource:
    """What is studied: a belt or a pair, with what is known of it.

    Parameters
    ----------
    name
        Of the belt or the pair.
    bounds
        Of each belt, by pitch, width and duty.
    belts
        As named in the machine file; none without one.
    machine
        The machine; None without one.
    """

    name: str
    bounds: tuple[Range, ...]
    belts: tuple[NamedBelt, ...] = ()
    machine: Machine | None = None

    @property
    def table(self) -> Path | None:
        """The table the machine file names; None if it names none."""
        if not self.belts or self.machine is None or self.machine.path is None:
            return None
        name = self.belts[0].entry.study
        return None if name is None else self.machine.path.parent / name


def subject_of(machine: Machine, name: str) -> StudySource:
    """Return what a name of a machine file stands for.

    Raises
    ------
    RequestError
        If there is no such belt or pair.
    """
    belts = tuple(machine.named(entry.name) for entry in machine.entries(name))
    return StudySource(name, tuple(b.windows.hard for b in belts), belts, machine)


def field_of(
    subject: StudySource,
    asked: tuple[float | None, float | None] = (None, None),
    planned: tuple[float, float] | None = None,
) -> Field:
    """Return the range that may be studied.

    Parameters
    ----------
    subject
        Whose window it is.
    asked
        The ends the user gave; each must lie inside the window.
    planned
        The ends the table was planned for; they give way to the window.

    Raises
    ------
    RequestError
        If an end is known to nobody, or one that was asked for lies outside the window.
    """
    low = _tightest([b.low for b in subject.bounds], highest=True)
    high = _tightest([b.high for b in subject.bounds], highest=False)
    if low is not None and high is not None and low.newtons >= high.newtons:
        raise RequestError(
            f"no preload serves {subject.name}: at least {low.newtons:.4g} N ({low.rule}), at most "
            f"{max(0.0, high.newtons):.4g} N ({high.rule}); beltpitch window says what opens it"
        )
    from_table = planned or (None, None)
    first = _end(subject, low, asked[0], from_table[0], upper=False)
    last = _end(subject, high, asked[1], from_table[1], upper=True)
    return Field(first[0], last[0], first[1], last[1], first[2], last[2])


def _tightest(ends: Sequence[Bound | None], *, highest: bool) -> Bound | None:
    known = [end for end in ends if end is not None]
    if not known:
        return None
    return (max if highest else min)(known, key=lambda end: end.newtons)


def _end(
    subject: StudySource,
    rule: Bound | None,
    asked: float | None,
    planned: float | None,
    *,
    upper: bool,
) -> tuple[float, str, EndKind]:
    option, side = ("--high", "upper") if upper else ("--low", "lower")
    wanted = planned if asked is None else asked
    if rule is None:
        if wanted is None:
            raise RequestError(
                f"nobody names the {side} end of the window of {subject.name}: say how far you "
                f'would go, as in {option} "{60 if upper else 20} N"'
            )
        return wanted, f"the {side} end you chose", "chosen"
    beyond = wanted is not None and (wanted > rule.newtons if upper else wanted < rule.newtons)
    if asked is not None and beyond:
        raise RequestError(
            f"{option} {asked:.4g} N is outside the window of {subject.name}, which ends at "
            f"{rule.newtons:.4g} N ({rule.rule}); a study stays inside it"
        )
    if wanted is None or beyond or wanted == rule.newtons:
        return rule.newtons, rule.rule, rule.kind
    return wanted, f"the {side} end you chose", "chosen"


def study_from(
    subject: StudySource,
    sheet: Sheet,
    opened: Opened,
    asked: tuple[float | None, float | None] = (None, None),
) -> Study:
    """Return the study of a table.

    Parameters
    ----------
    subject
        Whose it is.
    sheet
        The table.
    opened
        Opens the book; called only if a trial names a reading.
    asked
        Ends of the range that the user gave.

    Raises
    ------
    RequestError
        If the table or a reading cannot be read.
    CannotTell
        If nothing can be judged yet.
    """
    field = field_of(subject, asked, sheet.range_n)
    with readings_of(subject, opened) as readings:
        trials = trials_from(sheet, subject.name, readings)
    demand = layout = ea_n = None
    if subject.belts and subject.machine is not None:
        first = subject.belts[0]
        duty = subject.machine.duty(first.entry.axis)
        demand = first.demand
        layout = None if duty is None else layout_of(duty, first.entry)
        ea_n = None if first.belt.ea_n is None else first.belt.ea_n.value
    return study(trials, field, demand=demand, layout=layout, ea_n=ea_n)


@contextmanager
def readings_of(subject: StudySource, opened: Opened) -> Iterator[Callable[[int], Estimate]]:
    """Look up preloads in the book, which is opened when the first is asked for."""
    kept: list[History] = []
    names = [belt.name for belt in subject.belts]

    def reading(number: int) -> Estimate:
        if not kept:
            kept.append(opened())
        entry = kept[0].entry(number)
        if names and entry.line.belt not in names:
            raise RequestError(
                f"reading {number} is of {entry.line.belt}, not of {' or '.join(names)}"
            )
        if entry.estimates.preload is None:
            raise RequestError(f"reading {number} has no preload: take another")
        return entry.estimates.preload

    try:
        yield reading
    finally:
        for history in kept:
            history.close()


def study_of(
    machine: Machine, name: str, opened: Opened, *, table: Path | None = None
) -> Study | None:
    """Return the study that a machine file names for a belt or a pair; None if it names none.

    With `beltpitch.study.study.as_json` and `beltpitch.present.study_plot.study_bytes` this is all
    that a page needs.

    Raises
    ------
    RequestError
        If it cannot be read.
    CannotTell
        If nothing can be judged yet.
    """
    subject = subject_of(machine, name)
    path = table or subject.table
    if path is None:
        return None
    return study_from(subject, sheet_from(path), opened)


def studied(machine: Machine) -> tuple[str, ...]:
    """Return the belts and pairs that have a study; a shared table is the pair's."""
    names: dict[str, str] = {}
    for belt in machine.belts.values():
        if belt.study is not None:
            pair = next((p.name for p in machine.pairs.values() if belt.name in p.belts), belt.name)
            shared = pair != belt.name and all(
                machine.belts[n].study == belt.study for n in machine.pairs[pair].belts
            )
            names.setdefault(belt.study, pair if shared else belt.name)
    return tuple(names.values())


# --- into the machine file ----------------------------------------------------------------------


def name_table(machine: Machine, names: Sequence[str], table: Path) -> bool:
    """Write the table's name into the belts of a machine file, if it lies beside the file."""
    found = _beside(machine, table)
    if found is not None:
        _write(machine, [replace(machine.belt(name), study=found) for name in names])
    return found is not None


def choose(
    machine: Machine, names: Sequence[str], tension_n: float, source: str, table: Path
) -> None:
    """Write a tension as the target of belts, with the study as its source, and its table's name.

    Raises
    ------
    RequestError
        If the machine file cannot be written.
    """
    if machine.path is None:
        raise RequestError("there is no machine file to write the target into")
    found = _beside(machine, table)
    target = f"{tension_n:.1f} N"
    changed = []
    for name in names:
        belt = machine.belt(name)
        study = found or belt.study
        changed.append(replace(belt, target=target, target_from=source, study=study))
    _write(machine, changed)


def _beside(machine: Machine, table: Path) -> str | None:
    """Return a table's name, if it lies beside the machine file."""
    if machine.path is None or table.resolve().parent != machine.path.resolve().parent:
        return None
    return table.name


def _write(machine: Machine, belts: Sequence[BeltEntry]) -> None:

    assert machine.path is not None
    for belt in belts:
        add_belt(machine.path, belt, over=True)
