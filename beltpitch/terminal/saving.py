"""A belt's or a pair's name in place of the long options, and readings kept in the book.

For every command that measures: the options, the belts a name stands for, and the keeping. What is
said about it goes to standard error, so that JSON stays alone on standard output.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from beltpitch.errors import RequestError
from beltpitch.store.audio_clips import flac_of
from beltpitch.store.belt_request import BELT_TEXTS, STRAND_TEXTS, sitting_of
from beltpitch.store.belt_request import BeltRequest as BeltRequest
from beltpitch.store.belt_request import asked_by_name as asked_by_name
from beltpitch.store.belt_request import asked_by_options as asked_by_options
from beltpitch.store.belt_request import book_path as book_path
from beltpitch.store.belt_request import one_for_the_book as one_for_the_book
from beltpitch.store.dates import moment
from beltpitch.store.log import History
from beltpitch.store.machine_file import find, load
from beltpitch.units import TEMPERATURE, in_unit, parse

if TYPE_CHECKING:
    from beltpitch.session.verdict import Verdict
    from beltpitch.store.log import Event, NewEntry
    from beltpitch.store.machine_file import Machine

STRANDS = ("first", "second")

NameArgument = Annotated[
    str | None,
    typer.Argument(
        metavar="[NAME]", help="A belt or a pair of the machine file.", show_default=False
    ),
]
MachineOption = Annotated[
    Path | None,
    typer.Option(
        "--machine", help="Machine file with belts by name; beltpitch.toml here is found by itself."
    ),
]
KeepOption = Annotated[
    bool | None,
    typer.Option(
        "--keep/--no-keep",
        help="Keep the reading in the book, or not; by a belt's name it is kept.",
    ),
]
BookOption = Annotated[
    Path | None, typer.Option("--book", help="The book's file, instead of the usual one.")
]
NoteOption = Annotated[str | None, typer.Option("--note", help="A note to keep with the reading.")]
SeenOption = Annotated[
    str | None,
    typer.Option("--seen", help='What inspection found on the belt: "frayed edge", "cracks".'),
]
TemperatureOption = Annotated[
    str | None, typer.Option("--temperature", help='Of the shop; a bare number is in degC: "21".')
]
TensionedOption = Annotated[
    bool, typer.Option("--tensioned", help="The tensioner was turned just before this reading.")
]
NewBeltOption = Annotated[
    bool, typer.Option("--new-belt", help="A new belt was fitted just before this reading.")
]
SoundOption = Annotated[
    bool, typer.Option("--sound", help="Keep the sound too, to be read again later.")
]
TakenOption = Annotated[
    str | None,
    typer.Option("--taken", help='When it was taken, if not now: "2026-03-01 14:30".'),
]


@dataclass(frozen=True, slots=True)
class Keeping:
    """What the options say about keeping."""

    keep: bool | None = None
    book: Path | None = None
    note: str | None = None
    seen: str | None = None
    temperature: str | None = None
    tensioned: bool = False
    new_belt: bool = False
    sound: bool = False
    taken: str | None = None

    def wanted(self, *, named: bool) -> bool:
        """Return whether to keep: as said, else where the belt has a name.

        Raises
        ------
        RequestError
            If words to keep are given although nothing is to be kept.
        """
        keep = named if self.keep is None else self.keep
        if not keep and self.says_something:
            raise RequestError(
                "--note, --seen, --temperature, --taken, --book, --tensioned, --new-belt and "
                "--sound belong to a kept reading: add --keep, or name a belt of the machine"
            )
        return keep

    @property
    def says_something(self) -> bool:
        """Whether there are words that only a kept reading can hold."""
        words = (self.note, self.seen, self.temperature, self.taken, self.book)
        return any(words) or self.tensioned or self.new_belt or self.sound

    @classmethod
    def asked(cls, options: Mapping[str, Any]) -> Keeping:
        """Return what a command's options say about keeping.

        Parameters
        ----------
        options
            All of the command's options by their names, as ``locals()`` has them when it begins;
            one that the command does not have says nothing.

        Raises
        ------
        RequestError
            If temperature or date cannot be read: before anything is measured.
        """
        said = cls(**{f.name: options[f.name] for f in fields(cls) if f.name in options})
        temperature_c(said.temperature)
        if said.taken is not None:
            taken_at(said.taken)
        return said

    @property
    def event(self) -> Event | None:
        """What was done just before.

        Raises
        ------
        RequestError
            If both are said.
        """
        if self.tensioned and self.new_belt:
            raise RequestError("--new-belt holds --tensioned already: give one of them")
        if self.new_belt:
            return "new belt"
        return "tensioned" if self.tensioned else None


def belt_options(options: Mapping[str, Any]) -> dict[str, Any]:
    """Return those of a command's options that describe a belt, by their keys in a machine file.

    Parameters
    ----------
    options
        As for `Keeping.asked`.
    """
    over = {name: options.get(name) for name in (*BELT_TEXTS, *STRAND_TEXTS)}
    if isinstance(over["span"], list):  # once a strand
        over["span"], over["second_span"] = two_spans(over["span"])
    return over


def two_spans(spans: Sequence[str]) -> tuple[str | None, str | None]:
    """Return the spans of the first and of the second strand as they were given.

    Raises
    ------
    RequestError
        If there are more.
    """
    if len(spans) > len(STRANDS):
        raise RequestError(f"--span is given once, or once for each of two strands; got {spans}")
    first, second = (*spans, None, None)[: len(STRANDS)]
    return first, second


def machine_for(path: Path | None) -> Machine | None:
    """Return the machine file that was given, or the one of the current folder, and say so."""
    if path is not None:
        return load(path)
    found = find()
    if found is None:
        return None
    machine = load(found)
    sys.stderr.write(f"beltpitch: using {found.name} of this folder ({machine.name})\n")
    return machine


def asked_for(
    names: Sequence[str],
    machine: Path | None,
    over: Mapping[str, Any],
    *,
    ends: str | None = None,
    within: str | None = None,
) -> tuple[BeltRequest, ...]:
    """Return the belts that are asked for: by names on a machine, or by the long options.

    Parameters
    ----------
    names
        Of belts or pairs; none for a belt described by options alone.
    machine
        The file given with --machine.
    over
        The long options: belt, width, linear_mass, construction, span, target. Beside a name they
        stand over what the file says.
    ends, within
        As typed, None where not; the defaults are those of the belt as it is made.

    Raises
    ------
    RequestError
        If a name is not known, or a machine is given without one.
    """
    if not names:
        if machine is not None:
            raise RequestError(f"--machine needs a belt's name: {_names_of(machine_for(machine))}")
        return (asked_by_options(over, ends=ends, within=within),)
    beside = {**over, "ends": ends, "within": within}
    found = machine_for(machine)
    return tuple(one for name in names for one in asked_by_name(name, found, beside))


def names_before_files(words: Sequence[Path], machine: Path | None) -> tuple[list[str], list[Path]]:
    """Return the names that stand before the files, and the files.

    A word is a name if no such file is there and a machine file has a belt or pair of that name.
    """
    if machine is None and (words[0].exists() or find() is None):
        return [], list(words)
    file = load(machine or find() or Path())
    known = {*file.belts, *file.pairs}
    count = 0
    while count < len(words) and not words[count].exists() and str(words[count]) in known:
        count += 1
    if count == len(words):
        raise RequestError(f"{words[-1]} is a belt's name: add the recording after it")
    return [str(word) for word in words[:count]], list(words[count:])


def _names_of(machine: Machine | None) -> str:
    names = [] if machine is None else list(machine.belts)
    return ", ".join(names[:20]) or "it has none yet (beltpitch machine add)"


def keep_all(
    kept: Sequence[tuple[BeltRequest, Verdict]],
    keeping: Keeping,
    *,
    recordings: Sequence[Sequence[Path]] = (),
    flacs: Sequence[bytes | None] = (),
    inputs: Mapping[str, Any] | None = None,
) -> None:
    """Keep verdicts in the book and say where; those without an answer are left out.

    Parameters
    ----------
    kept
        Each verdict with the belt it was asked for.
    keeping
        As the options have it.
    recordings
        For each verdict the files it came from; empty for typed ones.
    flacs
        For each verdict its sound, where it was heard live and is to be kept.
    inputs
        What else was asked for, as texts, to read it again by.

    Raises
    ------
    RequestError
        If the book cannot be opened or the words not be read.
    CannotTell
        If the disk does not take it.
    """
    first = kept[0][0]
    files = list(recordings) or [()] * len(kept)
    sounds = list(flacs) or [None] * len(kept)
    sittings = [
        _sitting(asked, verdict, keeping, paths, flac, inputs or {})
        for (asked, verdict), paths, flac in zip(kept, files, sounds, strict=True)
        if verdict.reading.frequency is not None
    ]
    if len(sittings) < len(kept):
        sys.stderr.write("beltpitch: not kept: a reading without an answer\n")
    if not sittings:
        return
    with History(book_path(keeping.book, first.machine)) as history:
        for sitting in sittings:
            done = history.keep(sitting)
            again = f", revision {done.revision}" if done.revision > 1 else ""
            sys.stderr.write(
                f"beltpitch: kept as {done.id}{again} ({sitting.belt}) in {history.path}\n"
            )


def offered(
    kept: Sequence[tuple[BeltRequest, Verdict]],
    keeping: Keeping,
    *,
    ask: bool,
    flacs: Sequence[bytes | None] = (),
    inputs: Mapping[str, Any] | None = None,
) -> None:
    """Keep what was read live: as --keep or --no-keep say, else as a person answers, asked once.

    Parameters
    ----------
    kept
        Each verdict with the belt it was asked for; those without an answer are left out.
    keeping
        As the options have it.
    ask
        Whether somebody is there to be asked; without, only --keep keeps.
    flacs, inputs
        As for `keep_all`.
    """
    sounds = list(flacs) or [None] * len(kept)
    told = [(each, s) for each, s in zip(kept, sounds, strict=True) if each[1].reading.frequency]
    if not told or keeping.keep is False:
        return
    named = told[0][0][0].name is not None
    if keeping.keep or (ask and _confirmed(named=named)):
        keep_all([each for each, _ in told], keeping, flacs=[s for _, s in told], inputs=inputs)
    elif keeping.says_something and not ask:
        sys.stderr.write("beltpitch: not kept: nobody is there to be asked; add --keep\n")


def _confirmed(*, named: bool) -> bool:
    return typer.confirm("Keep this in the book?", default=named, err=True)


def _sitting(
    asked: BeltRequest,
    verdict: Verdict,
    keeping: Keeping,
    files: Sequence[Path],
    flac: bytes | None,
    inputs: Mapping[str, Any],
) -> NewEntry:

    return sitting_of(
        asked,
        verdict,
        taken_at(keeping.taken, files),
        files=files,
        event=keeping.event,
        temperature_c=temperature_c(keeping.temperature),
        note=keeping.note,
        seen=keeping.seen,
        inputs=inputs,
        flac=flac_of(files) if keeping.sound and files else flac,
        taken_said=keeping.taken is not None,
    )


def temperature_c(text: str | None) -> float | None:
    """Return a temperature in degrees Celsius."""
    if text is None:
        return None
    return round(
        in_unit(parse(text, TEMPERATURE, option="--temperature").value, "degC", TEMPERATURE), 3
    )


def taken_at(text: str | None, files: Sequence[Path] = ()) -> dt.datetime:
    """Return when a reading was taken: as said (local time), the file's date, or now.

    Raises
    ------
    RequestError
        If the text is no date, or can only be a slip.
    """
    if text is not None:
        return moment(text, "--taken")
    if files:
        changed = max(path.stat().st_mtime for path in files)
        when = dt.datetime.fromtimestamp(changed, tz=dt.UTC)
        shown = when.astimezone().strftime("%Y-%m-%d %H:%M")
        sys.stderr.write(
            f"beltpitch: taken at {shown} by the file's date; --taken says otherwise\n"
        )
        return when
    return dt.datetime.now(dt.UTC)
