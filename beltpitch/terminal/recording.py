"""``beltpitch recording FILE...``: from recordings of plucks to tensions."""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from beltpitch import parsing
from beltpitch.audio.clock_error import rate_error
from beltpitch.audio.files import open_recording
from beltpitch.errors import BeltpitchError, CannotTell, RequestError
from beltpitch.pitch.pyin_check import by_librosa
from beltpitch.present.plots import pluck_figure, save
from beltpitch.present.waveform import portrait
from beltpitch.reading import Reading, both_strands, expected_range, from_travels, read
from beltpitch.session.verdict import SCHEMA, as_json, judged
from beltpitch.store.belt_request import moved_range
from beltpitch.terminal import drawing, reading_view
from beltpitch.terminal import options as o
from beltpitch.terminal import saving as k
from beltpitch.terminal.clock_option import ClockOption, clock_given
from beltpitch.units import FREQUENCY, positive

if TYPE_CHECKING:
    from beltpitch.pitch.results import FrequencyRange
    from beltpitch.session.verdict import Verdict
    from beltpitch.uncertainty import Estimate


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(recording)


def recording(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="[NAME]... FILE...",
            help="Recordings: any sound file, or a video with sound; before them, if wanted, the "
            "name of a belt of the machine file, or of as many as there are files.",
        ),
    ],
    belt: o.BeltOption = None,
    width: o.WidthOption = None,
    linear_mass: o.LinearMassOption = None,
    construction: o.ConstructionOption = None,
    span: o.SpansOption = None,
    ends: o.EndsOption = None,
    low: o.FromOption = None,
    high: o.ToOption = None,
    target: o.TargetOption = None,
    within: o.WithinOption = None,
    strand: o.StrandOption = None,
    loop_sides: o.LoopSidesOption = None,
    strand_limit: o.StrandLimitOption = None,
    detent: o.DetentOption = None,
    pulley_teeth: o.PulleyTeethOption = None,
    rail_friction: o.RailFrictionOption = None,
    parks: o.ParksOption = False,
    travel: o.TravelOption = None,
    cross_check: Annotated[
        bool,
        typer.Option(
            "--cross-check", help="Give librosa's independent estimate beside ours (slow)."
        ),
    ] = False,
    reference_tone: Annotated[
        str | None,
        typer.Option(
            "--reference-tone",
            help='A steady tone of known frequency is in one of the files: "1000 Hz". States the '
            "rate error of the sound device and corrects it.",
        ),
    ] = None,
    clock: ClockOption = None,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture",
            help="Draw the first pluck: waveform with the part used, spectrum with the partials, "
            "spectrogram; a .png, .svg or .pdf (slow; one recording).",
        ),
    ] = None,
    machine: k.MachineOption = None,
    keep: k.KeepOption = None,
    book: k.BookOption = None,
    note: k.NoteOption = None,
    seen: k.SeenOption = None,
    temperature: k.TemperatureOption = None,
    tensioned: k.TensionedOption = False,
    new_belt: k.NewBeltOption = False,
    sound: k.SoundOption = False,
    taken: k.TakenOption = None,
    fail_unless: o.FailUnlessOption = None,
    details: o.DetailsOption = False,
    json: o.JsonOption = False,
    unit: o.UnitOption = "N",
) -> int:
    """Tension of each plucked belt in a recording; without belt and span, its frequency."""
    options = locals()
    o.checked_unit(unit)
    o.checked_word(fail_unless)
    over = k.belt_options(options)
    names, files = k.names_before_files(files, machine)
    every = k.asked_for(names, machine, over, ends=ends, within=within)
    keeping = k.Keeping.asked(options)
    to_keep = keeping.wanted(named=bool(names))
    expected = parsing.frequency_range(low, high)
    way = o.grouping(strand, parks=parks, travel=travel)
    every = _for_each_file(every, files, way, o.wanted(way, travel))
    reference = _reference_for(files, reference_tone, clock)
    limits = _limits(every, way, travel, expected)
    read = [
        _read(p, i, a, expected, reference, limits[i])
        for i, (p, a) in enumerate(zip(files, every, strict=True))
    ]
    readings, code = [r for r, _ in read], max(c for _, c in read)
    if code == 0:
        readings = _joined(readings, way, strand, travel, every[0])
    checks = []
    if cross_check:
        found = zip(files, readings, limits, strict=False)
        checks = [_cross_checked(p, r, where, expected) for p, r, where in found]
    windows = [asked.window for asked in every] + [every[0].window] * (len(readings) - len(every))
    verdicts = [judged(r, window) for r, window in zip(readings, windows, strict=True)]
    if json:
        records = [as_json(v) for v in verdicts]
        for record, hertz in zip(records, checks, strict=False):
            record["cross_check_hz"] = hertz
        drawing.print_json({"schema": SCHEMA, "readings": records})
    else:
        reading_view.show(verdicts, unit, heard=True, details=details)
        reading_view.show_checks([r.source for r in readings], checks)
    if picture is not None:
        _draw(picture, files, readings, expected)
    if to_keep:
        said = {"strand": strand, "travel": travel, "clock": reference and reference.text}
        _keep(verdicts, every, files, keeping, way if code == 0 else "one", said)
    return o.code_for(fail_unless, verdicts, code)


