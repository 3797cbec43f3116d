"""Reading + window + verdict + next step: the one record that is printed, kept and drawn.

Everything a face needs is here in newtons: the ruler's ends and graduations, the ticks of the
plucks, the bar of the interval, the strip of the window. Faces draw it; they compute nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace

from beltpitch.advice.limits import SafeLimit, safe_limit
from beltpitch.advice.window import Judgement, Window, Word, judge, past
from beltpitch.reading import COVERAGE, PluckGroup, Reading, strands_too_far
from beltpitch.uncertainty import DOF_AS_NORMAL, Estimate, Part
from beltpitch.units import FORCE, in_unit

ENOUGH_PLUCKS = 5
NOT_SO = "Check belt, span and frequency before you turn anything."
# What a word means, and the same where something must be minded first.
SAID: Mapping[Word, tuple[str, str]] = {
    "slack": (
        "Too slack for its window: tighten a little, settle the axis, pluck again.",
        "Too slack for its window, but settle that before you tighten.",
    ),
    "tight": (
        "Too tight for its window: loosen it a little, settle the axis, pluck again.",
        "Too tight for its window: loosen it now, settle the axis, pluck again.",
    ),
    "over": (
        "More than this belt may bear: loosen it now, settle the axis, pluck again.",
        "More than this belt may bear: loosen it now, settle the axis, pluck again.",
    ),
    "within": (
        "Within its window: leave it, and write it down.",
        "Within its window, but settle that first.",
    ),
}
# The same where the word is only likely.
LIKELY: Mapping[Word, str] = {
    "slack": "Probably too slack for its window.",
    "tight": "Probably too tight for its window.",
    "over": "Probably more than this belt may bear: loosen it now, settle the axis, pluck again.",
    "within": "Probably within its window.",
}
READ_FIRST = "Within its window, but read the notes before you leave it so."
TOO_HIGH = "Loosen it, unless the machine's manual asks for so much."
WORTH_DOING = 0.9  # a remedy is named if it leaves at most this share of the interval
FINE = 0.05  # shares below it are shown with a decimal
GRADUATIONS = 6  # labelled graduations a ruler should have, about


@dataclass(frozen=True, slots=True)
class RulerScale:
    """The ends of a ruler and the step between its graduations, in the unit it was asked for."""

    low: float
    high: float
    step: float

    def graduations(self) -> tuple[float, ...]:
        """Return the labelled graduations, low to high."""
        count = round((self.high - self.low) / self.step)
        return tuple(round(self.low + i * self.step, 9) for i in range(count + 1))

    def share(self, value: float) -> float:
        """Return where a value stands: 0 at the low end, 1 at the high end, kept on the ruler."""
        return min(1.0, max(0.0, (value - self.low) / (self.high - self.low)))


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing to do about the doubt: what, which budget line it shrinks, and what is left.

    ``before`` and ``after`` are half the 95 % interval as a share of the preload; ``short`` is
    ``what`` in fewer words.
    """

    what: str
    line: str
    before: float
    after: float
    short: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """A reading, judged.

    Parameters
    ----------
    reading
        What was measured.
    window
        The window it was judged by; None where there is none yet.
    word
        ``slack``, ``within``, ``tight``, ``over`` or ``cannot tell``: the likeliest.
    next_step
        The one thing to do next, in sentences; the warning, if there is one, first.
    remedies
        What would shrink the interval, the most effective first.
    warning
        What must be read before anything else: a tension or a target beyond what the belt may
        carry; "" without one.
    share
        How probable the word is, 0 to 1; 0 for ``cannot tell``.
    """

    reading: Reading
    window: Window | None
    word: Word
    next_step: str
    remedies: tuple[Remedy, ...]
    warning: str = ""
    share: float = 0.0

    @property
    def said(self) -> str:
        """The word with its share where it is not sure, and with its basis where that is weak."""
        words = str(Judgement(self.word, self.share))
        weak = self.window is not None and self.window.basis in ("derived", "general rule")
        if not weak or self.window is None or self.word == "cannot tell":
            return words
        return f"{words} ({self.window.basis_words})"

    @property
    def then(self) -> str:
        """The next step without the warning, for a face that shows the warning first."""
        return self.next_step.removeprefix(self.warning).lstrip()

    @property
    def unlikely(self) -> bool:
        """Whether belt, span or frequency must be mistaken: the belt would have torn."""
        return self.next_step.endswith(NOT_SO)

    @property
    def narrow(self) -> str:
        """What `better` says, on one line; "" where nothing narrows the interval by a tenth."""
        if not self.better or not self.remedies:
            return ""
        first = self.remedies[0]
        return f"{first.short}: ±{_spaced(first.before)} becomes ±{_spaced(first.after)}"

    @property
    def better(self) -> str:
        """The one thing that would shrink the interval most, and by how much; "" without one.

        Where no single thing shrinks it by a tenth, that is said instead.
        """
        preload = self.reading.preload
        if preload is None or self.unlikely:
            return ""
        if self.remedies:
            return _how(self.remedies[0])
        return (
            "no single step shrinks the interval by a tenth "
            f"(±{_percent(_relative_half_width(preload))})"
        )


