"""Are two belts equally tight: matched, unmatched, or not yet known.

**One ratio.** How far apart two belts are is always said as by how much the tighter one is above
the slacker one, ``tighter/slacker - 1`` (`tighter_by`): a fourfold tension is 300 % tighter, and to
tighten the slacker belt by the same 300 % makes both equal. The tolerance is held against the same
ratio. It is computed from the logarithm ``l = ln(a/b)``, in which the two belts are alike (to swap
them changes its sign alone) and relative errors add; an interval of ``l`` is one of the ratio.

What both belts share is one and the same error and cancels (equal keys of
`beltpitch.uncertainty`): the linear mass of one roll, the tape's scale, like ends, stiffness, air,
clock. What does not: the plucks, the last contact of each belt's own pulleys, where each span was
read on the tape, the strand difference.

    matched         the interval lies wholly inside the tolerance
    unmatched       wholly outside
    not yet known   else

**Looking after every pluck.** A single 95 % interval misses once in twenty; who looks after every
pluck and stops at the first answer meets that miss more often. So look number k of a setting is
given the share ``0.05/(k (k + 1))`` of error; the shares add up to 0.05 however long one goes on
(Boole's inequality: the chance that any look misses is at most the sum of the chances), and all
intervals of a sitting hold together with 95 %. Derived here. It follows that

- belts that are equal are called ``unmatched`` in at most 5 % of sittings (2.5 % a side);
- belts twice the tolerance apart are called ``matched`` in at most 1 %: the interval's half width
  is then below the tolerance and the difference found inside it by as much, so it must be wrong by
  twice the half width, on one side (10 % apart at a tolerance of 5 %: 1.95 times, as ``ln 1.10`` is
  a little less than twice ``ln 1.05``). That leaves little more than a quarter of a tail of
  Student's t with two degrees of freedom, less with more: 2.5 %/4.

Two degrees of freedom are three plucks: before each belt has three, a guided pair stays ``not yet
known``, because a scatter that is borrowed and not the belt's own bounds nothing.

**Strands and preloads.** The windows judge preload. Where both strands of a belt were read, or one
strand after arriving from each side, preloads are compared. Where each belt was read once, on the
same kind of strand, the verdict is on those strands, and says so; what that leaves open of the
preloads (some newtons, and not common to the belts: each motor rests in its own detent) is a
second interval beside it.

Conventions: fractions, not percent; ``l > 0`` where the first belt is the tighter.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from beltpitch.advice.limits import safe_limit
from beltpitch.advice.window import Window
from beltpitch.belts.parks import STRAND_LINE
from beltpitch.belts.span import TAPE
from beltpitch.errors import RequestError
from beltpitch.reading import Reading
from beltpitch.uncertainty import DOF_AS_NORMAL, Estimate, Part, combine, student_quantile
from beltpitch.units import FORCE, in_unit

Word = Literal["matched", "unmatched", "not yet known"]
Basis = Literal["preload", "strand", "frequency"]
Way = Literal["tighten", "let off"]

TOLERANCE = 0.05  # of tension; common practice, no source
MISSED = 0.05  # share of sittings in which some interval may miss
LEAST_PLUCKS = 3  # of each belt before a look at a guided pair may answer
WIDEST_TOLERANCE = 0.5
# Scale error of a tape, common to all that is read from it: class II tapes are allowed 0.3 mm plus
# 0.2 mm a metre (OIML R 35, from memory); the constant counts as reading.
TAPE_SCALE = 0.2e-3 / math.sqrt(3)
FARTHEST = 2.0  # ln of a ratio; a bar is drawn no farther than sevenfold
CANCELLED = 0.05  # of a line that is left where it counts as cancelled
WORTH_NAMING = 1e-4  # relative; smaller lines are not worth a word
# Lines that come with the sound: what is left where equal spans compare by frequency alone.
HEARD_LINES = ("plucks", "clock", "typed frequency", "amplitude", "last contact")


def share_of_look(look: int) -> float:
    """Return the share of error that look number 1, 2, 3, ... of one setting may use.

    ``0.05/(k (k + 1))``, which adds up to 0.05.

    Raises
    ------
    ValueError
        If there is no such look.
    """
    if look < 1:
        raise ValueError(f"look {look}: looks count from 1")
    return MISSED / (look * (look + 1))


def tighter_by(log_ratio: float) -> float:
    """Return by how much the tighter belt is above the slacker one, signed as ``ln(a/b)`` is.

    The one ratio of a pair, ``tighter/slacker - 1``: 0.05 where the first is 5 % tighter than the
    second, -0.05 where the second is 5 % tighter than the first.
    """
    return math.copysign(math.expm1(abs(log_ratio)), log_ratio)


def mean_difference(log_ratio: float) -> float:
    """Return ``2 (a - b)/(a + b)``, which the JSON keys of schema 1 hold, from ``ln(a/b)``."""
    return 2 * math.tanh(log_ratio / 2)


@dataclass(frozen=True, slots=True)
class ScrewTurn:
    """Which belt to change, which way, and how far there is to go.

    Parameters
    ----------
    belt
        0 for the first belt, 1 for the second.
    name
        Its name.
    other
        The name of the belt that stays.
    way
        ``tighten`` or ``let off``.
    share
        How far, as a fraction of its tension now: to tighten, `tighter_by` itself.
    force_n
        The same in newtons; None where only frequencies are known.
    aim_hz
        What it should sound at then.
    """

    belt: int
    name: str
    other: str
    way: Way
    share: float
    force_n: float | None
    aim_hz: float

    def words(self, unit: str = "N") -> str:
        """Return it as an order; forces in that unit."""
        by = "" if self.force_n is None else f"{in_unit(abs(self.force_n), unit, FORCE):.1f} {unit}"
        until = f"until it sounds at {self.aim_hz:.2f} Hz"
        if self.way == "tighten":
            how_far = f"{by} ({self.share:.1%})" if by else f"{self.share:.1%}"
            return f"tighten {self.name} by {how_far}, {until}"
        above = f"it is {-self.share / (1 + self.share):.1%} above {self.other}"
        return f"loosen {self.name}{f' by {by}' if by else ''}, {until} ({above})"

    def __str__(self) -> str:
        """Return it as an order in newtons."""
        return self.words()


@dataclass(frozen=True, slots=True)
class PluckAgain:
    """Which belt to pluck again, and how often, before more can be said.

    Parameters
    ----------
    belt
        0 for the first belt, 1 for the second.
    name
        Its name.
    plucks
        How many.
    why
        Why, in words; "" where the plucks are simply too few.
    """

    belt: int
    name: str
    plucks: int
    why: str = ""

    def __str__(self) -> str:
        """Return it as an order."""
        times = {1: "once", 2: "twice"}.get(self.plucks, f"{self.plucks} times")
        return f"pluck {self.name} {times} more{f': {self.why}' if self.why else ''}"


@dataclass(frozen=True, slots=True)
class Reached:
    """One thing that was reached in a live comparison: a verdict, or that a belt was turned.

    Parameters
    ----------
    event
        The word of the verdict, or ``turned``.
    belt
        The tighter belt, or the one that was turned; None where neither is known.
    by
        By how much the belts were apart, see `tighter_by`, never negative; None for a turn.
    """

    event: Word | Literal["turned"]
    belt: str | None = None
    by: float | None = None

    def __str__(self) -> str:
        """Return it in a few words."""
        if self.event == "turned":
            return f"{self.belt} turned"
        if self.event == "unmatched" and self.by is not None:
            return f"unmatched, {self.belt} {self.by:.1%} tighter"
        return self.event


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two belts, compared.

    Parameters
    ----------
    word
        ``matched``, ``unmatched`` or ``not yet known``.
    names
        Of the two belts.
    within
        Tolerance: by how much the tighter one may be above the slacker one, a fraction.
    basis
        What was compared: preloads, the plucked strands, or frequencies.
    apart
        ``ln(a/b)``, positive where the first is tighter; None where one was not read.
    interval
        Its interval: holds with 95 % together with those of all earlier looks.
    look
        Number of the look; None where there is only one.
    values_n
        What was compared, in newtons; None where only frequencies are known.
    turn
        Which belt to change; None unless the belts are unmatched.
    again
        Which belt to pluck again; None unless it is not yet known and plucks would tell.
    cancelled
        Lines of the belts' budgets that the comparison loses, with what each would have cost.
    preloads
        ``ln`` of the ratio of the preloads, where strands were compared.
    hint
        Where more plucks will not tell: what would.
    notes
        What the answer rests on, in words.
    reached
        Of a live pair: every verdict that was reached and every turn, in order.
    """

    word: Word
    names: tuple[str, str]
    within: float
    basis: Basis
    apart: Estimate | None = None
    interval: tuple[float, float] | None = None
    look: int | None = None
    values_n: tuple[float, float] | None = None
    turn: ScrewTurn | None = None
    again: PluckAgain | None = None
    cancelled: tuple[tuple[str, float], ...] = ()
    preloads: Estimate | None = None
    hint: str | None = None
    notes: tuple[str, ...] = ()
    reached: tuple[Reached, ...] = ()

    @property
    def tighter(self) -> int:
        """The tighter belt: 0 for the first, also where they are equal, 1 for the second."""
        return 1 if self.apart is not None and self.apart.value < 0 else 0

    @property
    def zone_n(self) -> tuple[float, float] | None:
        """Where the second belt may lie on the first's axis, in newtons."""
        edge = math.log1p(self.within)
        return self._second_at(-edge, edge)

    @property
    def bar_n(self) -> tuple[float, float] | None:
        """Interval of the second belt against the first, in newtons."""
        return None if self.interval is None else self._second_at(*self.interval)

    def _second_at(self, low: float, high: float) -> tuple[float, float] | None:
        """Return the second's newtons where ``ln(a/b)`` is `low` to `high`, the first's fixed."""
        if self.values_n is None:
            return None
        first = self.values_n[0]
        return first * math.exp(-min(high, FARTHEST)), first * math.exp(-max(low, -FARTHEST))

    @property
    def preloads_within(self) -> bool | None:
        """Whether the preloads too are within the tolerance; None where it was not asked."""
        if self.preloads is None:
            return None
        return word_of(self.preloads.interval(1 - MISSED), self.within) == "matched"

    @property
    def open_preloads(self) -> str:
        """What a match of strands leaves open of the preloads, in words; "" where nothing."""
        if self.word != "matched" or self.preloads is None or self.preloads_within:
            return ""
        most = max(abs(end) for end in self.preloads.interval(1 - MISSED))
        return f"the preloads may still differ by up to {tighter_by(most):.0%}"

    @property
    def closing(self) -> str:
        """The sentence that closes a pair that is found equal."""
        left = self.open_preloads
        return f"The plucked strands match; {left}." if left else "The two belts match."

    def __str__(self) -> str:
        """Return the answer as a sentence."""
        if self.apart is None or self.interval is None:
            return f"{self.word}: {self.notes[0]}"
        low, high = _from_the_tighter(self, self.interval) or (0.0, 0.0)
        left = self.open_preloads
        return (
            f"{self.word}: {self.names[self.tighter]} is {abs(tighter_by(self.apart.value)):.1%} "
            f"tighter than {self.names[1 - self.tighter]} "
            f"(95 %: {low:+.1%} to {high:+.1%}; tolerance {self.within * 100:.3g} %)"
            f"{f'; {left}' if left else ''}"
        )


