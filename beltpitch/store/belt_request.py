"""A belt to be measured, however it was asked for: by its name on a machine, or described in texts.

What commands and page share: what a name stands for, the subject of a live measurement, and the
readings as the book keeps them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beltpitch import parsing
from beltpitch.belts.end_conditions import USUAL_ENDS
from beltpitch.errors import RequestError
from beltpitch.pitch.results import FrequencyRange
from beltpitch.reading import expected_range
from beltpitch.session.session import Subject
from beltpitch.setup.strung_belt import strung
from beltpitch.store.database import default_path
from beltpitch.store.entries import BeltEntry
from beltpitch.store.log import NewEntry, digest_of, now
from beltpitch.store.machine_edit import as_texts
from beltpitch.store.machine_file import USUAL
from beltpitch.store.named_belts import named

if TYPE_CHECKING:
    import datetime as dt

    from beltpitch.advice.window import Window
    from beltpitch.belts.catalogue import Belt
    from beltpitch.belts.span import Span
    from beltpitch.reading import Reading
    from beltpitch.session.session import Way
    from beltpitch.session.verdict import Verdict
    from beltpitch.store.log import Event
    from beltpitch.store.machine_file import Machine
    from beltpitch.uncertainty import Estimate

# What describes a belt in texts, by the keys of a machine file.
BELT_TEXTS = ("belt", "width", "linear_mass", "construction", "span", "target")
# What describes its two strands, where a face asks for it.
STRAND_TEXTS = (
    "second_span",
    "loop_sides",
    "strand_limit",
    "detent",
    "pulley_teeth",
    "rail_friction",
)


@dataclass(frozen=True, slots=True)
class BeltRequest:
    """One belt to be measured, however it was asked for.

    Parameters
    ----------
    belt, span, other_span, window
        As read; None where not given.
    echoes
        Defaults that were taken.
    entry
        The machine's belt as written, options given beside its name written over it; without a
        machine, what the options say.
    machine
        The machine; None without one.
    """

    belt: Belt | None
    span: Span | None
    other_span: Span | None
    window: Window | None
    echoes: tuple[str, ...]
    entry: BeltEntry
    machine: Machine | None = None

    @property
    def name(self) -> str | None:
        """Name of the belt on its machine; None without a machine."""
        return self.entry.name if self.machine else None

    def for_strands(self) -> tuple[BeltRequest, BeltRequest]:
        """Return what was asked for of each of the two strands.

        Raises
        ------
        RequestError
            If only one span was given.
        """
        if self.span is not None and self.other_span is None:
            raise RequestError(
                "two strands have two spans: give the second one too (--span twice, or second_span "
                'in the machine file), or "equal" if it is as long as the first'
            )
        return self, replace(self, span=self.other_span)

    @property
    def sides(self) -> tuple[Estimate, Estimate] | None:
        """All of the loop that stands at each strand's tension, in m; None where not known."""
        return parsing.loop_sides(self.entry.loop_sides)


def asked_by_name(
    name: str, machine: Machine | None, over: Mapping[str, Any] | None = None
) -> tuple[BeltRequest, ...]:
    """Return the belt of that name, or the two of a pair.

    Parameters
    ----------
    name
        Of a belt or a pair.
    machine
        Where it is looked up.
    over
        Options given beside the name, as keys of the entry; they stand over what is written.

    Raises
    ------
    RequestError
        If there is no machine file or no such name.
    """
    if machine is None:
        raise without_machine(name, "or make one with: beltpitch machine new")
    given = {key: value for key, value in (over or {}).items() if value is not None}
    return tuple(_asked(replace(e, **given), machine) for e in machine.entries(name))


def without_machine(name: str, otherwise: str) -> RequestError:
    """Return the error that a name was given where there is no machine file."""
    return RequestError(
        f'"{name}" would be the name of a belt, but there is no {USUAL} in this folder: '
        f"give --machine FILE, {otherwise}"
    )


def _asked(entry: BeltEntry, machine: Machine) -> BeltRequest:

    made = named(entry, machine.name, machine.duty(entry.axis))
    of_target = made.windows.by_target.cautions if made.windows.by_target else ()
    # what is said of the target stands in the verdict's first line
    said = (*made.echoes, *(w for w in made.windows.warnings if w not in of_target))
    return BeltRequest(
        made.belt, made.span, made.other_span, made.windows.verdict, said, entry, machine
    )


def asked_by_options(
    over: Mapping[str, Any], *, ends: str | None = None, within: str | None = None
) -> BeltRequest:
    """Return the belt that the long options describe, without a machine.

    What is not given gets its default here and in `strung`, and is kept with the reading.
    """
    ends = ends or USUAL_ENDS
    texts = {key: value for key, value in over.items() if key != "loop_sides"}
    made = strung(**texts, ends=ends, within=within)
    given = {key: value for key, value in over.items() if value is not None}
    entry = BeltEntry(name=str(over.get("belt") or "belt"), ends=ends, within=within, **given)
    return BeltRequest(made.belt, made.span, made.other_span, made.window, made.echoes, entry)


@dataclass(frozen=True, slots=True)
class Clock:
    """The rate error of a device.

    Parameters
    ----------
    error
        Relative; positive makes tones sound too high.
    text
        As it was written, to be kept.
    words
        What is taken, to be shown.
    """

    error: Estimate
    text: str
    words: str

    @property
    def echo(self) -> str:
        """What was done, in words."""
        return f"the sound device's rate is off by {self.words}, corrected"