def worse_known(verdicts: Sequence[Verdict]) -> Verdict | None:
    """Return the one whose preload is known least well, as a share of it; None without any."""
    told = [(_relative_half_width(v.reading.preload), v) for v in verdicts if v.reading.preload]
    return max(told, key=lambda pair: pair[0])[1] if told else None


def judged(reading: Reading, window: Window | None = None) -> Verdict:
    """Judge a reading by its preload and say what to do next."""
    if reading.preload is None:
        return Verdict(reading, window, "cannot tell", _without_answer(reading), ())
    window = None if window is None else window.resolved(reading.preload)
    judgement = judge(reading.preload, window)
    word = judgement.word
    torn = reading.belt.break_n if reading.belt else None
    if torn is not None and reading.preload.value > torn.value:
        warning = f"More than tears this belt, about {torn.value:.0f} N."
        step = f"{warning} {NOT_SO}"
        return Verdict(reading, window, word, step, (), warning, judgement.share)
    remedies = _remedies(reading.preload)
    warning = _warning(reading, window)
    step = _next_step(
        reading.preload,
        window,
        judgement,
        remedies,
        warned=bool(warning),
        noted=bool(reading.warnings),
    )
    said = f"{warning} {step}".strip()
    return Verdict(reading, window, word, said, remedies, warning, judgement.share)


def safe_for(reading: Reading, window: Window | None) -> SafeLimit | None:
    """Return the tension that no advice leads past: the window's, else that of the belt."""
    if window is not None and window.safe is not None:
        return window.safe
    return None if reading.belt is None else safe_limit(reading.belt)


def _warning(reading: Reading, window: Window | None) -> str:
    """Return what must be read first: of the target, of a tension too high, of unequal strands."""
    assert reading.preload is not None
    of_target = () if window is None else window.cautions
    said = (
        *(of_target or (past(reading.preload, safe_for(reading, window)),)),
        strands_too_far(reading),
    )
    return " ".join(f"{words[0].upper()}{words[1:]}." for words in said if words)


def in_newtons(unit: str) -> float:
    """Return how many newtons one unit of force is."""
    return 1 / in_unit(1.0, unit, FORCE)


def scale(verdicts: Sequence[Verdict], unit_n: float = 1.0) -> RulerScale | None:
    """Return one scale that holds everything known of these verdicts; None if nothing is.

    Parameters
    ----------
    verdicts
        What will be drawn on it.
    unit_n
        Newtons in the unit that is shown.
    """
    return scale_over([n / unit_n for v in verdicts for n in _points(v)])


def scale_over(points: Sequence[float]) -> RulerScale | None:
    """Return a scale that holds all points, in their own unit; None if there are none."""
    if not points:
        return None
    low, high = min(points), max(points)
    step = _step((high - low) or max(high, 1.0))
    first = max(0.0, math.floor(low / step) * step)
    return RulerScale(first, max(first + step, math.ceil(high / step) * step), step)


def _points(verdict: Verdict) -> list[float]:
    reading, window = verdict.reading, verdict.window
    if reading.preload is None:
        return []
    points = [*reading.preload.interval(COVERAGE)]
    points += [p.tension_n for p in reading.plucks if p.tension_n is not None]
    if window is not None:
        points += [end for end in (window.low_n, window.high_n) if end is not None]
    return [max(0.0, n) for n in points]


def _step(width: float) -> float:
    """Return 1, 2 or 5 times a power of ten, so that the width holds about six of them."""
    raw = width / GRADUATIONS
    power = 10.0 ** math.floor(math.log10(raw))
    return next(m * power for m in (1, 2, 5, 10) if m * power >= raw * (1 - 1e-9))