def compare(
    a: Reading,
    b: Reading,
    *,
    names: tuple[str, str] = ("first", "second"),
    within: float = TOLERANCE,
    same_span: bool | None = None,
    one_roll: bool = True,
    look: int | None = None,
    fewest: int | None = None,
    turning: int | None = None,
    window: Window | None = None,
) -> Comparison:
    """Compare two belts.

    Parameters
    ----------
    a, b
        Their readings.
    names
        What to call them.
    within
        Tolerance, a fraction of tension.
    same_span
        One span was given for both; by default, if the two are one and the same record.
    one_roll
        Belts of the same name come from one roll.
    look
        Number of this look where one looks after every pluck; None for a single look.
    fewest
        Fewest plucks that any strand of either belt has; by default, those of the two readings.
    turning
        The belt whose tensioner is being turned; by default the better one to change is named.
    window
        Where the preloads should lie.

    Raises
    ------
    RequestError
        If the tolerance is no fraction between 0 and one half.
    """
    if not 0 < within <= WIDEST_TOLERANCE:
        raise RequestError(
            f"--within {within:.3%} is no tolerance for a pair: give more than 0 and at most "
            f"{WIDEST_TOLERANCE:.0%}, as in 5%"
        )
    blank = Comparison("not yet known", names, within, "frequency", look=look)
    unread = _unread(blank, (a, b))
    if unread is not None:
        return unread
    if same_span is None:
        same_span = a.span == b.span
    if fewest is None:
        fewest = min(sum(p.used for p in r.plucks) for r in (a, b))
    pair = _Pair(a, b, names, same_span=same_span, one_roll=one_roll, fewest=fewest)
    return _judged(pair, blank, turning, window)


