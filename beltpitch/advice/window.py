"""The window: the range of preload that is recommended, and how a preload stands to it.

Three answers stand side by side: by the belt's pitch and width (`recommendation`), by its duty
(`duty`), and by the user's own target. Without a duty the verdict's window is the belt's own. With
one its lower end is the larger of the minimum for tooth engagement and the least preload that keeps
the slack strand taut; its upper end the smallest of working tension, allowable less the pull, shaft
load and the user's own limit.

Words: ``slack`` below the lower end, ``within``, ``tight`` above the upper end, ``over`` above what
the belt may bear. The word is the likeliest; ``cannot tell`` where none is likelier than even, or
nothing is known to compare with.

Conventions: forces in newtons, preload of one strand. An end that nobody can name is None, never
a made-up number. A preload is judged by its whole distribution (scaled, shifted t, as the GUM
gives it), not by its mean.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, get_args

from beltpitch.advice import duty
from beltpitch.advice.bounds import Bound, Range, ReferenceValue, highest, lowest
from beltpitch.advice.duty import openers, slack_limit
from beltpitch.advice.limits import Limits, SafeLimit
from beltpitch.advice.recommendation import BASIS_WORDS, Recommendation
from beltpitch.errors import RequestError, check_positive
from beltpitch.uncertainty import Estimate

if TYPE_CHECKING:
    from beltpitch.advice.duty import Demand

Word = Literal["slack", "within", "tight", "over", "cannot tell"]
WORDS: tuple[Word, ...] = get_args(Word)
TO_TURN: tuple[Word, ...] = ("slack", "tight", "over")  # words that lead to a tensioner
OLD_WORD = "unknown"  # as schema 1 had it for "cannot tell"

OWN_TARGET = "the user's own target"
WITHIN = "10%"  # of a target, where nothing else is said; common practice, no source
WIDEST = 0.99  # a tolerance below the whole target
COVERAGE = 0.95
SURE = 0.90  # share of the preload's distribution from which on a word needs none beside it
EVEN = 0.50  # a word must be likelier than this


@dataclass(frozen=True, slots=True)
class Window:
    """A recommended range of preload.

    Parameters
    ----------
    low_n, high_n
        Ends in newtons; None where no rule names one.
    low_rule, high_rule
        The rule that binds at each end, in words.
    sources
        Where the figures come from.
    target_n
        The tension to aim at, where one is known.
    marks
        Published figures to show on the ruler; they never end the window.
    safe
        The tension that no advice leads past; None if unknown.
    cautions
        What must be said of the target before anything else.
    best_n
        The tension recommended within it; None where none is.
    basis
        What it rests on: "published", "derived", "general rule", "duty", "own target"; "" if
        unknown.
    bears_n
        Above it the belt is overloaded; None if unknown.
    default_tolerance
        Whether nobody gave the tolerance round the target: it is then no narrower than a reading
        can resolve, see `resolved`.
    """

    low_n: float | None
    high_n: float | None
    low_rule: str
    high_rule: str
    sources: tuple[str, ...] = ()
    target_n: float | None = None
    marks: tuple[ReferenceValue, ...] = ()
    safe: SafeLimit | None = None
    cautions: tuple[str, ...] = ()
    best_n: float | None = None
    basis: str = ""
    bears_n: float | None = None
    default_tolerance: bool = False

    def __post_init__(self) -> None:
        if self.low_n is not None and self.high_n is not None and self.low_n >= self.high_n:
            raise ValueError(f"window from {self.low_n} to {self.high_n} N is empty")

    @property
    def basis_words(self) -> str:
        """What it rests on, in words; "" where its rules say so themselves."""
        return BASIS_WORDS.get(self.basis, "")

    def resolved(self, preload: Estimate) -> Window:
        """Return the window with a default tolerance no narrower than this reading can resolve."""
        if not self.default_tolerance or self.target_n is None or not preload.value > 0:
            return self
        low, high = preload.interval(COVERAGE)
        within = min(WIDEST, (high - low) / 2 / preload.value)
        if self.target_n * (1 - within) >= (self.low_n or 0.0):
            return self
        rule = (
            f"own target {self.target_n:.4g} N within {within * 100:.2g} %, what this reading "
            "resolves"
        )
        end = _tolerance_end(self.target_n, within, self.safe, capped=not self.cautions)
        return replace(
            self,
            low_n=self.target_n * (1 - within),
            high_n=end,
            low_rule=rule,
            high_rule=self.safe.words if self.safe and end == self.safe.newtons else rule,
        )


@dataclass(frozen=True, slots=True)
class Judgement:
    """How a preload stands to its window.

    Parameters
    ----------
    word
        The likeliest word.
    share
        Its probability, 0 to 1; 0 for ``cannot tell``.
    """

    word: Word
    share: float

    @property
    def sure(self) -> bool:
        """Whether the word needs no share beside it."""
        return self.share >= SURE

    def __str__(self) -> str:
        """Return the word, with its share in tenths where it is not sure."""
        if self.word == "cannot tell" or self.sure:
            return self.word
        return f"{self.word}, {max(5, int(10 * self.share))} in 10"


def target_window(
    target_n: float,
    within: float,
    limits: Limits | None = None,
    marks: tuple[ReferenceValue, ...] = (),
    source: str = OWN_TARGET,
    *,
    default_tolerance: bool = False,
) -> Window:
    """Return the window of the user's own target.

    Parameters
    ----------
    target_n
        Wanted preload in newtons.
    within
        Tolerance as a fraction of the target.
    limits
        What the belt says of its tension. The tolerance never reaches past its safe limit; a
        target above that limit is kept, with a caution.
    marks
        Published figures to show beside it.
    source
        Where the target comes from.
    default_tolerance
        Whether nobody gave the tolerance.

    Raises
    ------
    RequestError
        If the tolerance leaves no range, or the belt cannot carry the target.
    """
    limits = limits or Limits()
    check_positive(target_n, "the target", "N")
    if not 0 < within < 1:
        raise RequestError(
            f"--within {within:.0%} leaves no range; give a tolerance between 0 and 100 %, as in "
            '"10%"'
        )
    limits.check_target(target_n)
    rule = f"own target {target_n:.4g} N within {within * 100:.3g} %"
    if default_tolerance:
        rule += ", the default"
    high_rule = rule
    sources: tuple[str, ...] = (source,)
    safe, caution = limits.safe, limits.target_warning(target_n)
    high = _tolerance_end(target_n, within, safe, capped=not caution)
    if safe is not None and high < target_n * (1 + within):
        high_rule, sources = safe.words, (source, safe.source)
    return Window(
        target_n * (1 - within),
        high,
        rule,
        high_rule,
        sources,
        target_n,
        marks,
        safe,
        (caution,) if caution else (),
        best_n=target_n,
        basis="own target",
        bears_n=limits.bears_n,
        default_tolerance=default_tolerance,
    )


def _tolerance_end(
    target_n: float, within: float, safe: SafeLimit | None, *, capped: bool
) -> float:
    """Return the upper end of a target's window: it never reaches past the safe limit."""
    end = target_n * (1 + within)
    return min(end, safe.newtons) if capped and safe is not None else end