@dataclass(frozen=True, slots=True)
class _Way:
    """Something to do about the budget.

    Parameters
    ----------
    what
        What to do.
    lines
        The lines it shrinks.
    left
        Relative standard uncertainty of the tension that is then left from them together.
    share
        Share of its own that is left of each line, where that is more telling than `left`.
    plucks
        By what the doubt of the plucks grows.
    short
        What to do in fewer words; `what` where that is short enough.
    """

    what: str
    lines: tuple[str, ...]
    left: float = 0.0
    share: float = 0.0
    plucks: float = 1.0
    short: str = ""

    def done(self, preload: Estimate) -> Estimate:
        """Return the preload as it would be known afterwards; never worse in these lines."""
        hit = tuple(p for p in preload.parts if p.name in self.lines)
        kept = [p for p in preload.parts if p.name not in self.lines]
        kept = [replace(p, u=p.u * (self.plucks if p.name == "plucks" else 1)) for p in kept]
        old = Estimate(0.0, hit).u
        left = min(old, max(self.share * old, self.left * preload.value))
        return Estimate(preload.value, (*kept, Part(self.lines[0], "remedy", left)))


# Weighed: physics.md section 7 (0.2 to 0.5 %).
# Two parks with a travel of half the span, known to 0.2 mm: the plucks weigh sqrt(4^2 + 2^2)/2
# times as much (beltpitch.belts.parks). Others follow from the defaults of reading.py, parsing.py.
_WAYS = (
    _Way(
        "weigh a piece of this belt (beltpitch weigh)",
        ("linear mass", "width"),
        0.005,
        short="weigh a piece (beltpitch weigh)",
    ),
    _Way(
        "measure the span again with a steel rule, to 0.2 mm",
        ("span",),
        0.001,
        short="measure the span to 0.2 mm",
    ),
    _Way(
        "read at two parks (--parks --travel), which takes the ends out",
        ("ends", "span", "last contact"),
        0.002,
        plucks=2.2,
        short="read at two carriage positions (--parks)",
    ),
    _Way("move the carriage by whole teeth between the parks", ("odd teeth",)),
    _Way(
        "hang weights on it, which tells its stiffness (beltpitch hang)",
        ("stiffness",),
        0.002,
        short="hang weights on it (beltpitch hang)",
    ),
    _Way(
        "pluck the other strand too (--strand), or say how far they can differ (--strand-limit)",
        ("strand difference",),
        0.002,
        short="pluck the other strand too (--strand)",
    ),
    _Way(
        "tell how much of the loop stands at each strand's tension (--loop-sides)",
        ("loop sides",),
        0.002,
        short="say how the loop is divided (--loop-sides)",
    ),
    _Way("pluck again: five plucks are enough", ("plucks",), 0.003),
    _Way(
        "type the frequency to a tenth of a hertz, or let beltpitch hear it",
        ("typed frequency",),
        0.001,
        short="type the frequency to 0.1 Hz",
    ),
    _Way("pluck more gently", ("amplitude",)),
    _Way(
        "measure the travel between the parks to 0.1 mm, or make it longer",
        ("travel",),
        share=0.5,
        short="measure the travel to 0.1 mm",
    ),
)


def _remedies(preload: Estimate) -> tuple[Remedy, ...]:
    before = _relative_half_width(preload)
    lines = {line.name for line in preload.budget()}
    found = []
    for way in _WAYS:
        if way.lines[0] in lines:
            after = _relative_half_width(way.done(preload))
            if after <= WORTH_DOING * before:
                short = way.short or way.what
                found.append(Remedy(way.what, way.lines[0], before, after, short))
    return tuple(sorted(found, key=lambda r: r.after))


def _relative_half_width(estimate: Estimate) -> float:
    low, high = estimate.interval(COVERAGE)
    return (high - low) / 2 / estimate.value


def _next_step(
    preload: Estimate,
    window: Window | None,
    judgement: Judgement,
    remedies: tuple[Remedy, ...],
    *,
    warned: bool,
    noted: bool,
) -> str:
    word = judgement.word
    if word in SAID and judgement.sure:
        return READ_FIRST if word == "within" and noted and not warned else SAID[word][warned]
    if word in LIKELY:
        return LIKELY[word] + ("" if word == "over" else _best(remedies))
    if warned and (window is None or window.high_n is None):
        return TOO_HIGH
    if window is None:
        return "No window to judge by: give --target and --within to get a verdict." + _best(
            remedies
        )
    missing = _missing_end(preload, window)
    if missing is not None:
        words = (
            f"No rule names {missing} end for this belt: give --target and --within to judge it."
        )
        return words + _best(remedies)
    return f"Cannot yet be told from the {_nearest_end(preload, window)}." + _best(remedies)


def _missing_end(preload: Estimate, window: Window) -> str | None:
    """Return the end that no rule names, if the preload stands on the good side of the other."""
    if window.high_n is None and (window.low_n is None or preload.value > window.low_n):
        return "an upper"
    if window.low_n is None and window.high_n is not None and preload.value < window.high_n:
        return "a lower"
    return None