def _unread(blank: Comparison, both: tuple[Reading, Reading]) -> Comparison | None:
    """Return what to say where a belt has no tone, or one that it cannot have; None else."""
    every = list(zip(blank.names, both, strict=True))
    silent = [name for name, reading in every if reading.frequency is None]
    if silent:
        return replace(blank, notes=(f"no frequency yet of {' and '.join(silent)}",))
    refused = [f"{name}: {reading.refusal}" for name, reading in every if reading.refusal]
    return replace(blank, notes=tuple(refused)) if refused else None


@dataclass(frozen=True, slots=True)
class _Pair:
    a: Reading
    b: Reading
    names: tuple[str, str]
    same_span: bool
    one_roll: bool
    fewest: int

    @property
    def both(self) -> tuple[Reading, Reading]:
        return self.a, self.b

    @property
    def basis(self) -> Basis:
        if any(r.tension is None or r.preload is None for r in self.both):
            return "frequency"
        measured = [r.strand_difference is not None for r in self.both]
        if not any(measured) and self.a.strand == self.b.strand:
            return "strand"
        return "preload"

    @property
    def by_frequency(self) -> bool:
        """Whether span, mass and ends are the same for both, so that only the tones differ."""
        travelled = any(p.name == "travel" for r in self.both for p in _parts(r.tension))
        return (
            self.basis == "strand"
            and self.same_span
            and self.one_roll
            and not travelled
            and _held(self.a) == _held(self.b)
        )