def _for_each_file(
    every: tuple[k.BeltRequest, ...], files: list[Path], way: str, wanted: int
) -> tuple[k.BeltRequest, ...]:
    """Return the belt of each file: one for all, or as many as there are files."""
    if way != "one" and (len(files) != wanted or len(every) > 1):
        count = "two" if wanted == 2 else str(wanted)  # noqa: PLR2004
        raise RequestError(
            f"give {count} recordings of one belt for {count} {way}, in order; got {len(files)} of "
            f"{len(every)}"
        )
    if way == "strands":
        return every[0].for_strands()
    if len(every) == 1:
        return every * len(files)
    if len(every) != len(files):
        names = ", ".join(asked.entry.name for asked in every)
        raise RequestError(
            f"{len(every)} belts ({names}) and {len(files)} recordings: give one recording for "
            "each, in that order"
        )
    return every


def _limits(
    every: tuple[k.BeltRequest, ...], way: str, travel: str | None, expected: FrequencyRange | None
) -> list[FrequencyRange | None]:
    """Return where each file is searched, None for what the span given can carry."""
    if way != "parks":
        return [None] * len(every)
    moved = zip(every[1:], parsing.travels(travel or ""), strict=True)
    return [None, *(moved_range(asked, there, expected) for asked, there in moved)]


def _keep(
    verdicts: list[Verdict],
    every: tuple[k.BeltRequest, ...],
    files: list[Path],
    keeping: k.Keeping,
    way: str,
    said: dict[str, Any],
) -> None:
    """Keep what was read: each file by itself, or two strands or parks as one."""
    inputs = {"files": [f.name for f in files], **said}
    if way == "one":
        kept = list(zip(every, verdicts, strict=True))
        sources = [[path] for path in files]
    else:
        joined = k.one_for_the_book([v.reading for v in verdicts], way)
        kept = [(every[0], judged(reading, every[0].window)) for reading in joined]
        sources = [files]
    k.keep_all(kept, keeping, recordings=sources, inputs=inputs)


@dataclass(frozen=True, slots=True)
class _Reference:
    """The rate error of the device, how it is written, and the files that hold a known tone."""

    error: Estimate
    text: str
    words: str
    files: tuple[Path, ...] = ()


def _reference_for(files: list[Path], tone: str | None, clock: str | None) -> _Reference | None:
    """Return the rate error that the recordings are put right by; None if it is not known.

    Raises
    ------
    RequestError
        If it is given twice, or cannot be read.
    CannotTell
        If no file holds the tone.
    """
    if tone is not None and clock is not None:
        raise RequestError("--clock is what --reference-tone finds out: give one of them")
    if tone is not None:
        return _reference(files, tone)
    given = clock_given(clock)
    return None if given is None else _Reference(given.error, given.text, given.echo)


