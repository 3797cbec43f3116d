"""The bench behind the page: one measurement, run by one thread, steered by orders.

The thread owns the input, the measurement and the readings; everything it is told to do comes
through one queue, so that nothing is touched by two at once. Whatever changes is shown at once:
``show(kind, record)`` is given the whole picture of that kind, never a difference, so that a window
that comes late or reloads needs no more than the last one of each.

An input that is lost is looked for again; the plucks it has brought stay.
"""

from __future__ import annotations

import queue
import shutil
import threading
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast

import numpy as np

from beltpitch.audio.block import Block
from beltpitch.audio.files import open_recording
from beltpitch.errors import BeltpitchError, CannotTell, RequestError, SourceError
from beltpitch.memory import give_back
from beltpitch.pitch.waveform_view import portrait_of
from beltpitch.session.guide import Task
from beltpitch.session.live import Measuring, State, dead_words
from beltpitch.session.recorded import Recorded
from beltpitch.session.session import Subject
from beltpitch.session.verdict import judged
from beltpitch.store.belt_request import clock_of, one_for_the_book, sitting_of
from beltpitch.store.log import History
from beltpitch.store.machine_file import Machine
from beltpitch.web import view_model
from beltpitch.web.form import FormRequest, in_words_of_the_page, planned
from beltpitch.web.inputs import ChosenInput, Opener

Show = Callable[[str, dict[str, Any]], None]
TICK_S = 0.1  # of sound, between two looks at the level
AGAIN_S = 1.0  # between two looks for an input that was lost
LONGEST_FILE_S = 3600.0  # a dropped recording; longer ones are cut by their owner
GAP_S = 0.02
STOPPED = "the measurement has stopped: end beltpitch page and start it again"


@dataclass(frozen=True, slots=True)
class Workspace:
    """What is known before anything is measured.

    Parameters
    ----------
    machine
        The machine file's; None without one.
    book
        Where readings are kept.
    unit
        Unit of force that is shown.
    demo
        Whether plucks are simulated.
    folder
        For dropped recordings while they are read and shown.
    """

    machine: Machine | None
    book: Path
    unit: str
    demo: bool
    folder: Path


@dataclass(frozen=True, slots=True)
class _Order:
    name: str
    wish: Mapping[str, Any]
    done: Future[dict[str, Any]]