def _held(reading: Reading) -> tuple[str, tuple[str, ...]]:
    belt, span = reading.belt, reading.span
    return belt.name if belt else "", span.ends if span else ()


def _parts(estimate: Estimate | None) -> tuple[Part, ...]:
    return () if estimate is None else estimate.parts


# --- the difference -----------------------------------------------------------------------------


def _judged(
    pair: _Pair, blank: Comparison, turning: int | None, window: Window | None
) -> Comparison:
    basis = pair.basis
    if basis == "frequency":
        (x, y), values = _by_law(pair), None
    elif pair.by_frequency:
        (x, y), values = _by_tone(pair), _newtons(pair)
    else:
        (x, y), values = _by_tension(pair), _newtons(pair)
    apart = _log_ratio(x, y)
    if values is not None and pair.by_frequency:
        # what the eye compares must stand as far apart as the tones say
        middle, half_ratio = math.sqrt(values[0] * values[1]), math.exp(apart.value / 2)
        values = middle * half_ratio, middle / half_ratio
    half = _quantile(blank.look, apart.dof) * apart.u
    interval = apart.value - half, apart.value + half
    few = blank.look is not None and pair.fewest < LEAST_PLUCKS
    word: Word = "not yet known" if few else word_of(interval, blank.within)
    hint = _hint(apart, pair.fewest, blank.within) if word == "not yet known" else None
    found = replace(
        blank,
        word=word,
        basis=basis,
        apart=apart,
        interval=interval,
        values_n=values,
        cancelled=_cancelled(pair, apart) if basis != "frequency" else (),
        preloads=_preloads(pair, apart) if basis == "strand" else None,
        hint=hint,
        notes=_notes(pair, few=few),
    )
    if word == "unmatched":
        return replace(found, turn=_turn(pair, found, turning, window))
    if word == "not yet known" and hint is None:
        return replace(found, again=_again(pair, found))
    return found


