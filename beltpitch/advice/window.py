"""The window: the range of preload that is recommended, and how a preload stands to it.

Three answers stand side by side: by the belt's pitch and width (`limits`), by its duty (`duty`),
and by the user's own target. The verdict's lower end is the larger of seating minimum and the least
preload that keeps the slack strand taut; its upper end the smallest of allowable less the pull,
shaft load and the user's own limit. Where only a rating of pull is known there is no upper end.

Conventions: forces in newtons, preload of one strand. An end that nobody can name is None, never
a made-up number. A preload is judged by its whole distribution (scaled, shifted t, as the GUM
gives it), not by its mean.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from beltpitch.advice.bounds import Bound, Range, ReferenceValue, highest, lowest
from beltpitch.advice.limits import Limits, SafeLimit
from beltpitch.errors import RequestError, check_positive
from beltpitch.uncertainty import Estimate

if TYPE_CHECKING:
    from beltpitch.advice.duty import Demand

Word = Literal["slack", "within", "tight", "unknown"]

OWN_TARGET = "the user's own target"
WITHIN = "10%"  # of a target, where nothing else is said; common practice, no source
SURE = 0.90  # share of the preload's distribution that must lie on one side (project's rule)


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

    def __post_init__(self) -> None:
        if self.low_n is not None and self.high_n is not None and self.low_n >= self.high_n:
            raise ValueError(f"window from {self.low_n} to {self.high_n} N is empty")


def target_window(
    target_n: float,
    within: float,
    limits: Limits | None = None,
    marks: tuple[ReferenceValue, ...] = (),
    source: str = OWN_TARGET,
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
    high, high_rule = target_n * (1 + within), rule
    sources: tuple[str, ...] = (source,)
    safe, caution = limits.safe, limits.target_warning(target_n)
    if safe is not None and not caution and high > safe.newtons:
        high, high_rule, sources = safe.newtons, safe.words, (source, safe.source)
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
    )


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
    """

    by_belt: Range
    by_duty: Range | None
    by_target: Window | None
    bounds: Range
    verdict: Window | None
    marks: tuple[ReferenceValue, ...]
    warnings: tuple[str, ...]


def windows(
    limits: Limits,
    demand: Demand | None = None,
    *,
    target: tuple[float, float] | None = None,
    own_limit_n: float | None = None,
    target_source: str = OWN_TARGET,
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
        by_target = target_window(*target, limits, marks, target_source)
        cautions = (*by_target.cautions, *_target_said(by_target, bounds))
        by_target = replace(by_target, cautions=cautions)
    return Windows(
        by_belt=limits.range,
        by_duty=by_duty,
        by_target=by_target,
        bounds=bounds,
        verdict=by_target or _window(bounds, marks, limits.safe),
        marks=marks,
        warnings=(*(by_target.cautions if by_target else ()), *warnings, *_empty_said(bounds)),
    )


def _asked_by(
    demand: Demand | None, limits: Limits
) -> tuple[Range | None, tuple[ReferenceValue, ...], tuple[str, ...]]:
    """Return the range by duty with its marks and warnings; nothing where no duty is known."""
    if demand is None:
        return None, (), ()
    from beltpitch.advice import duty  # here for the start-up time

    ranged = duty.range_by_duty(demand, limits.allowable)
    return ranged, duty.duty_marks(demand), duty.duty_warnings(demand, limits.working_pull_n)


def _bounds(
    limits: Limits, demand: Demand | None, by_duty: Range | None, own_limit_n: float | None
) -> Range:
    own = None
    if own_limit_n is not None:
        own = Bound(own_limit_n, "own limit", "your own limit", "the user")
    duty = by_duty or Range(None, None)
    # the duty's end already takes the pull off the allowable, and may be ended by the shaft first
    bounds = Range(highest((limits.seating, duty.low)), lowest((limits.allowable, duty.high, own)))
    if not bounds.empty:
        return bounds
    from beltpitch.advice.duty import openers  # here for the start-up time

    return replace(bounds, opens=openers(bounds, demand, limits.allowable))


def _window(
    bounds: Range, marks: tuple[ReferenceValue, ...], safe: SafeLimit | None
) -> Window | None:
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
        safe=safe,
    )


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
    if bounds.high is not None and own.target_n > bounds.high.newtons:
        said.append(
            f"the target is above {max(0.0, bounds.high.newtons):.4g} N: {bounds.high.rule}"
        )
    return tuple(said)


def past(preload: Estimate, limit: SafeLimit | None) -> str:
    """Return that a preload is surely above a limit, as surely as `judge` is; "" if it is not."""
    if limit is None or 1 - preload.probability_below(limit.newtons) < SURE:
        return ""
    return f"{preload.value:.4g} N is above {limit}"


def judge(preload: Estimate, window: Window | None) -> Word:
    """Return the verdict word for a preload.

    `within`: at least 90 % of the distribution inside; `slack`, `tight`: at least 90 % outside on
    that side; otherwise `unknown`. A window with one known end can only be failed at that end.
    """
    if window is None:
        return "unknown"
    below = preload.probability_below(window.low_n) if window.low_n is not None else 0.0
    above = 1 - preload.probability_below(window.high_n) if window.high_n is not None else 0.0
    if below >= SURE:
        return "slack"
    if above >= SURE:
        return "tight"
    if window.low_n is not None and window.high_n is not None and 1 - below - above >= SURE:
        return "within"
    return "unknown"
