"""What ``listen`` and live ``pair`` have in common: the loop, and the faces that need no screen.

The loop takes blocks from any iterator, feeds the measurement and shows what comes back; a face
only draws `beltpitch.session.live.State` records. Whatever ends the run (a key, Ctrl-C, enough
plucks, the time, a lost input), what was heard is kept and summed up.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Protocol

from beltpitch.advice.comparison import as_json
from beltpitch.audio.microphone import open_beeper
from beltpitch.errors import BeltpitchError, SourceError
from beltpitch.memory import give_back
from beltpitch.present.text import force
from beltpitch.store.audio_clips import PluckFolder

if TYPE_CHECKING:
    from beltpitch.audio.block import Block
    from beltpitch.audio.microphone import Beeper
    from beltpitch.session.guide import Question
    from beltpitch.session.live import Measuring, State, Taken
    from beltpitch.session.verdict import Verdict
    from beltpitch.store.audio_clips import PluckSounds
    from beltpitch.terminal.keyboard import Keys

QUIT = "q\x03\x1b"
ON = "n\r\n"
TURNED = "t"
TICK_S = 0.5  # between two looks at the level while nothing happens


class Face(Protocol):
    """Shows states as they come."""

    def show(self, state: State) -> None:
        """Show what has changed."""

    def tick(self, state: State) -> None:
        """Show the level while nothing changes."""

    def close(self) -> None:
        """Leave the screen as it should be for the summary."""


@dataclass(slots=True)
class Run:
    """One run of a live measurement.

    Parameters
    ----------
    measuring
        The measurement.
    face
        Where it is shown.
    keys
        What the person presses.
    beeper
        Answers each pluck; None for silence.
    folder
        Where each pluck is kept; None for nowhere.
    seconds
        Sound after which the run ends; None for no limit.
    over
        Whether the measurement has reached its end, asked after each state.
    sounds
        Collects each pluck's sound for the book; None if none is to be kept.
    """

    measuring: Measuring
    face: Face
    keys: Keys
    beeper: Beeper | None = None
    folder: PluckFolder | None = None
    seconds: float | None = None
    over: Callable[[], bool] = lambda: False
    sounds: PluckSounds | None = None

    def follow(self, blocks: Iterable[Block]) -> None:
        """Listen until something ends it."""
        give_back(begin=True)
        self.face.show(self.measuring.state)
        try:
            self._listen(blocks)
        except SourceError as error:
            self.beeper = None  # its output has most likely gone too, and would hang
            self._show(self.measuring.lost(error.message))
        except KeyboardInterrupt:
            pass
        finally:
            self._show(self.measuring.finish())
            self.face.close()

    def _listen(self, blocks: Iterable[Block]) -> None:
        next_tick = 0.0
        for block in blocks:
            deaf = self.beeper is not None and self.beeper.sounding
            self._show(self.measuring.feed(block, deaf=deaf))
            state = self.measuring.state
            heard = self.measuring.heard_s
            if heard >= next_tick:
                next_tick = heard + TICK_S
                self.face.tick(self.measuring.now())
            if self._pressed() or self.over() or state.phase in ("lost", "done"):
                return
            if self.seconds is not None and heard >= self.seconds:
                return

    def _pressed(self) -> bool:
        """Obey the keys; tell whether to quit."""
        for key in self.keys.pressed().lower():
            if key in QUIT:
                return True
            if key in ON:
                self._show(self.measuring.move_on())
            elif key in TURNED:
                self._show(self.measuring.turned())
            else:
                self._answer_question(key)
        return False

    def _answer_question(self, key: str) -> None:
        question = self.measuring.state.question
        for answer in question.answers if question else ():
            if answer.key == key:
                self._show(self.measuring.answer(answer.task))

    def _show(self, states: Iterator[State]) -> None:
        for state in states:
            self.face.show(state)
            if state.taken is not None:
                self._answer(state.taken)
                give_back()

    def _answer(self, taken: Taken) -> None:
        self._beep("taken" if taken.pluck.used else "refused")
        if self.sounds is not None and taken.sound is not None:
            onset_s, sound = taken.pluck.onset_s, taken.sound
            self.sounds.add(taken.subject, onset_s or 0.0, sound.samples, sound.rate_hz)
        if self.folder is not None and taken.sound is not None:
            name = self.measuring.names[taken.subject]
            sound = taken.sound
            try:
                self.folder.keep(name, sound.samples, sound.rate_hz, figures(taken, name))
            except BeltpitchError as error:  # a full disk must not end the sitting
                self.folder = None
                self.measuring.warn(f"{error.message} No more plucks are kept.")

    def _beep(self, answer: Literal["taken", "refused"]) -> None:
        if self.beeper is None:
            return
        self.beeper.play(answer)
        if self.beeper.lost:
            self.beeper = None
            self.measuring.warn("the sound output does not answer: no more beeps")


def figures(taken: Taken, name: str) -> dict[str, Any]:
    """Return one pluck as JSON has it: its own figures, and the belt as it stands with it."""
    reading, verdict = taken.verdict.reading, taken.verdict
    preload, frequency = reading.preload, reading.frequency
    return {
        "number": taken.number,
        "name": name,
        "strand": reading.strand,
        **asdict(taken.pluck),
        "belt": reading.belt.name if reading.belt else None,
        "span_mm": round(reading.span.length_m * 1000, 6) if reading.span else None,
        "mean_frequency_hz": frequency.value if frequency else None,
        "mean_frequency_u_hz": frequency.u if frequency else None,
        "preload_n": preload.value if preload else None,
        "preload_u_n": preload.u if preload else None,
        "verdict": verdict.word,
    }


class Cautions:
    """What there is to say of cautions: each once when it comes, and when it no longer holds."""

    def __init__(self) -> None:
        self._now: tuple[str, ...] = ()

    def news(self, cautions: tuple[str, ...]) -> list[str]:
        """Return what has changed, in words."""
        come = [words for words in cautions if words not in self._now]
        gone = [words for words in self._now if words not in cautions]
        self._now = cautions
        return [*come, *(f"no longer: {words.partition(':')[0]}" for words in gone)]


def answers_of(question: Question) -> str:
    """Return what can be answered, each with its key."""
    return " · ".join(f"{answer.key} {answer.words}" for answer in question.answers)


class JsonLines:
    """One JSON object a line: each pluck; what else there is to say goes to standard error."""

    def __init__(self, names: tuple[str, ...]) -> None:
        self._names = names
        self._cautions = Cautions()
        self._asked = ""

    def show(self, state: State) -> None:
        """Print a pluck."""
        for words in self._cautions.news(state.cautions):
            sys.stderr.write(f"beltpitch: {words}\n")
        if state.question is not None and state.order != self._asked:
            sys.stderr.write(f"beltpitch: {state.order} ({answers_of(state.question)})\n")
        self._asked = state.order
        if state.taken is None:
            return
        record = figures(state.taken, self._names[state.taken.subject])
        if state.match is not None:
            record["match"] = as_json(state.match)
        record["question"] = state.question.words if state.question else None
        print_line({"pluck": record})

    def tick(self, state: State) -> None:
        """Nothing to show."""

    def close(self) -> None:
        """Nothing to put back."""


class PlainLines:
    """Plain lines, for a pipe, a file or a terminal that cannot do more.

    Parameters
    ----------
    names
        Of the belts.
    unit
        Unit of force.
    say
        Prints one line.
    """

    def __init__(
        self, names: tuple[str, ...], unit: str, say: Callable[[str], None] | None = None
    ) -> None:
        self._names, self._unit = names, unit
        self._say = say or _print
        self._order = ""
        self._advice = ""
        self._cautions = Cautions()

    def show(self, state: State) -> None:
        """Print what has changed."""
        for words in self._cautions.news(state.cautions):
            self._say(f"! {words}")
        if state.phase == "room" and not self._order:
            self._say("listening to the room for a second")
        if state.taken is not None:
            self._say(line_of(state.taken, self._names, self._unit))
            self._advise(state)
        if state.order != self._order and state.phase not in ("level", "room", "done", "lost"):
            self._order = state.order
            self._say(f"> {state.order}")
            if state.question is not None:
                self._say(f"  {answers_of(state.question)}")

    def _advise(self, state: State) -> None:
        said = state.advice.words
        if state.advice.kind != "go on" and said != self._advice:
            self._advice = said
            self._say(f"  {said}")
        if state.match is not None:
            self._say(f"  {state.match}")
            if state.match.again is not None:
                self._say(f"  {state.match.again}")

    def tick(self, state: State) -> None:
        """Nothing to show."""

    def close(self) -> None:
        """Nothing to put back."""


def line_of(taken: Taken, names: tuple[str, ...], unit: str) -> str:
    """Return one pluck as a line: number, frequency, tension, verdict, or the reason why not."""
    pluck, name = taken.pluck, ""
    if len(names) > 1:
        name = f"{names[taken.subject]}  "
    if not pluck.used:
        return f"pluck {taken.number}  {name}not taken: {pluck.reason}"
    tension = "" if pluck.tension_n is None else f"  {force(pluck.tension_n, unit)}"
    word = "" if taken.verdict.word == "cannot tell" else f"  {taken.verdict.said}"
    return f"pluck {taken.number}  {name}{pluck.frequency_hz:.2f} Hz{tension}{word}"


def print_line(record: dict[str, Any]) -> None:
    """Print one JSON object on one line, at once."""
    sys.stdout.write(json.dumps(record, allow_nan=False) + "\n")
    sys.stdout.flush()


def _print(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


def exit_code(verdicts: Iterable[tuple[Verdict, ...]]) -> int:
    """Return 0 where every belt has a frequency, else 1."""
    every = [bool(v) and v[-1].reading.frequency is not None for v in verdicts]
    return 0 if all(every) else 1


def folder_for(save: Path | None) -> PluckFolder | None:
    """Return where plucks are kept, if they are."""
    if save is None:
        return None

    return PluckFolder(save)


def beeper_for(*, beep: bool) -> Beeper | None:
    """Return a beeper if one is wanted; without an output the run goes on in silence."""
    if not beep:
        return None

    try:
        return open_beeper()
    except BeltpitchError as error:
        sys.stderr.write(f"beltpitch: {error.message}\n")
        return None