def _quantile(look: int | None, dof: float) -> float:
    """Return Student's t for a look; degrees of freedom are truncated (GUM G.4.1)."""
    missed = MISSED if look is None else share_of_look(look)
    return _cached_quantile(missed, math.floor(min(dof, DOF_AS_NORMAL + 1)))


@lru_cache(maxsize=4096)
def _cached_quantile(missed: float, dof: int) -> float:
    return student_quantile(1 - missed / 2, max(1, dof))


def word_of(interval: tuple[float, float], within: float) -> Word:
    """Return the word for an interval of ``ln(a/b)`` and a tolerance, see `tighter_by`."""
    low, high = (tighter_by(end) for end in interval)
    if -within < low and high < within:
        return "matched"
    if low > within or high < -within:
        return "unmatched"
    return "not yet known"


def _log_ratio(x: Estimate, y: Estimate) -> Estimate:
    """Return ``ln(x/y)``: its slopes are ``1/x`` and ``-1/y``."""
    return combine(math.log(x.value / y.value), [(1 / x.value, x), (-1 / y.value, y)])


def _newtons(pair: _Pair) -> tuple[float, float]:
    x, y = _compared(pair)
    return x.value, y.value


def _compared(pair: _Pair) -> tuple[Estimate, Estimate]:
    a, b = ((r.tension if pair.basis == "strand" else r.preload) for r in pair.both)
    assert a is not None
    assert b is not None
    return a, b


def _by_tension(pair: _Pair) -> tuple[Estimate, Estimate]:
    """Return the two tensions, each error under the key of whose it is."""
    x, y = _compared(pair)
    return _owned(pair, 0, x), _owned(pair, 1, y)


def _by_tone(pair: _Pair) -> tuple[Estimate, Estimate]:
    """Return squared frequencies with the lines of the tension that come with the sound.

    With all else the same, tension goes with the square of the frequency; what bending stiffness
    adds to the exponent is some percent of a difference that is itself small.
    """
    found = []
    for i, reading in enumerate(pair.both):
        assert reading.frequency is not None
        assert reading.tension is not None
        square = reading.frequency.value**2
        per_n = square / reading.tension.value
        parts = [p for p in reading.tension.parts if p.name in HEARD_LINES]
        scaled = tuple(replace(p, u=p.u * per_n) for p in parts)
        found.append(_owned(pair, i, Estimate(square, scaled)))
    return found[0], found[1]


def _by_law(pair: _Pair) -> tuple[Estimate, Estimate]:
    """Return ``(L f)^2`` of each, or the squares of the frequencies where a span is missing."""
    spans = [r.span for r in pair.both]
    measured = not pair.same_span and all(s is not None for s in spans)
    found = []
    for i, (reading, span) in enumerate(zip(pair.both, spans, strict=True)):
        f = reading.frequency
        assert f is not None
        length = span.length if measured and span is not None else Estimate(1.0)
        value = (length.value * f.value) ** 2
        terms = [(2 * value / f.value, f), (2 * value / length.value, length)]
        found.append(_owned(pair, i, combine(value, terms)))
    return found[0], found[1]


def _owned(pair: _Pair, index: int, estimate: Estimate) -> Estimate:
    """Return the estimate with what is this belt's alone under keys of its own."""
    parts = (_own(pair, index, p, estimate.value) for p in estimate.parts)
    return Estimate(estimate.value, tuple(p for some in parts for p in some))


def _own(pair: _Pair, index: int, part: Part, value: float) -> Iterable[Part]:
    own = f"{part.key}/{'ab'[index]}"
    room = part.key.partition(":")[0]
    if part.key == TAPE and not pair.same_span:
        # a length enters squared, so a scale error counts twice
        scale = math.copysign(min(abs(part.u), 2 * TAPE_SCALE * abs(value)), part.u)
        reading = math.copysign(math.sqrt(part.u**2 - scale**2), part.u)
        return replace(part, u=scale), replace(part, key=own, u=reading)
    is_own = room in ("pluck", "strand", "contact") or (room == "roll" and not pair.one_roll)
    return (replace(part, key=own) if is_own else part,)