def _nearest_end(preload: Estimate, window: Window) -> str:
    ends = [("lower end", window.low_n), ("upper end", window.high_n)]
    known = [(name, n) for name, n in ends if n is not None]
    return min(known, key=lambda e: abs(e[1] - preload.value))[0] + " of its window"


def _best(remedies: tuple[Remedy, ...]) -> str:
    if not remedies:
        return ""
    return f" To know it better: {_how(remedies[0])}."


def _how(remedy: Remedy) -> str:
    return f"{remedy.what} (±{_percent(remedy.before)} becomes ±{_percent(remedy.after)})"


def _spaced(share: float) -> str:
    return _percent(share).replace("%", " %")


def _percent(share: float) -> str:
    """Return a share in percent, with a decimal where it is small."""
    return f"{share:.1%}" if share < FINE else f"{share:.0%}"


def _without_answer(reading: Reading) -> str:
    if reading.groups:
        return "No mean and no verdict: say which group is this belt, and read it alone."
    if reading.frequency is None:
        return "Do as the note says, then read it again."
    if reading.belt is not None and reading.span is not None:
        return "Park the carriage for a longer span and pluck again."
    return "Give belt and span to turn the frequency into a tension."


# --- the JSON contract --------------------------------------------------------------------------

SCHEMA = 1


def as_json(verdict: Verdict) -> dict[str, object]:
    """Return the record of one reading as the JSON contract has it: every key, null if unknown."""
    reading, window = verdict.reading, verdict.window
    belt, span, frequency, tension = reading.belt, reading.span, reading.frequency, reading.tension
    preload, apart = reading.preload, reading.strand_difference
    return {
        "source": reading.source,
        "belt": belt.name if belt else None,
        "span_mm": round(span.length_m * 1000, 6) if span else None,
        "ends": ",".join(span.ends) if span else None,
        "frequency_hz": frequency.value if frequency else None,
        "frequency_u_hz": frequency.u if frequency else None,
        "partials_hz": list(reading.partials_hz),
        "inharmonicity": reading.inharmonicity,
        "plucks": [asdict(pluck) for pluck in reading.plucks],
        "tension_n": tension.value if tension else None,
        "tension_u_n": tension.u if tension else None,
        "interval_n": list(tension.interval(COVERAGE)) if tension else None,
        "coverage": COVERAGE if tension else None,
        "dof": _finite_dof(tension.dof) if tension else None,
        "strand": reading.strand,
        "preload_n": preload.value if preload else None,
        "preload_u_n": preload.u if preload else None,
        "preload_interval_n": list(preload.interval(COVERAGE)) if preload else None,
        "strand_difference_n": apart.value if apart else None,
        "strand_difference_u_n": apart.u if apart else None,
        "budget": _budget_json(tension),
        "preload_budget": _budget_json(preload),
        "corrections": [asdict(c) for c in reading.corrections],
        "window_n": [window.low_n, window.high_n] if window else None,
        "recommended_n": [window.low_n, window.best_n, window.high_n] if window else None,
        "recommended_basis": (window.basis or None) if window else None,
        "verdict": verdict.word,
        "verdict_probability": verdict.share if verdict.share else None,
        "next_step": verdict.next_step,
        "better": verdict.better or None,
        "steady_hz": list(reading.steady_hz),
        "groups": [_group_json(group) for group in reading.groups],
        "sources": [*reading.sources, *(window.sources if window else ())],
        "warnings": list(reading.warnings),
        "notes": list(reading.echoes),
    }


def _group_json(group: PluckGroup) -> dict[str, object]:
    tension = group.tension
    return {
        "plucks": [k + 1 for k in group.plucks],
        "frequency_hz": group.frequency.value,
        "frequency_u_hz": group.frequency.u,
        "tension_n": tension.value if tension else None,
        "tension_u_n": tension.u if tension else None,
        "interval_n": list(tension.interval(COVERAGE)) if tension else None,
    }


def _budget_json(estimate: Estimate | None) -> list[dict[str, object]]:
    if estimate is None:
        return []
    return [
        {
            "input": line.name,
            "u_n": line.u,
            "share": line.share,
            "dof": _finite_dof(line.dof),
            "shared": line.keys[0].partition(":")[0].partition("/")[0],
        }
        for line in estimate.budget()
    ]


def _finite_dof(dof: float) -> int | None:
    """Return degrees of freedom truncated to an integer (GUM G.4.1), None where infinite."""
    return int(dof) if dof < DOF_AS_NORMAL else None
