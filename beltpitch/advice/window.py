"""The window: the range of preload that is recommended, and how a preload stands to it.

Conventions: forces in newtons, preload of one strand. An end that nobody can name is None, never
a made-up number. A preload is judged by its whole distribution (scaled, shifted t, as the GUM
gives it), not by its mean.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from beltpitch.errors import RequestError
from beltpitch.estimate import Estimate

Word = Literal["slack", "within", "tight", "unknown"]

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
    """

    low_n: float | None
    high_n: float | None
    low_rule: str
    high_rule: str
    sources: tuple[str, ...] = ()
    target_n: float | None = None

    def __post_init__(self) -> None:
        if self.low_n is not None and self.high_n is not None and self.low_n >= self.high_n:
            raise ValueError(f"window from {self.low_n} to {self.high_n} N is empty")


def target_window(target_n: float, within: float, allowable_n: float | None = None) -> Window:
    """Return the window of the user's own target.

    Parameters
    ----------
    target_n
        Wanted preload in newtons.
    within
        Tolerance as a fraction of the target.
    allowable_n
        Allowable strand tension of the belt, where known.

    Raises
    ------
    RequestError
        If the tolerance leaves no range, or the target is above what the belt may carry.
    """
    if not 0 < within < 1:
        raise RequestError(
            f"--within {within:.0%} leaves no range; give a tolerance between 0 and 100 %, as in "
            '"10%"'
        )
    if allowable_n is not None and target_n > allowable_n:
        raise RequestError(
            f"a target of {target_n:.4g} N is above the {allowable_n:.4g} N this belt may carry "
            "in one strand; choose a lower target or a wider belt"
        )
    rule = f"own target {target_n:.4g} N within {within * 100:.3g} %"
    return Window(
        target_n * (1 - within),
        target_n * (1 + within),
        rule,
        rule,
        ("the user's own target",),
        target_n,
    )


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