def _preloads(pair: _Pair, apart: Estimate) -> Estimate:
    """Return the difference of the preloads: that of the strands, less certain."""
    parts = list(apart.parts)
    for i, reading in enumerate(pair.both):
        assert reading.preload is not None
        strand = [p for p in reading.preload.parts if p.name == STRAND_LINE]
        for part in strand:
            u = part.u / reading.preload.value * (1, -1)[i]
            parts.append(replace(part, key=f"{part.key}/{'ab'[i]}", u=u))
    return Estimate(apart.value, tuple(parts))


def _cancelled(pair: _Pair, apart: Estimate) -> tuple[tuple[str, float], ...]:
    """Return lines of either belt that the comparison loses, with their relative size."""
    left = {line.name: line.u for line in apart.budget()}
    found: dict[str, float] = {}
    for estimate in _compared(pair):
        for line in estimate.budget():
            size = line.u / estimate.value
            if size > WORTH_NAMING and left.get(line.name, 0.0) < CANCELLED * size:
                found[line.name] = max(size, found.get(line.name, 0.0))
    return tuple(sorted(found.items(), key=lambda item: -item[1]))


# --- words --------------------------------------------------------------------------------------

_COMPARED = {
    "preload": "preloads are compared",
    "strand": (
        "the plucked strands are compared: the preload of each belt may stand some newtons off "
        "its strand; read the other strand too, or arrive from the other side, to compare preloads"
    ),
    "frequency": "only the tones are compared: like belts are taken for granted",
}


def _notes(pair: _Pair, *, few: bool) -> tuple[str, ...]:
    found = []
    if few:
        found.append(f"{LEAST_PLUCKS} plucks of each belt are the least that can answer")
    found.append(_COMPARED[pair.basis])
    if pair.same_span:
        found.append(_equal_spans(pair))
    if pair.basis != "frequency" and pair.one_roll and _held(pair.a)[0] == _held(pair.b)[0]:
        found.append("both belts taken as from one roll, whose linear mass is common to both")
    return tuple(found)


_WAYS_ON = {
    "last contact": "read both belts over longer strands: the last tooth matters less there",
    "span": "measure both spans again, to 0.2 mm",
    "linear mass": "weigh a piece of each belt (beltpitch weigh)",
    "strand difference": "read the other strands too, or arrive from each side (--sides)",
    "typed frequency": "type the frequencies to a tenth of a hertz, or let beltpitch hear them",
    "amplitude": "pluck more gently",
    "ends": "read both belts between ends of the same kind",
}
ENOUGH = 5  # plucks of each belt
ONCE_MORE = 2  # plucks to ask for where there are enough and they scatter
NEAR_TOLERANCE = 2.0  # standard uncertainties


def _hint(apart: Estimate, fewest: int, within: float) -> str | None:
    """Return what would tell where more plucks will not."""
    if fewest < ENOUGH:
        return None
    if abs(abs(apart.value) - within) < NEAR_TOLERANCE * apart.u < within / 2:
        return (
            "the difference is about the tolerance itself: more plucks will hardly tell; "
            "treat the belts as unmatched if it matters"
        )
    largest = apart.budget()[0].name
    if largest not in _WAYS_ON:
        return None
    return f"more plucks will not tell, the doubt is mostly {largest}: {_WAYS_ON[largest]}"


def _equal_spans(pair: _Pair) -> str:
    span = pair.a.span
    if span is None:
        return "equal spans taken for granted: compared by frequency alone"
    mm = f"1 mm between them would be {2e-3 / span.length_m:.2%} of tension"
    if pair.basis == "preload":
        return f"equal spans: the span cancels; {mm}"
    return f"equal spans: compared by frequency alone; {mm}"


def _again(pair: _Pair, match: Comparison) -> PluckAgain:
    """Return which belt to pluck again and how often: the one that its plucks leave less known."""
    counts = [sum(p.used for p in r.plucks) for r in pair.both]
    few = min(counts)
    if few < ENOUGH:
        index = counts.index(few)
        return PluckAgain(
            index, match.names[index], (LEAST_PLUCKS if few < LEAST_PLUCKS else ENOUGH) - few
        )
    index = max((0, 1), key=lambda i: plucks_leave(pair.both[i]))
    return PluckAgain(index, match.names[index], ONCE_MORE)