def _reference(files: list[Path], text: str) -> _Reference:
    """Return the rate error of the device from the file in which the tone is known best.

    Raises
    ------
    CannotTell
        If no file holds the tone.
    """
    tone_hz = positive(text, FREQUENCY, option="--reference-tone").value
    found = [(path, rate_error(open_recording(path), tone_hz)) for path in files]
    known = [(path, error) for path, error in found if error is not None]
    if not known:
        raise CannotTell(
            f"no steady tone within half a percent of {tone_hz:.6g} Hz in these recordings: record "
            "the tone for at least four seconds with the same device, and give that file too"
        )
    path, error = min(known, key=lambda pair: pair[1].u)
    ppm, u_ppm = error.value * 1e6, error.u * 1e6
    text = f"{ppm:+.1f}({max(1, math.ceil(10 * u_ppm))}) ppm"
    words = (
        f"reference tone {tone_hz:.6g} Hz in {path.name}: the device's rate is off by "
        f"{ppm:+.1f} ppm (u {u_ppm:.1g} ppm), corrected; for other sound of this device: "
        f'--clock "{text}"'
    )
    return _Reference(error, text, words, tuple(p for p, _ in known))


def _read(
    path: Path,
    index: int,
    asked: k.BeltRequest,
    expected: FrequencyRange | None,
    reference: _Reference | None = None,
    limits: FrequencyRange | None = None,
) -> tuple[Reading, int]:
    """Return one file's reading and its exit code; a refusal is said and leaves nulls."""
    try:
        reading = read(
            path,
            belt=asked.belt,
            span=asked.span,
            expected=expected,
            limits=limits,
            key=f"{index}",
            rate_error=reference.error if reference else None,
        )
    except BeltpitchError as error:
        named = error.message.startswith((str(path), path.name))
        sys.stderr.write(f"beltpitch: {'' if named else f'{path}: '}{error.message}\n")
        blank = Reading(source=path.name, belt=asked.belt, span=asked.span)
        return replace(blank, warnings=(error.message,)), error.exit_code
    notes = asked.belt.notes if asked.belt else ()
    said = (*reading.echoes, *asked.echoes, *notes)
    reading = replace(reading, echoes=tuple(dict.fromkeys(said)), strand=asked.entry.strand)
    if reference is not None:
        reading = replace(reading, echoes=(*reading.echoes, reference.words))
        if path in reference.files and reading.frequency is None:
            return reading, 0  # it holds the tone, and was not meant to hold a pluck
    wanted = reading.frequency if asked.span is None or asked.belt is None else reading.tension
    if wanted is not None:
        return reading, 0
    sys.stderr.write(f"beltpitch: {path}: {reading.warnings[0]}\n")
    return reading, 1


def _draw(
    picture: Path, files: list[Path], readings: list[Reading], asked: FrequencyRange | None
) -> None:
    """Write the picture of the first pluck of one recording.

    Raises
    ------
    RequestError
        If several recordings were given.
    """
    if len(files) != 1:
        raise RequestError(f"--picture draws one recording; got {len(files)}")
    limits = expected_range(readings[0].belt, readings[0].span, asked)
    save(pluck_figure(portrait(files[0], limits), spectrogram=True), picture)
    sys.stderr.write(f"beltpitch: wrote {picture}\n")


def _cross_checked(
    path: Path, reading: Reading, limits: FrequencyRange | None, asked: FrequencyRange | None
) -> list[float | None] | None:
    """Return librosa's frequency for each pluck of a file; None if there was nothing to check."""
    onsets = [p.onset_s for p in reading.plucks if p.used and p.onset_s is not None]
    if not onsets:
        return None
    limits = limits or expected_range(reading.belt, reading.span, asked)
    return list(by_librosa(list(open_recording(path)), onsets, limits))


def _joined(
    readings: list[Reading],
    way: str,
    strand: list[str] | None,
    travel: str | None,
    asked: k.BeltRequest,
) -> list[Reading]:
    """Return readings that share a preload, or the one that two parks make."""
    if way == "parks":
        return [*readings, from_travels(readings, parsing.travels(travel or ""))]
    if way in ("strands", "sides"):
        assert strand is not None
        names, twice = (strand[0], strand[1]), way == "sides"
        a, b = readings
        return list(both_strands(a, b, names, asked.sides, one_strand_twice=twice))
    return [replace(r, strand=strand[0]) for r in readings] if strand else readings
