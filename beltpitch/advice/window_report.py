"""The whole of ``window`` in one record: windows, duty, the axis at a preload, warmth, scale.

Nothing new is computed here: `window`, `axis` and `duty` do the work.
"""

from __future__ import annotations

from dataclasses import dataclass

from beltpitch.advice.axis import AxisPoint, Layout, Load, along_travel, scale_error, thermal_change
from beltpitch.advice.duty import Demand
from beltpitch.advice.limits import limits_of
from beltpitch.advice.recommendation import marks_apart_mm
from beltpitch.advice.window import Window, Windows, windows
from beltpitch.belts.catalogue import Belt
from beltpitch.errors import RequestError, check_positive


@dataclass(frozen=True, slots=True)
class WindowQuestion:
    """How much warmer the machine runs than it was set, and what its frame is made of."""

    frame: str
    warmer_k: float


@dataclass(frozen=True, slots=True)
class WantedTension:
    """What is asked about one belt beside its duty.

    Parameters
    ----------
    joined
        Whether the belt was cut and joined.
    target
        Own target in N and its tolerance as a fraction.
    own_limit_n
        The most the user wants to see.
    preload_n
        Preload at which the axis is described; by default the target, the middle of the window,
        or its lower end.
    ea_n
        Axial stiffness, where the catalogue has none or a better one is known.
    steps_per_mm
        Setting of the controller for a slack belt.
    workshop
        For what warmth does.
    """

    joined: bool = False
    target: tuple[float, float] | None = None
    own_limit_n: float | None = None
    preload_n: float | None = None
    ea_n: float | None = None
    steps_per_mm: float | None = None
    workshop: WindowQuestion | None = None

    def __post_init__(self) -> None:
        check_positive(self.preload_n, "the preload", "N")
        check_positive(self.ea_n, "the belt's stiffness EA", "N")
        check_positive(self.steps_per_mm, "the steps per mm", "")


@dataclass(frozen=True, slots=True)
class WindowReport:
    """Windows and what follows from them.

    Parameters
    ----------
    belt
        Whose window it is.
    windows
        The three answers and the verdict's window.
    demand
        What the duty asks; None if unknown.
    ea_n, ea_source
        Axial stiffness used, and where from; None if unknown.
    preload_n, preload_from
        Preload at which the axis is described, and why that one; None if there is none.
    axis
        Along the travel; empty without lengths, stiffness or preload.
    scale_error
        T/EA at that preload; None if unknown.
    steps_per_mm
        Corrected for it; None unless asked.
    warm_n
        Change of tension by warmth; None unless asked.
    marks_apart_mm
        How far apart two marks, 1000 mm apart on the slack belt, stand at low, best and high of
        the window; None where its ends or the axial stiffness are not known.
    """

    belt: Belt
    windows: Windows
    demand: Demand | None
    ea_n: float | None
    ea_source: str
    preload_n: float | None
    preload_from: str
    axis: tuple[AxisPoint, ...]
    scale_error: float | None
    steps_per_mm: float | None
    warm_n: float | None
    marks_apart_mm: tuple[float, float, float] | None


def plan(
    belt: Belt, wanted: WantedTension, demand: Demand | None, layout: Layout | None
) -> WindowReport:
    """Return windows, axis, scale and warmth of one belt.

    Raises
    ------
    RequestError
        If a target cannot be, or warmth or steps are asked of a belt whose stiffness or cord is
        not known.
    """
    limits = limits_of(belt, joined=wanted.joined)
    found = windows(limits, demand, target=wanted.target, own_limit_n=wanted.own_limit_n)
    ea_n, ea_source = _stiffness(belt, wanted)
    preload_n, why = _preload(wanted, found.verdict)
    scale = scale_error(preload_n, ea_n) if preload_n is not None and ea_n is not None else None
    return WindowReport(
        belt=belt,
        windows=found,
        demand=demand,
        ea_n=ea_n,
        ea_source=ea_source,
        preload_n=preload_n,
        preload_from=why,
        axis=_axis(layout, ea_n, preload_n, demand),
        scale_error=scale,
        steps_per_mm=_steps(wanted, scale),
        warm_n=_warmth(belt, wanted, ea_n),
        marks_apart_mm=_marks_apart(found.verdict, ea_n),
    )


def _marks_apart(window: Window | None, ea_n: float | None) -> tuple[float, float, float] | None:
    if window is None or ea_n is None:
        return None
    low, best, high = window.low_n, window.best_n, window.high_n
    if low is None or best is None or high is None:
        return None
    return marks_apart_mm(low, ea_n), marks_apart_mm(best, ea_n), marks_apart_mm(high, ea_n)


def _stiffness(belt: Belt, wanted: WantedTension) -> tuple[float | None, str]:
    if wanted.ea_n is not None:
        return wanted.ea_n, "given"
    if belt.ea_n is None:
        return None, ""
    return belt.ea_n.value, belt.ea_n.told


def _preload(wanted: WantedTension, window: Window | None) -> tuple[float | None, str]:
    if wanted.preload_n is not None:
        return wanted.preload_n, "as given"
    if window is None:
        return None, ""
    if window.target_n is not None:
        return window.target_n, "the target"
    if window.best_n is not None and window.basis != "duty":
        return window.best_n, "best of the window"
    if window.low_n is not None and window.high_n is not None:
        return (window.low_n + window.high_n) / 2, "middle of the window"
    return (window.low_n, "lower end of the window") if window.low_n is not None else (None, "")


def _axis(
    layout: Layout | None, ea_n: float | None, preload_n: float | None, demand: Demand | None
) -> tuple[AxisPoint, ...]:
    if layout is None or ea_n is None or preload_n is None or demand is None:
        return ()
    load = Load(
        force_n=demand.peripheral_n * demand.belts,
        friction_n=demand.friction_n or None,
        mass_kg=demand.mass_kg,
    )
    return along_travel(layout, ea_n, preload_n, load, belts=demand.belts)


def _steps(wanted: WantedTension, scale: float | None) -> float | None:
    if wanted.steps_per_mm is None:
        return None
    if scale is None:
        raise RequestError(
            "steps per mm change with preload over stiffness, and one of them is not known: give "
            '--preload "60 N" and --ea "29 kN"'
        )
    return wanted.steps_per_mm / (1 + scale)


def _warmth(belt: Belt, wanted: WantedTension, ea_n: float | None) -> float | None:
    if wanted.workshop is None:
        return None
    if ea_n is None or belt.cord_expansion_per_k is None:
        raise RequestError(
            "what warmth does needs the belt's stiffness and cord: name a belt of the catalogue"
        )
    place = wanted.workshop
    return thermal_change(ea_n, belt.cord_expansion_per_k.value, place.frame, place.warmer_k)
