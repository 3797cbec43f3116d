"""The bench behind the page: orders, a lost input, what is kept, what is shown."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from beltpitch.audio.block import Samples
from beltpitch.audio.synthesis import pluck_recording
from beltpitch.errors import BeltpitchError, CannotTell, RequestError
from beltpitch.store.entries import BeltEntry
from beltpitch.store.log import History
from beltpitch.store.machine_file import Machine
from beltpitch.web.form import in_words_of_the_page, planned
from beltpitch.web.simulated_source import PLOVER, START, DemoRequest, DemoWorkshop
from beltpitch.web.worker import Worker
from tests.web.workbench import BELT, RATE_HZ, Inputs, Rig, Shown, shop


def sound(count: int = 2, seed: int = 7, frequency_hz: float = 95.0) -> Samples:
    return pluck_recording(
        frequency_hz, rate_hz=RATE_HZ, plucks=count, first_s=1.6, apart_s=1.2, decay_s=0.15,
        scatter=0.001, inharmonicity=3e-4, seed=seed,
    )  # fmt: skip


def test_a_measurement_is_shown_whole_each_time(rig: Rig) -> None:
    rig.do("choose", **BELT)
    rig.do("listen")
    rig.inputs.opened[-1].feed(sound())
    told = rig.plucked(2)
    (belt,) = told["belts"]
    assert (belt["unit"], belt["word"], belt["kind"]) == (
        "N",
        "within",
        "2GT 9 mm, span 286 mm",
    )
    assert belt["said"].startswith("within")
    assert 35 < float(belt["figure"]) < 39
    row = belt["row"]
    assert 0 <= row["bar"][0] < row["mean"] < row["bar"][1] <= 1
    assert [p["used"] for p in row["plucks"]] == [True, True]
    assert told["ruler"]["graduations"][0]["at"] == 0
    drawn = rig.shown.last["portrait"]
    assert drawn["partials"][0]["number"] == 1
    assert drawn["part"][0] < drawn["part"][1]
    assert rig.shown.last["level"]["phase"] in ("waiting for a pluck", "hearing")
    rig.do("stop")
    assert rig.inputs.opened[-1].closed
    assert rig.shown.last["scene"]["phase"] == "done"
    # choosing another belt clears what was shown of this one
    rig.do("choose", belt="2GT 9 mm")
    assert rig.shown.last["portrait"] == {}
    assert rig.shown.last["scene"]["belts"][0]["figure"] == ""


def answered(rig: Rig, task: str) -> None:
    rig.bench.ask("answer", {"task": task}).result(60)


def test_what_only_the_person_knows_is_asked_and_answered(rig: Rig) -> None:
    rig.do("choose", **BELT)
    rig.do("listen")
    with pytest.raises(RequestError, match="nothing of the kind is asked"):
        answered(rig, "turned")
    rig.inputs.opened[-1].feed(np.concatenate([sound(3, frequency_hz=81.5), sound(2)]))
    told = rig.shown.until("scene", lambda r: r["question"] is not None)
    assert told["order"] == told["question"]["words"]
    assert told["order"].endswith("turned?")
    assert [a["key"] for a in told["question"]["answers"]] == ["t", "e", "x"]
    before = told["belts"][0]["figure"]
    assert 26 < float(before) < 28  # the answer before stays
    answered(rig, "turned")
    now = rig.shown.last["scene"]
    assert now["question"] is None
    assert 35 < float(now["belts"][0]["figure"]) < 39


def test_without_belt_and_span_the_frequency_is_told(rig: Rig) -> None:
    rig.do("listen")
    rig.inputs.opened[-1].feed(sound(1))
    (belt,) = rig.plucked(1)["belts"]
    assert (belt["unit"], belt["row"]) == ("Hz", None)
    assert float(belt["figure"]) == pytest.approx(95.0, abs=0.5)
    with pytest.raises(RequestError, match="keep needs to know the belt"):
        rig.do("keep")


def test_an_input_that_is_lost_is_looked_for_and_its_plucks_stay(rig: Rig) -> None:
    rig.do("choose", **BELT)
    rig.do("listen")
    rig.inputs.opened[-1].feed(sound())
    rig.plucked(2)
    rig.inputs.there = False
    rig.inputs.opened[-1].pull_out()
    lost = rig.shown.until("scene", lambda r: r["lost"] is not None)
    assert lost["order"].startswith("The sound input is gone")
    assert sum(p["used"] for p in lost["plucks"]) == 2
    rig.inputs.there = True
    rig.shown.until("scene", lambda r: r["lost"] is None and r["listening"])
    rig.inputs.opened[-1].feed(sound(1, seed=8))
    rig.plucked(3)


def test_an_input_that_comes_back_at_another_rate_begins_anew(rig: Rig) -> None:
    rig.do("choose", **BELT)
    rig.do("listen")
    rig.inputs.rate_hz = 48_000.0
    rig.inputs.opened[-1].pull_out()
    back = rig.shown.until("scene", lambda r: r["lost"] is None and r["cautions"])
    assert "another rate" in back["cautions"][-1]
    assert rig.inputs.opened[-1].closed


def test_no_input_is_a_sentence_and_the_next_try_may_succeed(rig: Rig) -> None:
    rig.inputs.there = False
    with pytest.raises(BeltpitchError, match="no sound input"):
        rig.do("listen")
    assert rig.shown.last["scene"]["busy"] == ""
    rig.inputs.there = True
    rig.do("listen")


def test_a_device_whose_rate_is_known_is_put_right(tmp_path: Path) -> None:
    machine = Machine("m", belts={"y": BeltEntry("y", belt="2GT 9 mm", span="286 mm")})
    heard = {}
    for clocks in ({}, {"USB": "+1000 +/- 5 ppm"}):
        inputs, shown = Inputs(), Shown()
        bench = Worker(shop(tmp_path, replace(machine, clocks=clocks)), inputs.open, shown)
        bench.start({"name": "y"}, listen=True)
        try:
            shown.until("scene", lambda r: r["listening"])
            inputs.opened[-1].feed(sound(1))
            told = Rig(bench, inputs, shown, tmp_path).plucked(1)
        finally:
            bench.close()
        heard[len(clocks)] = float(told["plucks"][0]["tone"].split()[0])
        assert any("rate is off by" in words for words in told["cautions"]) == bool(clocks)
    assert heard[1] / heard[0] == pytest.approx(1 - 1e-3, abs=2e-4)


def test_kept_again_it_is_a_new_revision(rig: Rig) -> None:
    rig.do("choose", **BELT)
    rig.do("listen")
    with pytest.raises(RequestError, match="nothing to keep yet"):
        rig.do("keep", note="too early")
    rig.inputs.opened[-1].feed(sound())
    rig.plucked(2)
    assert rig.do("keep", note="first")["kept"] == [1]
    rig.inputs.opened[-1].feed(sound(1, seed=8))
    rig.plucked(3)
    assert rig.do("keep", note=" ")["kept"] == [1]
    with History(rig.folder / "book.sqlite") as history:
        (line,) = history.lines()
        assert (line.revision, line.note, line.belt) == (2, "first", "2GT 9 mm")
    # begun anew it is another entry
    rig.do("listen")
    rig.inputs.opened[-1].feed(sound(1, seed=9))
    rig.plucked(1)
    assert rig.do("keep")["kept"] == [2]


def test_a_recording_is_kept_under_its_own_name_and_digest(rig: Rig) -> None:
    rig.do("choose", **BELT)
    for _ in range(2):  # the same file again is the same entry, as for the command
        folder = rig.folder / "dropped"
        folder.mkdir(exist_ok=True)
        soundfile.write(folder / "recording.wav", sound(), round(RATE_HZ))
        rig.do("read", path=str(folder / "recording.wav"), name="mine.wav")
        assert rig.shown.last["scene"]["phase"] == "read from mine.wav"
        assert rig.do("keep")["kept"] == [1]
        rig.do("choose", **BELT)
        assert not folder.exists()
    with History(rig.folder / "book.sqlite") as history:
        (line,) = history.lines()
    assert (line.source, line.revision) == ("mine.wav", 2)
    assert line.digest is not None


def test_orders_that_mean_nothing_are_refused(rig: Rig) -> None:
    for wish in ({}, {"belt": 5, "onset_s": 1.0}, {"belt": True, "onset_s": 1.0}, {"belt": 0}):
        with pytest.raises(RequestError, match="no such pluck"):
            rig.do("pluck", **wish)
    rig.do("pluck", belt=0, onset_s=1.0, use=True)
    for task in ("next", "turned"):
        with pytest.raises(RequestError, match="nothing is being listened to"):
            rig.do(task)


def test_a_bench_that_has_ended_says_so(rig: Rig) -> None:
    rig.bench.close()
    with pytest.raises(CannotTell, match="has stopped"):
        rig.do("listen")


# --- what is asked for ---------------------------------------------------------------------------


def test_wishes_become_plans_by_the_rules_of_the_command_line() -> None:
    machine = Machine("m", belts={"y": BeltEntry("y", belt="2GT 9 mm", span="286 mm")})
    named = planned({"name": "y"}, machine)
    assert [s.name for s in named.subjects] == ["y"]
    typed = planned({**BELT, "pair": "yes", "first": "a", "second": "b", "tolerance": "3%"}, None)
    assert [s.name for s in typed.subjects] == ["a", "b"]
    assert typed.within == pytest.approx(0.03)
    assert typed.same_span
    assert planned({**BELT, "way": "sides"}, None).way == "sides"
    everyday = planned({"belt": "Acme GT2 9 mm", "span": '11 1/4"', "ends": "clamp pulley"}, None)
    assert everyday.asked[0].span is not None
    assert everyday.asked[0].span.length_m == pytest.approx(0.28575)
    for wish, why in (
        ({"name": "z"}, "no belt or pair"),
        ({"span": "1,5 mm"}, "1,5"),
        ({"belt": "no such belt"}, "no such belt"),
        ({**BELT, "pair": "yes", "first": "a", "second": "a"}, "two names"),
        ({"width": "9 mm"}, "width alone"),
        ({"belt": "2GT 9 mm", "linear_mass": "126 g/m"}, "10 times the 12.6 g/m"),
        ({"belt": "2GT", "width": "2 mm"}, "tooth pitch of 2GT"),
        ({**BELT, "target": "4 kN"}, "would break a 2GT 9 mm"),
    ):
        with pytest.raises(BeltpitchError, match=why):
            planned(wish, machine)


def test_options_are_called_as_the_page_calls_them() -> None:
    said = in_words_of_the_page('give --linear-mass "12 g/m" with --width')
    assert said == 'give linear mass "12 g/m" with width'


# --- the simulated workshop ----------------------------------------------------------------------


def test_the_workshop_turns_what_is_asked_until_the_pair_matches(tmp_path: Path) -> None:
    shown, made = Shown(), list[Worker]()
    workshop = DemoWorkshop(
        lambda: DemoRequest(*made[0].asked_for),
        lambda task, wish: made[0].ask(task, wish),
        hurry=None,
    )
    made.append(Worker(shop(tmp_path, PLOVER), workshop.open, shown))
    made[0].start(START, listen=True)
    try:
        told = shown.until("scene", lambda r: r["match"] and r["match"]["word"] == "matched")
    finally:
        made[0].close()
    assert told["order"].startswith("The plucked strands match; the preloads may")
    assert told["match"]["reached"].endswith("matched")
    assert "y-right turned" in told["match"]["reached"]
    assert workshop.tensions_n[1] == pytest.approx(workshop.tensions_n[0], rel=0.04)
    assert told["match"]["zone"][0] < told["match"]["values"][1] < told["match"]["zone"][1]
