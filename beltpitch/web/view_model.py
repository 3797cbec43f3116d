"""What the page draws: the records of a measurement as plain texts and places on a ruler.

Nothing is measured or judged here. A place is a share of the ruler, as the verdict's scale has it;
texts are escaped where they are drawn, since the page only ever sets them as text.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from beltpitch.advice.comparison import Comparison
from beltpitch.advice.safety import plucking, turning
from beltpitch.advice.window import TO_TURN, Window
from beltpitch.pitch.waveform_view import FLOOR_DB, WaveformView
from beltpitch.present.text import force
from beltpitch.reading import COVERAGE, PluckReading, Reading
from beltpitch.session.live import PHASE_WORDS, QUIETEST_DB, State, Taken
from beltpitch.session.session import Way
from beltpitch.session.verdict import (
    RulerScale,
    Verdict,
    in_newtons,
    scale,
    scale_over,
    worse_known,
)
from beltpitch.units import FORCE, in_unit, rounded
from beltpitch.web.form import FormRequest, in_words_of_the_page

FULL = RulerScale(-1.0, 1.0, 1.0)
METER = RulerScale(QUIETEST_DB, 0.0, 12.0)
DECIBELS = RulerScale(FLOOR_DB, 0.0, 30.0)
PLUCKS_SHOWN = 12  # the last ones of each step of a belt
AGAIN = "Measure again, or choose another belt."
NO_TONE = "no pluck has told a frequency"


@dataclass(frozen=True, slots=True)
class View:
    """All there is to show at one moment, see `beltpitch.web.worker.Bench`."""

    plan: FormRequest
    state: State | None
    parts: Sequence[Sequence[tuple[int, Reading]]]
    unit: str
    source: str
    lost: str | None
    listening: bool
    files: tuple[str, ...]
    notes: tuple[str, ...]
    kept: Mapping[int, int]
    busy: str
    demo: bool


def scene(view: View) -> dict[str, Any]:
    """Return the whole picture but for the sound itself."""
    state = view.state
    verdicts = state.verdicts if state else (None,) * len(view.plan.subjects)
    known = [v for v in verdicts if v is not None]
    made = scale(known, in_newtons(view.unit))
    worst = worse_known(known)
    order = _order(view)
    belts = [
        _belt(view, i, v, made) | {"better": _better(v, order) if v is worst else ""}
        for i, v in enumerate(verdicts)
    ]
    match = state.match if state else None
    turn = (match is not None and match.word == "unmatched") or any(
        v.word in TO_TURN for v in known
    )
    pair = len(view.plan.subjects) > 1
    return {
        "phase": _phase(view),
        "listening": view.listening,
        "running": view.source == "input" and view.state is not None and view.state.phase != "done",
        "lost": view.lost,
        "busy": view.busy,
        "source": view.source,
        "files": list(view.files),
        "step": _step(view),
        "order": order,
        "advice": _advice(state, match) if state and known else "",
        "unit": view.unit,
        "ruler": _ruler(made, view.unit),
        "belts": belts,
        "early": _early(state, view) if state else None,
        "question": _question(state) if view.source == "input" else None,
        "match": None if match is None else _match(match, made, view.unit),
        "plucks": [pluck for i in range(len(view.parts)) for pluck in _plucks(view, i)],
        "cautions": [*(state.cautions if state else ()), *view.notes],
        "safety": list(turning(pair=pair) if turn else plucking()),
        "first": turning(pair=pair)[0] if turn else "",
        "kept": {str(i): number for i, number in view.kept.items()},
        "keepable": any(is_answer(v.reading, view.plan.way) for v in known),
        "places": len(view.plan.places),
        "wish": dict(view.plan.wish),
        "demo": view.demo,
    }


def is_answer(reading: Reading, way: Way) -> bool:
    """Whether a reading says something by itself; one of two parks says nothing."""
    return (reading.preload if way == "parks" else reading.frequency) is not None


def level(state: State) -> dict[str, Any]:
    """Return the level of the input as it is now."""
    return {
        "phase": PHASE_WORDS[state.phase],
        "at": round(METER.share(state.level_db), 3),
        "words": f"{state.level_db:.0f} dB" if state.level_db > QUIETEST_DB else "silence",
    }


def portrait(drawn: WaveformView, taken: Taken, names: Sequence[str], unit: str) -> dict[str, Any]:
    """Return the sound of a pluck: outline, spectrum, and what was found in it, as places."""
    time = RulerScale(drawn.begins_s, drawn.ends_s, 0.1)
    hertz = RulerScale(0.0, drawn.top_hz, 50.0)
    ticks = scale_over([0.0, drawn.top_hz])
    name = f"{names[taken.subject]}, " if len(names) > 1 else ""
    pluck = taken.pluck
    return {
        "title": f"{name}pluck {taken.number}: {_said(pluck, unit)}",
        "used": pluck.used,
        "low": [round(FULL.share(float(v)), 3) for v in drawn.low],
        "high": [round(FULL.share(float(v)), 3) for v in drawn.high],
        "onset": round(time.share(0.0), 4),
        "part": [round(time.share(t), 4) for t in drawn.used_s] if drawn.used_s else None,
        "part_words": _part_words(drawn),
        "spectrum": [round(DECIBELS.share(float(v)), 3) for v in drawn.level_db],
        "partials": [
            {"at": round(hertz.share(f), 4), "number": n, "words": f"{f:.1f}"}
            for n, f in drawn.partials
            if f <= drawn.top_hz
        ],
        "steady": [{"at": round(hertz.share(f), 4), "words": f"{f:.1f}"} for f in drawn.steady_hz],
        "hertz": [
            {"at": round(hertz.share(f), 4), "words": f"{f:g}"}
            for f in (ticks.graduations() if ticks else ())
            if f <= drawn.top_hz
        ],
    }


# --- words --------------------------------------------------------------------------------------


def _phase(view: View) -> str:
    if view.busy:
        return view.busy
    if view.lost is not None:
        return "input lost; looking for it again"
    if view.state is None:
        return "not listening"
    if view.source == "file":
        return f"read from {', '.join(view.files)}"
    return PHASE_WORDS[view.state.phase]


def _order(view: View) -> str:
    """Return the one sentence that says what to do now."""
    state = view.state
    if view.lost is not None:
        return "The sound input is gone. Plug it in again: the plucks so far are kept."
    if state is None:
        return "Choose a belt and press Listen, or drop a recording here."
    match = state.match
    if state.phase == "done" and match is not None:
        if match.turn is not None:
            return f"{_sentence(str(match.turn))}; then measure again."
        return match.closing if match.word == "matched" else str(match.again or match.hint or match)
    verdict = state.verdicts[0]
    if verdict is not None and _is_finished(view, state):
        return in_words_of_the_page(verdict.next_step)
    read = len(view.parts[0])
    if read < state.steps and state.phase == "done" and _is_one_belt_heard(view) and verdict:
        return f"Only {read} of {state.steps} steps was plucked: press Listen to begin again."
    return state.order or AGAIN


def _is_one_belt_heard(view: View) -> bool:
    return view.source == "input" and len(view.plan.subjects) == 1


def _is_finished(view: View, state: State) -> bool:
    """Whether a single belt has been read in every step, and the last one is at its end."""
    return (
        len(view.plan.subjects) == 1
        and (state.phase == "done" or state.advice.kind == "enough")
        and len(view.parts[0]) == state.steps
    )


def _question(state: State | None) -> dict[str, Any] | None:
    """Return what is asked, with its answers, each with its key and what it does."""
    if state is None or state.question is None:
        return None
    answers = [{"task": a.task, "key": a.key, "words": a.words} for a in state.question.answers]
    return {"words": state.question.words, "answers": answers}


def _advice(state: State, match: Comparison | None) -> str:
    """Return what the plucks say; where there is something else to do than go on, without that."""
    over = state.phase == "done" or (match is not None and match.word != "not yet known")
    return state.advice.said if over else state.advice.words


def _step(view: View) -> str:
    """Return which step of a belt is asked for, where it has more than one."""
    state = view.state
    if state is None or state.steps == 1 or state.phase in ("done", "lost"):
        return ""
    if _is_finished(view, state):
        return ""
    subject = view.plan.subjects[state.subject]
    name = f"{subject.name}: " if len(view.plan.subjects) > 1 else ""
    return f"{name}step {state.step + 1} of {state.steps}, {subject.parts[state.step]}"


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _said(pluck: PluckReading, unit: str) -> str:
    if not pluck.used:
        return f"not taken: {pluck.reason}"
    tension = "" if pluck.tension_n is None else f", {force(pluck.tension_n, unit)}"
    return f"{pluck.frequency_hz:.2f} Hz{tension}"


def _part_words(drawn: WaveformView) -> str:
    if drawn.used_s is None:
        return "no part was used"
    return f"the part from {drawn.used_s[0]:.2f} to {drawn.used_s[1]:.2f} s was used"


# --- a belt -------------------------------------------------------------------------------------


def _belt(view: View, i: int, verdict: Verdict | None, made: RulerScale | None) -> dict[str, Any]:
    subject = view.plan.subjects[i]
    state = view.state
    words = [] if subject.belt is None else [subject.belt.name]
    if subject.span is not None:
        words.append(f"span {subject.span.length_m * 1000:.4g} mm")
    record: dict[str, Any] = {
        "name": subject.name,
        "kind": ", ".join(words) or "belt not said: the frequency alone is told",
        "asked": bool(state and state.phase not in ("done", "lost") and state.subject == i),
        "figure": "",
        "unit": view.unit if subject.belt and subject.span else "Hz",
        "interval": "",
        "word": "",
        "said": "",
        "next": "",
        "tone": "",
        "parts": [],
        "window": _window_words(subject.window, view.unit),
        "notes": list(subject.echoes),
        "book": view.plan.asked[i].name or (subject.belt.name if subject.belt else ""),
        "row": None,
    }
    return record if verdict is None else record | _told(view, i, verdict, made)


def _told(view: View, i: int, verdict: Verdict, made: RulerScale | None) -> dict[str, Any]:
    reading, unit = verdict.reading, view.unit
    steps = len(view.plan.subjects[i].parts)
    said: dict[str, Any] = {
        "word": verdict.word,
        "said": verdict.said,
        "next": in_words_of_the_page(verdict.next_step),
        "tone": _tone(reading) if steps == 1 else "",
        "parts": _parts(view, i, reading) if steps > 1 else [],
        "notes": [
            in_words_of_the_page(words)
            for words in dict.fromkeys((*reading.warnings, *reading.echoes))
        ],
    }
    if reading.preload is not None:
        low, high = (in_unit(n, unit, FORCE) for n in reading.preload.interval(COVERAGE))
        said["figure"], said["unit"] = force(reading.preload.value, unit).split(" ")
        said["interval"] = f"{low:.1f} to {high:.1f} {unit}"
        said["row"] = _row(view, i, verdict, made)
    elif reading.frequency is not None:
        f = reading.frequency
        low, high = f.interval(COVERAGE)
        said["figure"], said["unit"] = rounded(f.value, f.u), "Hz"
        said["interval"] = f"{low:.2f} to {high:.2f} Hz"
    return said


def _tone(reading: Reading) -> str:
    f = reading.frequency
    if f is None:
        return ""
    used = sum(p.used for p in reading.plucks)
    return f"{rounded(f.value, f.u)} Hz from {used} pluck{'' if used == 1 else 's'}"


def _parts(view: View, i: int, reading: Reading) -> list[str]:
    """Return what each step of a belt told, and by how much two strands differ."""
    names, unit = view.plan.subjects[i].parts, view.unit
    said = []
    for step, part in view.parts[i]:
        tension = "" if part.tension is None else f", {force(part.tension.value, unit)}"
        said.append(f"{names[step]}: {_tone(part) or NO_TONE}{tension}")
    apart = reading.strand_difference
    if apart is not None:
        apart = apart if apart.value >= 0 else apart.scaled(-1.0)
        low, high = (in_unit(n, unit, FORCE) for n in apart.interval(COVERAGE))
        said.append(
            f"they differ by {force(apart.value, unit)} (95 %: {low:.1f} to {high:.1f} {unit})"
        )
    return said


def _better(verdict: Verdict | None, order: str) -> str:
    """Return the one thing that would shrink the interval most, if the order does not say it."""
    words = in_words_of_the_page(verdict.better) if verdict else ""
    if verdict is None or words in order:
        return ""
    return f"To know it better: {words}." if verdict.remedies else _sentence(words)


def _window_words(window: Window | None, unit: str) -> str:
    if window is None:
        return ""
    low, high = (
        "not known" if n is None else force(n, unit) for n in (window.low_n, window.high_n)
    )
    rules = dict.fromkeys(r for r in (window.low_rule, window.high_rule) if r)
    return f"{low} to {high} ({'; '.join(rules)})"


def _early(state: State, view: View) -> dict[str, Any] | None:
    if state.early is None:
        return None
    name = view.plan.subjects[state.early.subject].name
    return {"words": f"{name}: {_said(state.early.pluck, view.unit)}, still sounding"}


def _plucks(view: View, i: int) -> list[dict[str, Any]]:
    """Return the last plucks of every step of a belt."""
    subject = view.plan.subjects[i]
    several = len(view.plan.subjects) > 1
    shown = [
        (", ".join(n for n in (subject.name if several else "", subject.parts[step]) if n), one)
        for step, reading in view.parts[i]
        for one in list(enumerate(reading.plucks, 1))[-PLUCKS_SHOWN:]
    ]
    return [
        {
            "belt": i,
            "name": name,
            "number": number,
            "onset_s": p.onset_s,
            "at": "" if p.onset_s is None else f"{p.onset_s:.1f} s",
            "tone": "no pitch" if p.frequency_hz is None else f"{p.frequency_hz:.2f} Hz",
            "force": "" if p.tension_n is None else force(p.tension_n, view.unit),
            "used": p.used,
            "reason": p.reason,
            "useable": p.frequency_hz is not None,
        }
        for name, (number, p) in shown
    ]


# --- the ruler ----------------------------------------------------------------------------------


def _ruler(made: RulerScale | None, unit: str) -> dict[str, Any] | None:
    if made is None:
        return None
    return {
        "unit": unit,
        "graduations": [{"at": made.share(v), "words": f"{v:g}"} for v in made.graduations()],
    }


def _row(view: View, i: int, verdict: Verdict, made: RulerScale | None) -> dict[str, Any] | None:
    reading, unit = verdict.reading, view.unit
    if made is None or reading.preload is None:
        return None
    per = in_newtons(unit)
    low, high = reading.preload.interval(COVERAGE)
    return {
        "window": _strip(verdict.window, made, per),
        "plucks": [
            {"at": made.share(p.tension_n / per), "used": p.used}
            for p in _ticks(view, i, reading)
            if p.tension_n is not None
        ],
        "mean": made.share(reading.preload.value / per),
        "bar": [made.share(low / per), made.share(high / per)],
        "words": f"preload {force(reading.preload.value, unit)}, 95 % interval "
        f"{force(low, unit)} to {force(high, unit)}; window "
        f"{_window_words(verdict.window, unit) or 'not known'}; {verdict.said}",
    }


def _ticks(view: View, i: int, reading: Reading) -> list[PluckReading]:
    """Return the plucks of every step; at one of two parks alone they tell no tension."""
    if view.plan.way == "parks":
        return list(reading.plucks)
    return [pluck for _, part in view.parts[i] for pluck in part.plucks]


def _strip(window: Window | None, made: RulerScale, per: float) -> dict[str, Any] | None:
    """Return the strip of a window; an end that no rule names is open and runs to the rim."""
    if window is None:
        return None
    low, high = window.low_n, window.high_n
    return {
        "from": 0.0 if low is None else made.share(low / per),
        "to": 1.0 if high is None else made.share(high / per),
        "open_low": low is None,
        "open_high": high is None,
    }


def _match(match: Comparison, made: RulerScale | None, unit: str) -> dict[str, Any]:
    record: dict[str, Any] = {
        "word": match.word,
        "words": str(match).partition(": ")[2],
        "turn": _sentence(str(match.turn)) if match.turn and match.word == "unmatched" else None,
        "hint": match.hint or (_sentence(str(match.again)) if match.again else None),
        "reached": " · ".join(str(each) for each in match.reached),
        "notes": list(match.notes),
        "zone": None,
        "bar": None,
        "values": None,
    }
    if made is None or match.values_n is None or match.zone_n is None or match.bar_n is None:
        return record
    per = in_newtons(unit)
    for key, ends in (("zone", match.zone_n), ("bar", match.bar_n), ("values", match.values_n)):
        record[key] = [made.share(n / per) for n in ends]
    return record