def clock_given(text: str | None, option: str = "--clock") -> Clock | None:
    """Return the rate error that was written; None if none was.

    Raises
    ------
    RequestError
        If it cannot be read.
    """
    if text is None:
        return None
    error, words = parsing.clock(text, option=option)
    return Clock(error, text, words)


def clock_of(given: Clock | None, machine: Machine | None, device: str) -> Clock | None:
    """Return the rate error of a device: as given, else as the machine file has it."""
    if given is not None or machine is None:
        return given
    return clock_given(machine.clock_of(device), "[clock]")


def subject_of(
    asked: BeltRequest,
    name: str,
    way: Way,
    strand: Sequence[str] | None,
    travel: str | None,
    asked_range: FrequencyRange | None,
) -> Subject:
    """Return the belt to be measured.

    Raises
    ------
    RequestError
        If two parks are asked for without a belt, or nothing can be carried in the range.
    """
    if way == "parks" and asked.belt is None:
        raise RequestError("two parks need the belt's linear mass: give --belt or --linear-mass")
    strands = tuple(strand or ())
    if not strands and asked.entry.strand:
        strands = (asked.entry.strand,)
    notes = asked.belt.notes if asked.belt else ()
    moved = parsing.travel(travel) if travel else None
    then = moved_range(asked, moved, asked_range) if moved else None
    other = None
    if way == "strands":
        other = asked.for_strands()[1].span
        then = expected_range(asked.belt, other, asked_range)
    return Subject(
        name=name,
        belt=asked.belt,
        span=asked.span,
        window=asked.window,
        expected=expected_range(asked.belt, asked.span, asked_range),
        expected_then=then,
        other_span=other,
        sides=asked.sides,
        way=way,
        strands=strands,
        travel=moved,
        echoes=tuple(dict.fromkeys((*asked.echoes, *notes))),
    )


def moved_range(
    asked: BeltRequest, travel: Estimate, asked_range: FrequencyRange | None
) -> FrequencyRange | None:
    """Return where the frequency must lie once the carriage was moved, either way.

    The tape's span is one park's; the strand at the other is longer or shorter by the travel.
    None without a span, or where neither can be heard in the range that was asked for.
    """
    if asked.span is None:
        return None
    found = []
    for share in (1 + travel.value / asked.span.length_m, 1 - travel.value / asked.span.length_m):
        if share > 0:
            span = replace(asked.span, length=asked.span.length.scaled(share))
            with suppress(RequestError):  # the other way it may be heard
                found.append(expected_range(asked.belt, span, asked_range))
    if not found:
        return None
    low_hz, high_hz = min(r.low_hz for r in found), max(r.high_hz for r in found)
    return FrequencyRange(low_hz, high_hz, why="; or ".join(r.why for r in found))


def one_for_the_book(readings: Sequence[Reading], way: str) -> list[Reading]:
    """Return the readings to keep: those of two strands as one, of two parks the joined one."""
    if way == "parks":
        return [readings[-1]]
    if way not in ("strands", "sides") or len(readings) == 1:
        return list(readings)
    a, b = readings
    return [
        replace(
            a,
            source=f"{a.source} + {b.source}",
            strand=f"{a.strand} and {b.strand}",
            plucks=(*a.plucks, *b.plucks),
            warnings=tuple(dict.fromkeys((*a.warnings, *b.warnings))),
        )
    ]


def book_path(given: Path | None, machine: Machine | None) -> Path:
    """Return the book: as given, as the machine file says (beside it), or the user's own."""
    if given is not None:
        return given
    if machine is not None and machine.book is not None and machine.path is not None:
        return machine.path.resolve().parent / machine.book
    return default_path()


def sitting_of(
    asked: BeltRequest,
    verdict: Verdict,
    taken: dt.datetime | None = None,
    *,
    files: Sequence[Path] = (),
    event: Event | None = None,
    temperature_c: float | None = None,
    note: str | None = None,
    seen: str | None = None,
    inputs: Mapping[str, Any] | None = None,
    flac: bytes | None = None,
    taken_said: bool = False,
) -> NewEntry:
    """Return a reading as the book keeps it, under its belt's name.

    Parameters
    ----------
    asked
        The belt as it was asked for.
    verdict
        What was read.
    taken
        When, aware; None for now.
    files
        The recordings it came from; none where it was heard live or typed.
    event, temperature_c, note, seen, flac, taken_said
        As `beltpitch.store.log.Sitting` has them.
    inputs
        What else was asked for, as texts, to read it again by.

    Raises
    ------
    RequestError
        If nobody said which belt it is.
    """
    belt = asked.name or (verdict.reading.belt.name if verdict.reading.belt else None)
    if belt is None:
        raise RequestError("--keep needs to know the belt: name one of the machine, or add --belt")
    return NewEntry(
        verdict=verdict,
        belt=belt,
        taken=taken or now(),
        machine=asked.machine.name if asked.machine else "",
        park=asked.entry.park or asked.entry.span,
        digest=digest_of(*files) if files else None,
        event=event,
        temperature_c=temperature_c,
        note=note,
        seen=seen,
        inputs={"belt": as_texts(asked.entry), **(inputs or {})},
        flac=flac,
        taken_said=taken_said,
    )
