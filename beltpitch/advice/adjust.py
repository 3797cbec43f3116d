"""Which way and how far to turn a tensioner, step by step from below.

The first step is sized by the catalogue's EA and kept so short that a belt twice as stiff does not
pass the target; each later step uses what the turns before really did (`rate`). The way is always
from below, because a screw that is let off loses its grip and a belt that was pulled too far has
been damaged; a belt that is too tight is first let off below the target. No step may, at the
stiffest that is still believed, pass the belt's safe limit (`limits.safe_limit`), nor the allowable
strand tension less three times the reading's own standard uncertainty.

Conventions: newtons of preload as indicated: linear mass and span errors are common to reading and
target and cancel between them, but not against the allowable. Positive turns tighten.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from beltpitch.advice.limits import Limits, SafeLimit
from beltpitch.advice.safety import turning
from beltpitch.advice.screw_rate import (
    RATE_SPREAD,
    STIFFENING,
    UNKNOWN_SPREAD,
    Posterior,
    learn,
    scatter,
)
from beltpitch.advice.tensioner import DEGREES, FLATS, Tensioner, spelled
from beltpitch.advice.window import Window, Word, judge, past, target_window
from beltpitch.errors import RequestError, check_positive
from beltpitch.uncertainty import Estimate, Part, combine

Action = Literal["tighten", "loosen", "leave", "take up slack", "stop"]

NEAR_BELOW = 0.6  # of the tolerance: the rest is kept for scatter, a little more is easily turned
CAREFUL_TOP = 0.8  # of the tolerance: what a careful step may pass only by mischance
# Probability that the first, second step may pass the upper tolerance; from the third on the
# screw is known and the middle of what is believed is aimed at.
PASS_TARGET = (0.05, 0.03)
PASS_KEEP = 0.025  # probability that a let-off falls below what is to be kept
PASS_ALLOWABLE = 0.001  # probability that a step may pass what is sure to lie below the allowable
PASS_LIMIT = 0.01  # probability that a step may pass the safe limit; a judgement
SURE = 3.0  # standard uncertainties kept between the indicated tension and the allowable
STRANDS = "strand difference"  # budget line of what friction and detent hold back
LET_OFF = 0.85  # of the target, with a screw not known yet: from here one comes up again
LET_OFF_KNOWN = 0.5  # of the tolerance below the target, once turns have shown what they do
KEEP = 0.5  # of the target: no let-off is meant to go below
TRIAL_STRAIN = 5e-4  # first turn without any EA: an eighth of the 0.4 % at a steel belt's allowable
NOTHING = 0.2  # of the expected change: less than this is a turn that did nothing
TELLING = 3.0  # standard uncertainties that half the expected change must exceed to tell
MOST_IDLE, MORE_THAN_PLAY = 2, 0.5  # turns in a row without effect, and what they add up to
LEAST_TURN = 1 / 72  # five degrees: no hand turns less
FAR_M = 0.02  # a tensioner's way in one step that should make one look at the inputs again
OFF_CATALOGUE = 2.0  # standard uncertainties beyond which a found EA is worth a word
SETTLE = "Move the axis to and fro three times, let go, and pluck again."


@dataclass(frozen=True, slots=True)
class Setup:
    """The belt and the screw that tightens it.

    Parameters
    ----------
    tensioner
        How it pulls.
    loop_m
        Belt under tension: clamp to clamp, or once round the loop.
    ea
        Axial stiffness with its uncertainty; None if unknown: the first turn is then a trial.
    allowable_n
        Allowable strand tension; None if unknown.
    limit
        What no step leads past, as indicated; None if unknown.
    known_rate
        Newtons per turn found earlier on this machine; it then replaces the catalogue.
    """

    tensioner: Tensioner
    loop_m: float
    ea: Estimate | None = None
    allowable_n: float | None = None
    known_rate: Estimate | None = None
    limit: SafeLimit | None = None

    def __post_init__(self) -> None:
        check_positive(self.loop_m, "the length of the belt loop", "m")
        check_positive(self.allowable_n, "the allowable strand tension", "N")
        check_positive(None if self.ea is None else self.ea.value, "the belt's stiffness EA", "N")
        rate = self.known_rate
        check_positive(None if rate is None else rate.value, "the rate of the screw", "N/turn")

    def prior(self) -> tuple[float, float] | None:
        """Return (N per turn, spread of its logarithm) before any turn; None if unknown."""
        if self.known_rate is not None:
            return self.known_rate.value, max(STIFFENING, self.known_rate.u / self.known_rate.value)
        if self.ea is None:
            return None
        rate = self.tensioner.newtons_per_turn(self.loop_m, self.ea.value)
        return rate, max(RATE_SPREAD, self.ea.u / self.ea.value)


@dataclass(frozen=True, slots=True)
class AdjustStep:
    """What to do next with the screw.

    Parameters
    ----------
    action
        tighten, loosen, leave, take up slack, stop.
    turns
        Positive tightens; 0 where nothing is to be turned.
    says
        The step in words.
    expected_n
        Tension expected after it: 5 %, 50 % and 95 % quantiles; None without a turn or a rate.
    rate
        Newtons per turn as believed now; None if nothing is known yet.
    ea
        Axial stiffness found by the turns so far; None before the first.
    notes
        What the turns before have shown.
    cautions
        To be read before turning.
    window
        The window of the target, as every command has it.
    word
        How the last reading stands to it; None without a reading.
    """

    action: Action
    turns: float
    says: str
    expected_n: tuple[float, float, float] | None
    rate: Estimate | None
    ea: Estimate | None
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    window: Window
    word: Word | None = None

    @property
    def flats(self) -> float:
        """The turn in flats of a hex screw."""
        return self.turns * FLATS

    @property
    def degrees(self) -> float:
        """The turn in degrees."""
        return self.turns * DEGREES


def next_step(
    setup: Setup,
    target_n: float,
    readings: Sequence[Estimate],
    turned: Sequence[float] = (),
    *,
    within: float,
    default_tolerance: bool = False,
    vertical: bool | None = None,
    pair: bool = False,
) -> AdjustStep:
    """Return the next turn of the screw, or why not to turn it.

    Parameters
    ----------
    setup
        Belt and tensioner.
    target_n
        Wanted preload.
    readings
        Preload before the first turn and after each turn; none if the belt hangs too slack to
        sound.
    turned
        Turns made between them, positive tightening.
    within, default_tolerance
        Tolerance about the target, as a fraction, and whether nobody gave it.
    vertical, pair
        Whether the axis may drop, and whether the belt is one of a pair: for the cautions.

    Raises
    ------
    RequestError
        If readings and turns do not fit together, or the target is above what the belt may carry
        or too near it to be sure.
    """
    _check(setup, target_n, readings, turned, within)
    limits = Limits(safe=setup.limit)
    window = target_window(target_n, within, limits, default_tolerance=default_tolerance)
    cautions = turning(vertical=vertical, pair=pair)
    if not readings:
        return AdjustStep("take up slack", 0.0, _SLACK, None, None, None, (), cautions, window)
    window = window.resolved(readings[-1])
    word = judge(readings[-1], window).word
    stuck = _stuck(setup, readings, turned)
    belief = _belief(setup, readings, turned)
    rate = None if belief is None else belief.rate
    ea = _ea_found(setup, rate, readings) if turned and not stuck else None
    notes = (stuck,) if stuck else _found_notes(setup, rate, ea)
    if stuck and _hopeless(setup, readings, turned):
        return AdjustStep("stop", 0.0, _STOP, None, rate, None, notes, cautions, window, word)
    action, turns, says = _decide(setup, belief, window, within, readings)
    expected = _expected(belief, readings[-1].value, turns)
    notes = (*notes, *_far(setup, turns))
    return AdjustStep(action, turns, says, expected, rate, ea, notes, cautions, window, word)


def _far(setup: Setup, turns: float) -> tuple[str, ...]:
    way = abs(turns) * setup.tensioner.lead_m
    if way <= FAR_M:
        return ()
    return (
        f"That moves the tensioner by {way * 1e3:.0f} mm: check that loop, thread and kind of "
        "tensioner are as they were said, and that it has so much way.",
    )


_SLACK = (
    "The belt is too slack to sound. Turn the screw until it just gives a tone when plucked, no "
    f"further. {SETTLE}"
)
_STOP = (
    "Do not turn on: the turns do nothing, or the wrong thing. Look for a clamp that slips, a "
    "screw at its stop or turning without its nut, a belt that creeps through its clamp, teeth "
    "that are not seated."
)
_NOTHING = (
    "The last turn did next to nothing: slack is still being taken up, or a clamp slips, the screw "
    "is at its stop, the belt creeps, or teeth are not seated."
)
_BACKWARDS = (
    "The tension went the other way: the screw was turned the wrong way, or the belt slips in its "
    "clamp."
)


def _check(
    setup: Setup,
    target_n: float,
    readings: Sequence[Estimate],
    turned: Sequence[float],
    within: float,
) -> None:
    check_positive(target_n, "the target", "N")
    if not 0 < within < 1:
        raise RequestError(
            f'a tolerance of {within:.0%} leaves no range; give one such as --within "5%"'
        )
    if len(turned) != max(0, len(readings) - 1):
        raise RequestError(
            f"{len(readings)} readings with {len(turned)} turns between them do not fit: give one "
            "reading before the first turn and one after each"
        )
    if any(not math.isfinite(t) or t == 0 for t in turned):
        raise RequestError(
            "a turn of zero between two readings says nothing; leave out the reading it belongs to"
        )
    if any(r.value <= 0 for r in readings):
        raise RequestError("a tension of zero or less is no reading; pluck again")
    _check_allowable(setup, target_n, readings)


def _check_allowable(setup: Setup, target_n: float, readings: Sequence[Estimate]) -> None:
    limit, allowable = setup.limit, setup.allowable_n
    if limit is not None and target_n > limit.newtons:
        raise RequestError(_past_limit(limit, target_n, readings))
    if allowable is None:
        return
    if target_n >= allowable:
        raise RequestError(
            f"a target of {target_n:.4g} N is not below the allowable strand tension of "
            f"{allowable:.4g} N; choose a lower target, or a wider or stronger belt"
        )
    top = ceiling(setup, readings)
    if top is not None and target_n > top:
        share, force = _doubts(readings)
        doubt = f"{share:.1%}" + (f" and {force:.2g} N" if force else "")
        raise RequestError(
            f"a target of {target_n:.4g} N is too near the allowable strand tension of "
            f"{allowable:.4g} N: readings have a standard uncertainty of {doubt}, so at most "
            f"{max(0.0, top):.4g} N is safe; weigh the belt to know it better, or aim lower"
        )


def _past_limit(limit: SafeLimit, target_n: float, readings: Sequence[Estimate]) -> str:
    """Return why a target is refused; first of all that the belt is past the limit already."""
    now = past(readings[-1], limit) if readings else ""
    first = f"loosen now, {now}; " if now else ""
    more = (
        "choose a lower target, or a wider or stronger belt"
        if limit.published
        else 'choose a lower target, or give what its maker allows: --limit "120 N"'
    )
    return f"{first}{Limits(safe=limit).target_warning(target_n)}; {more}"


def _doubts(readings: Sequence[Estimate]) -> tuple[float, float]:
    """Return the reading's u as a share of it, and the part that is a force whatever its size.

    What the strands' friction and detent hold back does not grow with the tension.
    """
    if not readings:
        return 0.0, 0.0
    now = readings[-1]
    apart = tuple(p for p in now.parts if p.name == STRANDS)
    kept = tuple(p for p in now.parts if p.name != STRANDS)
    return Estimate(now.value, kept).u / now.value, Estimate(now.value, apart).u


def ceiling(setup: Setup, readings: Sequence[Estimate]) -> float | None:
    """Return the highest tension that may be indicated; None where no limit is known.

    The safe limit, and three standard uncertainties below the allowable:
    ``(F_allow - 3 u_force)/(1 + 3 u_share)``.
    """
    return min((top for top, _ in _tops(setup, readings)), default=None)


def _tops(setup: Setup, readings: Sequence[Estimate]) -> list[tuple[float, float]]:
    """Return each tension that no step leads past, and the probability left of passing it."""
    tops = [] if setup.limit is None else [(setup.limit.newtons, PASS_LIMIT)]
    if setup.allowable_n is not None:
        share, force = _doubts(readings)
        top = (setup.allowable_n - SURE * force) / (1 + SURE * share)
        tops.append((top, PASS_ALLOWABLE))
    return tops


def _belief(
    setup: Setup, readings: Sequence[Estimate], turned: Sequence[float]
) -> Posterior | None:
    prior = setup.prior()
    if prior is not None:
        return learn(readings, turned, *prior)
    if not turned:
        return None
    # no EA at all: the trial turn's own rate is all there is to start from
    rises = [abs((b.value - a.value) / t) for a, b, t in _moves(readings, turned)]
    return learn(readings, turned, max(*rises, 1e-3), UNKNOWN_SPREAD)


def _moves(
    readings: Sequence[Estimate], turned: Sequence[float]
) -> list[tuple[Estimate, Estimate, float]]:
    return list(zip(readings[:-1], readings[1:], turned, strict=True))


def _stuck(setup: Setup, readings: Sequence[Estimate], turned: Sequence[float]) -> str:
    """Return what is wrong with the last turn, by what was believed before it; "" if nothing."""
    belief = _belief(setup, readings[:-1], turned[:-1]) if turned else None
    if belief is None:
        return ""
    expected = belief.rate.value * turned[-1]
    doubt = math.hypot(*scatter(readings)[-2:])
    if abs(expected) / 2 < TELLING * doubt:
        return ""
    rise = readings[-1].value - readings[-2].value
    if rise * expected < 0 and abs(rise) > TELLING * doubt:
        return _BACKWARDS
    return _NOTHING if rise / expected < NOTHING else ""


def _hopeless(setup: Setup, readings: Sequence[Estimate], turned: Sequence[float]) -> bool:
    """Whether the last turn went backwards, or enough turns in a row did nothing."""
    wrong: list[float] = []
    for count in range(len(turned), 0, -1):
        said = _stuck(setup, readings[: count + 1], turned[:count])
        if said == _BACKWARDS and not wrong:
            return True
        if not said:
            break
        wrong.append(abs(turned[count - 1]))
    return len(wrong) > MOST_IDLE or (len(wrong) == MOST_IDLE and sum(wrong) >= MORE_THAN_PLAY)


def _decide(
    setup: Setup,
    belief: Posterior | None,
    window: Window,
    within: float,
    readings: Sequence[Estimate],
) -> tuple[Action, float, str]:
    now, target_n, high = readings[-1].value, window.target_n, window.high_n
    assert target_n is not None  # it is the window of a target
    assert high is not None
    judged = judge(readings[-1], window)
    if judged.word == "within":
        likely = "" if judged.sure else "probably "
        return "leave", 0.0, f"{now:.4g} N is {likely}within the window of the target: leave it."
    if target_n * (1 - NEAR_BELOW * within) <= now <= high:
        return "leave", 0.0, f"{now:.4g} N is on the target of {target_n:.4g} N: leave it."
    if now > target_n:
        below = LET_OFF if len(readings) == 1 else 1 - LET_OFF_KNOWN * within
        action, turns, says = _loosen(setup, belief, target_n, now, below * target_n)
        above = past(readings[-1], setup.limit)
        return action, turns, f"Loosen now: {above}. {says}" if above else says
    turns = _tightening(setup, belief, target_n, within, readings)
    if turns < LEAST_TURN:
        says = "Nearer than a screw can be turned safely: leave it, or measure the belt better."
        return "leave", 0.0, says
    return "tighten", turns, f"Tighten by {spelled(turns)}. {SETTLE}"


def _loosen(
    setup: Setup, belief: Posterior | None, target_n: float, now: float, below_n: float
) -> tuple[Action, float, str]:
    if belief is None:
        turns = -_trial(setup)
    else:
        aim = belief.turns(below_n - now, 0.5)
        floor = belief.turns(KEEP * target_n - now, PASS_KEEP)
        turns = max(aim, floor)
    says = (
        f"Too tight: loosen by {spelled(turns)}, below the target, to come up to it again. {SETTLE}"
    )
    return "loosen", turns, says


def _tightening(
    setup: Setup,
    belief: Posterior | None,
    target_n: float,
    within: float,
    readings: Sequence[Estimate],
) -> float:
    if belief is None:
        return _trial(setup)
    now = readings[-1].value
    # a rate that grows on the way would pass the mark: each bound is shortened for it
    margin = 1 + 2 * STIFFENING
    bounds = [belief.turns(target_n - now, 0.5)]
    made = len(readings) - 1
    if made < len(PASS_TARGET):
        top = target_n * (1 + CAREFUL_TOP * within)
        bounds.append(belief.turns(top - now, PASS_TARGET[made]) / margin)
    for top, share in _tops(setup, readings):
        bounds.append(belief.turns(max(0.0, top - now), share) / margin)
    return max(0.0, min(bounds))


def _trial(setup: Setup) -> float:
    """Return the trial turn for a belt of unknown stiffness: a fixed small strain."""
    return TRIAL_STRAIN * setup.loop_m / setup.tensioner.take_up_m


def _expected(
    belief: Posterior | None, now: float, turns: float
) -> tuple[float, float, float] | None:
    if belief is None or turns == 0:
        return None
    low, middle, high = belief.rise(turns)
    return now + low, now + middle, now + high


def _ea_found(setup: Setup, rate: Estimate | None, readings: Sequence[Estimate]) -> Estimate | None:
    """Return the EA that the measured rate means: EA = L / (g lead / r - g^2 / k_f).

    The rate is as indicated, so the readings' own scale (linear mass, span) is part of its doubt.
    """
    if rate is None:
        return None
    ea = setup.tensioner.ea_from(rate.value, setup.loop_m)
    if ea is None:
        return None
    # dEA/dr = EA^2 g lead / (L r^2)
    slope = ea**2 * setup.tensioner.take_up_m / (setup.loop_m * rate.value**2)
    scale = Part("scale of the readings", "readings", rate.value * _doubts(readings)[0])
    return combine(ea, [(slope, rate.with_part(scale))])


def _found_notes(setup: Setup, rate: Estimate | None, ea: Estimate | None) -> tuple[str, ...]:
    if ea is None or rate is None:
        return ()
    said = [
        f"The turns so far raised {rate.value:.3g} N a turn (+/- {rate.u:.2g} N standard): "
        f"EA {ea.value / 1e3:.3g} kN (+/- {ea.u / 1e3:.2g} kN)."
    ]
    if setup.ea is not None:
        apart = ea.value - setup.ea.value
        if abs(apart) > OFF_CATALOGUE * math.hypot(ea.u, setup.ea.u):
            softer = "softer" if apart < 0 else "stiffer"
            said.append(
                f"That is {ea.value / setup.ea.value:.0%} of the catalogue's EA: {softer} than its "
                "belt, or a frame that gives, or another thread or loop than was said."
            )
    return tuple(said)
