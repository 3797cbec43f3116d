"""The history: what is kept comes back, revisions, filters, sound, round trips of any words."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from beltpitch.audio.files import open_recording, save_sound
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.errors import CannotTell, RequestError
from beltpitch.reading import Reading, read
from beltpitch.session.verdict import as_json, judged
from beltpitch.store.audio_clips import LONGEST_S, flac, flac_of
from beltpitch.store.entries import BeltEntry
from beltpitch.store.log import COLUMNS, Filter, History, NewEntry, digest_of, one_line
from beltpitch.store.machine_edit import as_texts
from beltpitch.store.named_belts import named
from beltpitch.store.reanalysis import read_again
from beltpitch.store.records import estimate_from, estimate_json, reading_from
from beltpitch.uncertainty import Estimate, Part, difference
from tests.store.workshop import START, sitting

RATE = 48_000.0


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[History]:
    with History(tmp_path / "book.sqlite") as history:
        yield history


def test_a_reading_comes_back_with_all_that_was_known_of_it(kept: History) -> None:
    given = sitting(
        note="after the crash", seen="frayed edge", temperature_c=21.5, event="tensioned"
    )
    number = kept.keep(given).id
    entry = kept.entry(number)
    reading = given.verdict.reading
    assert entry.record["reading"] == json.loads(json.dumps(as_json(given.verdict)))
    assert entry.record["inputs"] == given.inputs
    assert entry.window is not None
    assert (entry.window.low_n, entry.window.high_n) == (30.0, 50.0)
    assert entry.line.taken == START
    line = entry.line
    assert (line.note, line.seen, line.temperature_c) == ("after the crash", "frayed edge", 21.5)
    assert (line.machine, line.belt, line.park, line.event) == (
        "Northlight router", "y-left", "X = 100", "tensioned",
    )  # fmt: skip
    assert entry.program.startswith("beltpitch")
    for name in ("frequency", "tension", "preload"):
        now, then = getattr(entry.estimates, name), getattr(reading, name)
        assert now.value == then.value
        assert now.u == pytest.approx(then.u)
        assert now.interval() == pytest.approx(then.interval())
    back = reading_from(entry.record, entry.estimates, reading.belt, reading.span)
    assert back.plucks == reading.plucks
    assert back.corrections == reading.corrections


def test_errors_of_one_sitting_are_its_own_and_others_are_shared(kept: History) -> None:
    first, second = (
        kept.entry(kept.keep(sitting(hz, day=d)).id) for hz, d in ((70.2, 0), (70.0, 9))
    )
    a, b = first.estimates.preload, second.estimates.preload
    assert a is not None
    assert b is not None
    apart = {line.name: line.u for line in difference(a, b).budget()}
    assert apart["strand difference"] == pytest.approx(3 / math.sqrt(3) * math.sqrt(2))
    assert apart["linear mass"] < 0.01 * 3.6


def test_a_recording_read_again_is_a_new_revision_of_its_own_entry(kept: History) -> None:
    first = kept.keep(sitting(70.2, digest="d" * 64, note="kept", day=-3))
    second = kept.keep(sitting(71.0, digest="d" * 64, seen="cracks"))
    assert (second.id, second.revision) == (first.id, 2)
    assert kept.count() == 1
    now = kept.entry(first.id)
    assert now.line.frequency_hz == pytest.approx(71.0)
    assert (now.line.note, now.line.seen) == ("kept", "cracks")
    assert now.line.taken == START - dt.timedelta(days=3)  # a recording was taken once
    old = kept.entry(first.id, 1)
    assert old.record["reading"]["frequency_hz"] == pytest.approx(70.2)
    with pytest.raises(RequestError, match="revisions 1 to 2, none of number 3"):
        kept.entry(first.id, 3)


def test_the_same_recording_of_another_belt_or_strand_is_another_entry(kept: History) -> None:
    numbers = {
        kept.keep(sitting(digest="d" * 64)).id,
        kept.keep(sitting(digest="d" * 64, belt="y-right")).id,
        kept.keep(sitting(digest="d" * 64, strand="left")).id,
        kept.keep(sitting(digest="e" * 64)).id,
        kept.keep(sitting()).id,
        kept.keep(sitting()).id,
    }
    assert len(numbers) == 6


def test_lists_are_newest_first_and_filtered(kept: History) -> None:
    for day, belt, hertz in ((0, "a", 70.0), (5, "b", 70.0), (2, "a", 40.0), (9, "a", 70.0)):
        kept.keep(sitting(hertz, day=day, belt=belt))
    days = [(line.taken - START).days for line in kept.lines()]
    assert days == [9, 5, 2, 0]
    assert [line.belt for line in kept.lines(Filter(belt="b"))] == ["b"]
    assert [(line.taken - START).days for line in kept.lines(Filter(verdict="slack"))] == [2]
    since = Filter(since=START + dt.timedelta(days=2), until=START + dt.timedelta(days=5))
    assert [(line.taken - START).days for line in kept.lines(since)] == [5, 2]
    assert len(kept.lines(most=2)) == 2
    assert kept.count(Filter(belt="a")) == 3
    assert kept.lines(Filter(machine="other")) == []
    assert kept.belts() == [("Northlight router", "a"), ("Northlight router", "b")]


def test_times_of_other_zones_sort_as_times(kept: History) -> None:
    east = dt.timezone(dt.timedelta(hours=9))
    kept.keep(sitting(taken=dt.datetime(2026, 3, 2, 1, 0, tzinfo=east), note="early"))
    kept.keep(sitting(taken=dt.datetime(2026, 3, 1, 23, 0, tzinfo=dt.UTC), note="late"))
    assert [line.note for line in kept.lines()] == ["late", "early"]


def test_deleting_takes_revisions_and_sound_with_it(kept: History) -> None:
    number = kept.keep(sitting(digest="d" * 64, flac=b"fLaC")).id
    kept.keep(sitting(digest="d" * 64))
    other = kept.keep(sitting()).id
    kept.delete(number)
    assert [line.id for line in kept.lines()] == [other]
    for table in ("revision", "sound"):
        left = kept._link.execute(f"SELECT count(*) FROM {table} WHERE entry = ?", (number,))
        assert left.fetchone() == (0,)
    with pytest.raises(RequestError, match=f"no entry {number}"):
        kept.delete(number)
    assert kept.keep(sitting()).id > other  # a number is never given twice


def test_what_is_not_there_is_one_line(kept: History) -> None:
    with pytest.raises(RequestError, match="no entry 7"):
        kept.entry(7)
    number = kept.keep(sitting()).id
    with pytest.raises(RequestError, match="kept only with --sound"):
        kept.sound(number)
    with pytest.raises(RequestError, match="kept under its belt's name"):
        sitting(belt="")
    with pytest.raises(ValueError, match="time zone"):
        sitting(taken=dt.datetime(2026, 3, 1))  # noqa: DTZ001


def test_a_damaged_record_is_one_line(kept: History) -> None:
    number = kept.keep(sitting()).id
    kept._link.execute('UPDATE revision SET record = \'{"estimates": {"preload": {"value": 1}}}\'')
    with pytest.raises(RequestError, match=f"entry {number} of the book cannot be read"):
        kept.entry(number)


# --- sound ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def plucked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plucked") / "y-left.wav"
    save_sound(path, pluck_recording(94.6, plucks=3, decay_s=0.25, noise=1e-3, seed=3), RATE)
    return path


def heard_sitting(path: Path) -> NewEntry:
    entry = BeltEntry("y-left", belt="2GT 9 mm", span="412 +/- 1 mm", target="60 N", within="30 %")
    made = named(entry, "Northlight router")
    verdict = judged(read(path, belt=made.belt, span=made.span), made.windows.verdict)
    return NewEntry(
        verdict,
        "y-left",
        START,
        "Northlight router",
        digest=digest_of(path),
        inputs={"belt": as_texts(entry)},
        flac=flac_of([path]),
    )


def test_the_kept_sound_is_the_sound_and_is_read_again_with_the_same_answer(
    kept: History, plucked: Path, tmp_path: Path
) -> None:
    given = heard_sitting(plucked)
    number = kept.keep(given).id
    path = tmp_path / "out.flac"
    path.write_bytes(kept.sound(number))
    was, now = (np.concatenate([b.samples for b in open_recording(p)]) for p in (plucked, path))
    assert np.abs(was - now).max() < 2**-22
    done, verdict = read_again(kept, number)
    assert (done.id, done.revision) == (number, 2)
    before, after = given.verdict.reading.preload, verdict.reading.preload
    assert before is not None
    assert after is not None
    assert after.value == pytest.approx(before.value, rel=1e-4)
    assert kept.count() == 1
    assert verdict.word == given.verdict.word


def test_sound_that_gives_no_answer_now_leaves_the_book_as_it_is(
    kept: History, plucked: Path
) -> None:
    silent = replace(heard_sitting(plucked), flac=flac(np.zeros(48_000), RATE))
    number = kept.keep(silent).id
    with pytest.raises(CannotTell, match=f"entry {number} gives no answer now"):
        read_again(kept, number)
    assert kept.entry(number).line.revision == 1


def test_a_typed_reading_cannot_be_read_again(kept: History) -> None:
    number = kept.keep(sitting()).id
    with pytest.raises(RequestError, match="has no sound"):
        read_again(kept, number)


def test_hours_of_sound_are_not_kept_with_a_reading() -> None:
    with pytest.raises(RequestError, match="cut it to the plucks"):
        flac(np.zeros(round((LONGEST_S + 1) * 8000)), 8000.0)
    assert flac_of([]) is None


# --- any words, any numbers ----------------------------------------------------------------------

texts = st.text(max_size=60)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    machine=texts,
    belt=texts.filter(lambda t: bool(one_line(t))),
    note=texts,
    seen=st.none() | texts,
)
def test_any_words_are_kept_on_one_line(
    kept: History, machine: str, belt: str, note: str, seen: str | None
) -> None:
    number = kept.keep(sitting(machine=machine, belt=belt, note=note, seen=seen)).id
    line = kept.entry(number).line
    assert line.machine == one_line(machine)
    assert line.belt == one_line(belt)
    assert line.note == one_line(note)
    assert line.seen == (None if seen is None else one_line(seen))
    assert all(c.isprintable() for c in f"{line.machine}{line.belt}{line.note}")


finite = st.floats(-1e9, 1e9)
parts = st.builds(
    Part,
    name=texts,
    key=texts,
    u=finite,
    dof=st.floats(0.5, 1e6) | st.just(math.inf),
)


@settings(deadline=None)
@given(st.builds(Estimate, finite, st.lists(parts, max_size=5).map(tuple)))
def test_an_estimate_survives_json(estimate: Estimate) -> None:
    text = json.dumps(estimate_json(estimate), allow_nan=False)
    back = estimate_from(json.loads(text), "7")
    assert back is not None
    assert back.value == estimate.value
    for now, then in zip(back.parts, estimate.parts, strict=True):
        assert (now.name, now.u, now.dof) == (then.name, then.u, then.dof)
        assert now.key in (then.key, f"{then.key}@7")


def test_a_reading_without_any_answer_can_be_kept_too(kept: History) -> None:
    number = kept.keep(replace(sitting(), verdict=judged(Reading(source="x")))).id
    entry = kept.entry(number)
    assert entry.line.preload_n is None
    assert entry.estimates.preload is None
    assert entry.window is None


@pytest.mark.parametrize(
    ("which", "index"),
    [
        (Filter(), "entry_by_time"),
        (Filter(machine="m", belt="y"), "entry_by_belt"),
        (Filter(machine="m", belt="y", since=START), "entry_by_belt"),
    ],
)
def test_the_latest_are_found_by_an_index_however_large_the_book(
    kept: History, which: Filter, index: str
) -> None:
    where, values = which.where()
    plan = kept._link.execute(
        f"EXPLAIN QUERY PLAN SELECT {COLUMNS} FROM entry WHERE {where} "
        "ORDER BY taken DESC, id DESC LIMIT 20",
        values,
    ).fetchall()
    said = " ".join(str(row[3]) for row in plan)
    assert index in said
    assert "TEMP B-TREE FOR ORDER BY" not in said  # no sorting of all that is there