class Worker:
    """One measurement at a time, in a thread of its own.

    Parameters
    ----------
    shop
        What is known.
    opener
        Opens the input.
    show
        Is given every picture; called in the bench's thread.
    """

    def __init__(self, shop: Workspace, opener: Opener, show: Show) -> None:
        self.shop = shop
        self._opener, self._show = opener, show
        self._orders: queue.SimpleQueue[_Order | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="bench", daemon=True)
        self._plan = planned({}, None)
        self._input: ChosenInput | None = None
        self._lost: str | None = None
        self._rate_hz = 0.0
        self._measuring: Measuring | None = None
        self._recorded: Recorded | None = None
        self._files: dict[tuple[int, int], tuple[str, Path]] = {}  # by belt and step
        self._state: State | None = None
        self._notes: tuple[str, ...] = ()
        self._kept: dict[int, int] = {}
        self._busy = ""
        self._next_tick_s = 0.0

    # --- what others do

    def start(self, wish: Mapping[str, str] | None = None, *, listen: bool = False) -> None:
        """Begin to take orders; with a wish, plan for it, and listen at once if so wanted.

        Raises
        ------
        RequestError
            If the wish cannot be planned for.
        """
        if wish:
            self._plan = planned(wish, self.shop.machine)
        give_back(begin=True)
        self._thread.start()
        if listen:
            self.ask("listen", {})

    def ask(self, name: str, wish: Mapping[str, Any]) -> Future[dict[str, Any]]:
        """Have something done; the future holds what came of it, or the error in words."""
        order = _Order(name, wish, Future())
        if self._thread.is_alive() or self._thread.ident is None:
            self._orders.put(order)
        else:
            order.done.set_exception(CannotTell(STOPPED))
        return order.done

    def close(self) -> None:
        """End the thread and let go of the input."""
        self._orders.put(None)
        if self._thread.ident is not None:
            self._thread.join()

    @property
    def asked_for(self) -> tuple[tuple[Subject, ...], int, State | None]:
        """The belts, which of them is to be plucked, and the state that says so and where."""
        state = self._state
        return self._plan.subjects, (0 if state is None else state.subject), state

    # --- the thread

    def _run(self) -> None:
        try:
            self._draw()
            while self._obeyed():
                if self._input is not None:
                    self._hear()
                elif self._lost is not None:
                    self._look_again()
        finally:
            self._let_go()
            self._turn_away()

    def _obeyed(self) -> bool:
        """Do what has been asked for; wait for it where there is nothing to hear."""
        patience = None if self._lost is None else AGAIN_S
        waits = self._input is None
        while True:
            try:
                order = self._orders.get(block=waits, timeout=patience)
            except queue.Empty:
                return True
            if order is None:
                return False
            self._do(order)
            waits = False

    def _do(self, order: _Order) -> None:
        try:
            done = self._TASKS[order.name](self, order.wish)
        except BeltpitchError as error:
            self._busy = ""
            self._draw()
            order.done.set_exception(type(error)(in_words_of_the_page(error.message)))
        except BaseException:
            order.done.set_exception(CannotTell(STOPPED))
            raise
        else:
            self._draw()  # who is answered finds it shown
            order.done.set_result(done or {})

    def _turn_away(self) -> None:
        """Answer those who still wait."""
        while not self._orders.empty():
            order = self._orders.get()
            if order is not None:
                order.done.set_exception(CannotTell(STOPPED))

    def _hear(self) -> None:
        assert self._input is not None
        try:
            block = next(self._input)
        except (SourceError, StopIteration) as error:
            self._lose(str(error) or "the sound input has ended")
            return
        self._feed(block)

    def _feed(self, block: Block, *, deaf: bool = False) -> None:
        measuring = self._measuring
        assert measuring is not None
        self._tell(measuring.feed(block, deaf=deaf))
        heard = measuring.heard_s
        if heard >= self._next_tick_s:
            self._next_tick_s = heard + TICK_S
            self._show("level", view_model.level(measuring.now()))
        if measuring.matched:
            self._stop({})

    def _tell(self, states: Iterator[State]) -> None:
        for state in states:
            self._state = state
            self._draw()
            taken = state.taken
            if taken is not None and taken.raw is not None and taken.heard is not None:
                drawn = portrait_of(taken.raw, taken.heard)
                self._show(
                    "portrait", view_model.portrait(drawn, taken, self._names, self.shop.unit)
                )
            if taken is not None:
                give_back()

    def _draw(self) -> None:
        view = view_model.View(
            plan=self._plan,
            state=self._state,
            parts=self._engine.parts if self._engine else (),
            unit=self.shop.unit,
            source=self._source(),
            lost=self._lost,
            listening=self._input is not None,
            files=tuple(name for name, _ in self._files.values()),
            notes=self._notes,
            kept=dict(self._kept),
            busy=self._busy,
            demo=self.shop.demo,
        )
        self._show("scene", view_model.scene(view))

    @property
    def _engine(self) -> Measuring | Recorded | None:
        return self._measuring or self._recorded

    @property
    def _names(self) -> tuple[str, ...]:
        return tuple(subject.name for subject in self._plan.subjects)

    @property
    def _doubts(self) -> tuple[str, ...]:
        return tuple(words for subject in self._plan.subjects for words in subject.doubts)

    def _source(self) -> str:
        if self._files:
            return "file"
        return "none" if self._measuring is None else "input"

    # --- the input

    def _lose(self, words: str) -> None:
        """Let go of an input that is lost; what it brought stays, and it is looked for again."""
        self._let_go()
        self._lost = words
        self._draw()

    def _look_again(self) -> None:
        measuring = self._measuring
        try:
            found = self._opener()
        except SourceError:
            return
        if measuring is None or found.rate_hz != self._rate_hz:
            found.close()
            self._lost = None
            self._notes = ("the input has come back at another rate: begin anew",)
        else:
            self._input, self._lost = found, None
            # what sounded across the gap must not be taken for a pluck
            silence = Block(np.zeros(round(GAP_S * found.rate_hz)), found.rate_hz)
            self._feed(silence, deaf=True)
        self._draw()

    def _let_go(self) -> None:
        if self._input is not None:
            self._input.close()
            self._input = None

    # --- what can be asked for

    def _choose(self, wish: Mapping[str, Any]) -> None:
        plan = planned(wish, self.shop.machine)
        self._finish()
        self._forget()
        self._plan = plan

    def _listen(self, _: Mapping[str, Any]) -> None:
        """Begin anew with the belts that are chosen."""
        self._finish()
        self._busy = "opening the sound input"
        self._draw()
        found = self._opener()
        self._forget()
        self._busy = ""
        self._input, self._rate_hz = found, found.rate_hz
        plan = self._plan
        notes = [found.channel_note] if found.channel_note else []
        clock = clock_of(None, self.shop.machine, found.name)
        if clock is not None:
            notes.append(clock.echo)
        self._notes = (*notes, *self._doubts)
        self._measuring = Measuring(
            found.rate_hz,
            plan.subjects,
            within=plan.within,
            same_span=plan.same_span,
            one_roll=plan.one_roll,
            rate_error=clock.error if clock else None,
            cautions=found.warnings,
            dead=dead_words(found.silence),
        )
        self._state = self._measuring.state

    def _stop(self, _: Mapping[str, Any]) -> None:
        self._finish()

    def _next(self, _: Mapping[str, Any]) -> None:
        self._tell(self._running().move_on())

    def _turned(self, _: Mapping[str, Any]) -> None:
        self._tell(self._running().turned())

    def _answer(self, wish: Mapping[str, Any]) -> None:
        task = wish.get("task")
        question = self._running().state.question
        if question is None or all(answer.task != task for answer in question.answers):
            raise RequestError("nothing of the kind is asked now")
        self._tell(self._running().answer(cast("Task", task)))

    def _by_hand(self, wish: Mapping[str, Any]) -> None:
        subject, onset_s, use = wish.get("belt"), wish.get("onset_s"), wish.get("use")
        if not (_is_belt(subject, self._plan) and isinstance(onset_s, float | int)):
            raise RequestError("there is no such pluck")
        if self._engine is not None:
            assert isinstance(subject, int)
            self._tell(self._engine.by_hand(subject, float(onset_s), use=use is True))

    def _read_file(self, wish: Mapping[str, Any]) -> None:
        """Read a dropped recording as the step's it is said to be of, or the first without one."""
        path, name = Path(wish["path"]), str(wish["name"])
        plan, given = self._plan, wish.get("place")
        place = next((p for p in plan.places if p not in self._files), plan.places[0])
        if isinstance(given, int) and 0 <= given < len(plan.places):
            place = plan.places[given]
        subject, step = place
        self._busy = f"reading {name}"
        self._draw()
        try:
            recording = open_recording(path)
            if recording.duration_s > LONGEST_FILE_S:
                raise SourceError(f"{name} is longer than an hour: cut it to the plucks")
        except BeltpitchError as error:
            shutil.rmtree(path.parent, ignore_errors=True)
            raise type(error)(_named(error.message, path, name)) from None
        if self._recorded is None:
            self._finish()
            self._forget()
            self._recorded = Recorded(
                plan.subjects,
                within=plan.within,
                same_span=plan.same_span,
                one_roll=plan.one_roll,
            )
        self._drop_file(place)
        self._files[place] = (name, path)
        said = (recording.channel_note, *recording.warnings)
        named = (_named(words, path, name) for words in said if words)
        self._notes = (*named, *self._doubts)
        self._tell(self._recorded.take(subject, recording, recording.rate_hz, step))
        self._kept.pop(subject, None)
        self._busy = ""

    def _keep(self, wish: Mapping[str, Any]) -> dict[str, Any]:
        """Keep every reading that has an answer; kept before, it becomes a new revision."""
        note = wish.get("note")
        engine, way, told = self._engine, self._plan.way, []
        every = zip(self._plan.asked, engine.verdicts if engine else (), strict=False)
        for i, (asked, verdicts) in enumerate(every):
            readings = [v.reading for v in verdicts if view_model.is_answer(v.reading, way)]
            if readings:
                told += [(i, asked, r) for r in one_for_the_book(readings, way)]
        if not told:
            wanted = "both places have not been read" if way == "parks" else view_model.NO_TONE
            raise RequestError(f"there is nothing to keep yet: {wanted}")
        with History(self.shop.book) as history:
            for i, asked, reading in told:
                files = [self._files[place] for place in sorted(self._files) if place[0] == i]
                if files:
                    reading = replace(reading, source=" + ".join(name for name, _ in files))
                sitting = sitting_of(
                    asked,
                    judged(reading, asked.window),
                    files=tuple(path for _, path in files),
                    note=note if isinstance(note, str) and note.strip() else None,
                )
                self._kept[i] = history.keep(sitting, into=self._kept.get(i)).id
        return {"kept": sorted(self._kept.values()), "book": str(self.shop.book)}

    def _running(self) -> Measuring:
        if self._measuring is None:
            raise RequestError("nothing is being listened to")
        return self._measuring

    def _finish(self) -> None:
        """End the measurement that runs; what it has read stays."""
        self._let_go()
        self._lost = None
        if self._measuring is not None:
            self._tell(self._measuring.finish())

    def _forget(self) -> None:
        self._measuring = self._recorded = self._state = None
        for place in list(self._files):
            self._drop_file(place)
        self._kept.clear()
        self._notes = ()
        self._next_tick_s = 0.0
        self._show("portrait", {})

    def _drop_file(self, place: tuple[int, int]) -> None:
        if place in self._files:
            _, path = self._files.pop(place)
            shutil.rmtree(path.parent, ignore_errors=True)

    _TASKS: Mapping[str, Callable[[Worker, Mapping[str, Any]], dict[str, Any] | None]] = {
        "choose": _choose,
        "listen": _listen,
        "stop": _stop,
        "next": _next,
        "turned": _turned,
        "answer": _answer,
        "pluck": _by_hand,
        "read": _read_file,
        "keep": _keep,
    }


TASKS = frozenset(Worker._TASKS) - {"read"}  # that a window may ask for by name


def _is_belt(subject: object, plan: FormRequest) -> bool:
    return type(subject) is int and 0 <= subject < len(plan.subjects)


def _named(words: str, path: Path, name: str) -> str:
    """Return words about a stored file with the name it came under."""
    return words.replace(str(path), name).replace(path.name, name)