@dataclass(frozen=True, slots=True)
class Windows:
    """The three answers side by side, and the window a verdict uses.

    Parameters
    ----------
    by_belt
        By pitch and width.
    by_duty
        By duty; None where no duty was given.
    by_target
        The user's own target; None where none was given.
    bounds
        The rules together, before a target replaces them.
    verdict
        What a reading is judged by; None if no rule is known or the range is empty.
    marks
        Published figures for the ruler, low to high.
    warnings
        What is wrong beside the range, sentences.
    hard
        The rules together without any rule of thumb: what a study may not leave.
    """

    by_belt: Range
    by_duty: Range | None
    by_target: Window | None
    bounds: Range
    verdict: Window | None
    marks: tuple[ReferenceValue, ...]
    warnings: tuple[str, ...]
    hard: Range


def windows(
    limits: Limits,
    demand: Demand | None = None,
    *,
    target: tuple[float, float] | None = None,
    own_limit_n: float | None = None,
    target_source: str = OWN_TARGET,
    default_tolerance: bool = False,
) -> Windows:
    """Return the recommended preload by belt, by duty and by target.

    Parameters
    ----------
    limits
        What the belt says by itself.
    demand
        What its duty asks; None if unknown.
    target
        The user's own target in N and its tolerance as a fraction; it replaces the window.
    own_limit_n
        The most the user wants to see.
    target_source
        Where the target comes from, such as a study.
    default_tolerance
        Whether nobody gave the tolerance of the target.

    Raises
    ------
    RequestError
        If a target is above the allowable, or leaves no range.
    """
    check_positive(own_limit_n, "your own limit", "N")
    by_duty, marks, warnings = _asked_by(demand, limits)
    bounds = _bounds(limits, demand, by_duty, own_limit_n)
    marks = tuple(sorted((*limits.marks, *marks), key=lambda m: m.newtons))
    by_target = None
    if target is not None:
        by_target = target_window(
            *target, limits, marks, target_source, default_tolerance=default_tolerance
        )
        cautions = (*by_target.cautions, *_target_said(by_target, bounds))
        by_target = replace(by_target, cautions=cautions)
    return Windows(
        by_belt=limits.range,
        by_duty=by_duty,
        by_target=by_target,
        bounds=bounds,
        verdict=by_target or _window(bounds, marks, limits, duty=by_duty is not None),
        marks=marks,
        warnings=(*(by_target.cautions if by_target else ()), *warnings, *_empty_said(bounds)),
        hard=_hard(limits, demand, by_duty, _own_limit(own_limit_n)),
    )


def _asked_by(
    demand: Demand | None, limits: Limits
) -> tuple[Range | None, tuple[ReferenceValue, ...], tuple[str, ...]]:
    """Return the range by duty with its marks and warnings; nothing where no duty is known."""
    if demand is None:
        return None, (), ()

    ranged = duty.range_by_duty(demand, limits.allowable, limits.seating)
    return ranged, duty.duty_marks(demand), duty.duty_warnings(demand, limits.working_tension_n)