def plucks_leave(reading: Reading) -> float:
    """Return the relative standard uncertainty that the plucks leave in the frequency."""
    f = reading.frequency
    if f is None:
        return math.inf
    return max((line.u for line in f.budget() if line.name == "plucks"), default=0.0) / f.value


def _turn(pair: _Pair, match: Comparison, turning: int | None, window: Window | None) -> ScrewTurn:
    """Return which belt to change so that both are equal."""
    assert match.apart is not None
    index = _belt_to_change(match, window) if turning is None else turning
    if _too_tight_to_follow(pair, match, window):
        index = match.tighter
    factor = math.exp(match.apart.value if index else -match.apart.value)
    reading = pair.both[index]
    assert reading.frequency is not None
    # with spans of unlike length each belt still keeps to its own tone
    return ScrewTurn(
        belt=index,
        name=match.names[index],
        other=match.names[1 - index],
        way="tighten" if factor > 1 else "let off",
        share=factor - 1,
        force_n=None if match.values_n is None else (factor - 1) * match.values_n[index],
        aim_hz=reading.frequency.value * math.sqrt(factor),
    )


def _too_tight_to_follow(pair: _Pair, match: Comparison, window: Window | None) -> bool:
    """Whether the tighter belt is past what no advice leads past, so that it must be loosened."""
    belt = pair.both[match.tighter].belt
    safe = window.safe if window is not None else None
    if safe is None and belt is not None:
        safe = safe_limit(belt)
    return safe is not None and match.values_n is not None and max(match.values_n) > safe.newtons


def _belt_to_change(match: Comparison, window: Window | None) -> int:
    """Return the belt to change: by target or window where there is one, else the slacker."""
    assert match.apart is not None
    slacker = 1 - match.tighter
    if window is None or match.values_n is None:
        return slacker
    values = match.values_n
    if window.target_n is not None:
        target = window.target_n
        off: Callable[[int], float] = lambda i: abs(values[i] - target)  # noqa: E731
        return max((slacker, 1 - slacker), key=off)
    if window.high_n is not None and max(values) > window.high_n:
        return 1 - slacker
    return slacker


# --- the JSON contract --------------------------------------------------------------------------


def as_json(match: Comparison) -> dict[str, object]:
    """Return the record as JSON has it: every key, null where unknown; percentages as fractions."""
    apart, turn = match.apart, match.turn
    return {
        "word": match.word,
        "names": list(match.names),
        "within": match.within,
        "basis": match.basis,
        "difference": mean_difference(apart.value) if apart else None,
        "difference_u": apart.u if apart else None,
        "interval": [mean_difference(end) for end in match.interval] if match.interval else None,
        "tighter": match.names[match.tighter] if apart else None,
        "tighter_by": abs(tighter_by(apart.value)) if apart else None,
        "tighter_by_interval": _from_the_tighter(match, match.interval),
        "coverage": 1 - MISSED if apart else None,
        "look": match.look,
        "compared_n": list(match.values_n) if match.values_n else None,
        "turn": None
        if turn is None
        else {
            "belt": turn.name,
            "way": turn.way,
            "share": turn.share,
            "force_n": turn.force_n,
            "aim_hz": turn.aim_hz,
        },
        "pluck_again": None
        if match.again is None
        else {"belt": match.again.name, "plucks": match.again.plucks, "why": match.again.why},
        "budget": [
            {"input": line.name, "u": line.u, "share": line.share}
            for line in (apart.budget() if apart else ())
        ],
        "cancelled": [{"input": name, "u": u} for name, u in match.cancelled],
        "hint": match.hint,
        "preload_difference_u": match.preloads.u if match.preloads else None,
        "preload_interval": [mean_difference(n) for n in match.preloads.interval(1 - MISSED)]
        if match.preloads
        else None,
        "preloads_within": match.preloads_within,
        "notes": list(match.notes),
        "reached": [{"event": r.event, "belt": r.belt, "tighter_by": r.by} for r in match.reached],
    }


def _from_the_tighter(
    match: Comparison, interval: tuple[float, float] | None
) -> list[float] | None:
    """Return the interval of the ratio, positive where the belt that was found tighter is."""
    if interval is None:
        return None
    ends = [tighter_by(end) for end in interval]
    return [-end for end in reversed(ends)] if match.tighter else ends