def _bounds(
    limits: Limits, demand: Demand | None, by_duty: Range | None, own_limit_n: float | None
) -> Range:
    own, belt = _own_limit(own_limit_n), limits.range
    if by_duty is None:
        bounds = Range(belt.low, lowest((belt.high, own)))
    else:  # a lower end by a rule of thumb gives way to the duty, half the allowable as well
        rated = None if limits.allowable is not None else belt.high
        low, high = highest((limits.seating, by_duty.low)), lowest((by_duty.high, rated, own))
        bounds = Range(low, high)
    if not bounds.empty:
        return bounds

    return replace(bounds, opens=openers(bounds, demand, limits.allowable))


def _own_limit(newtons: float | None) -> Bound | None:
    return None if newtons is None else Bound(newtons, "own limit", "your own limit", "the user")


def _hard(limits: Limits, demand: Demand | None, by_duty: Range | None, own: Bound | None) -> Range:
    if demand is None or by_duty is None:
        return Range(limits.seating, lowest((limits.allowable, own)))

    # the duty's end already takes the pull off the allowable, and may be ended by the shaft first
    low, high = highest((limits.seating, slack_limit(demand))), lowest((by_duty.high, own))
    return Range(low, high)


def _window(
    bounds: Range, marks: tuple[ReferenceValue, ...], limits: Limits, *, duty: bool
) -> Window | None:
    own = limits.recommendation
    ends = [end for end in (bounds.low, bounds.high) if end is not None]
    if bounds.empty or not ends:
        return None
    return Window(
        low_n=None if bounds.low is None else bounds.low.newtons,
        high_n=None if bounds.high is None else bounds.high.newtons,
        low_rule="no rule names one" if bounds.low is None else bounds.low.rule,
        high_rule="no rule names one" if bounds.high is None else bounds.high.rule,
        sources=tuple(dict.fromkeys(end.source for end in ends)),
        marks=marks,
        safe=limits.safe,
        best_n=_best(bounds, own),
        basis="duty" if duty else "" if own is None else own.basis,
        bears_n=limits.bears_n,
    )


def _best(bounds: Range, own: Recommendation | None) -> float | None:
    """Return the belt's own best where the range holds it, else the middle of the range."""
    if bounds.low is None or bounds.high is None:
        return None
    if own is not None and bounds.low.newtons <= own.best.newtons <= bounds.high.newtons:
        return own.best.newtons
    return (bounds.low.newtons + bounds.high.newtons) / 2


def _empty_said(bounds: Range) -> tuple[str, ...]:
    if not bounds.empty or bounds.low is None or bounds.high is None:
        return ()
    return (
        f"no preload serves: at least {bounds.low.newtons:.4g} N ({bounds.low.rule}), but at most "
        f"{max(0.0, bounds.high.newtons):.4g} N ({bounds.high.rule})",
    )


def _target_said(own: Window, bounds: Range) -> tuple[str, ...]:
    """Say where the user's target stands outside the rules it replaces."""
    if own.target_n is None:
        return ()
    said = []
    if bounds.low is not None and own.target_n < bounds.low.newtons:
        said.append(f"the target is below {bounds.low.newtons:.4g} N: {bounds.low.rule}")
    # above the safe limit it is said already
    if bounds.high is not None and own.target_n > bounds.high.newtons and not own.cautions:
        said.append(
            f"the target is above {max(0.0, bounds.high.newtons):.4g} N: {bounds.high.rule}"
        )
    return tuple(said)


def past(preload: Estimate, limit: SafeLimit | None) -> str:
    """Return that a preload is surely above a limit, as surely as `judge` is; "" if it is not."""
    if limit is None or 1 - preload.probability_below(limit.newtons) < SURE:
        return ""
    return f"{preload.value:.4g} N is above {limit}"


def judge(preload: Estimate, window: Window | None) -> Judgement:
    """Return the likeliest word for a preload, with its probability.

    Where only one end of the window is known, only that side can be named.
    """
    if window is None:
        return Judgement("cannot tell", 0.0)
    below = 0.0 if window.low_n is None else preload.probability_below(window.low_n)
    above = 0.0 if window.high_n is None else 1 - preload.probability_below(window.high_n)
    over = 0.0 if window.bears_n is None else 1 - preload.probability_below(window.bears_n)
    over = min(over, above) if window.high_n is not None else over
    both = window.low_n is not None and window.high_n is not None
    within = max(0.0, 1 - below - above) if both else 0.0
    shares: dict[Word, float] = {
        "slack": below,
        "within": within,
        "tight": above - over,
        "over": over,
    }
    word = max(shares, key=lambda name: shares[name])
    if above > EVEN and word in ("slack", "within"):
        word = "tight"  # tight or over, neither of them likelier than even
    share = above if word == "tight" else shares[word]
    return Judgement(word, share) if share > EVEN else Judgement("cannot tell", 0.0)
