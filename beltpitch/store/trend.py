"""How a belt's tension goes with time: what is its drift, when to look again, does it hold.

Readings are joined only where they can be compared: the same strand, at the same parking place, on
the same belt. What they share (linear mass, tape, ends) cannot make a drift; its uncertainty comes
from the errors each reading has of its own, followed through a robust line
(`beltpitch.store.robust_line`).
Whether the belt is inside its window asks for all errors, shared ones too. A later weighing or
measuring of the same belt and span rescales the past: T goes with the linear mass and with the span
squared (exact but for the corrections, which are a few per cent of it).

A re-tensioning starts the line afresh, and so does a new belt, whose first days are its run-in:
sources differ (2 to 3 days of running, Epson manuals; after 30 strokes, Festo EXCH; never, Festo
EXCM; not needed for synchronous belts, Gates; belt-data 3d), so it is looked at once more and not
judged until then.

Conventions: newtons, days; drift in newtons a day; coverage 95 %.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from beltpitch.advice.window import Window, Word, judge
from beltpitch.reading import COVERAGE
from beltpitch.store.log import Entry
from beltpitch.store.records import OF_ONE_SITTING
from beltpitch.store.robust_line import LEAST, RobustLine, robust_line
from beltpitch.uncertainty import Estimate, Part, combine, difference

MOST = 200  # readings of one trend: the latest; more would not be seen in a plot
DAY = dt.timedelta(days=1)
RUN_IN_DAYS = 3.0  # the longest that a source asks for: "2 to 3 days" (belt-data 3d)
JUMP_SHARE, JUMP_U = 0.05, 4.0  # a rise of both sizes that stays is a re-tensioning not noted
SAME_SPAN_U = 3.0  # two measures of one span differ by no more than this many u
LOSES = 0.10  # of the tension between two checks: the belt does not hold it (common practice)
WARMER_K = 5.0  # temperatures farther apart than this are worth a word
MASS_LINES = ("linear mass", "width")
SPAN_LINES = ("span",)
LEAST_U = 1e-3  # share of the tension: no reading repeats better


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One reading in a trend.

    Parameters
    ----------
    entry
        Its number in the book.
    taken
        When.
    preload
        Brought to the latest mass figure and span.
    used
        Whether the line is drawn through it.
    outlier
        Whether the line is drawn without it although it belongs to it.
    event
        What was done just before it; "?" for a rise nobody noted.
    temperature_c
        Of the shop.
    own_u_n
        Standard uncertainty by what it does not share with the others.
    """

    entry: int
    taken: dt.datetime
    preload: Estimate
    used: bool = False
    outlier: bool = False
    event: str | None = None
    temperature_c: float | None = None
    own_u_n: float = 0.0


@dataclass(frozen=True, slots=True)
class Trend:
    """What the history of a belt tells.

    Parameters
    ----------
    points
        Every reading that can be compared, in order of time.
    drift
        N a day; None while it cannot be told.
    level
        Preload at the last reading, by the line; the last reading itself without a line.
    change
        Last reading less the one before it, by what the two do not share; None without two.
    scatter
        Real scatter of the readings over what they state; None without a line of three.
    window, word
        The window, and how the level stands to it.
    leaves, leaves_earliest
        When the belt leaves its window at this rate; at the worst rate within the interval.
    next_check, why
        When to look again, and why then.
    holds
        False where the belt loses its tension.
    doubt
        Which errors rule whether it is inside its window, in words.
    notes
        What was joined, rescaled, left out.
    """

    points: tuple[TrendPoint, ...]
    drift: Estimate | None
    level: Estimate | None
    change: Estimate | None
    scatter: float | None
    window: Window | None
    word: Word
    leaves: dt.datetime | None
    leaves_earliest: dt.datetime | None
    next_check: dt.datetime | None
    why: str
    holds: bool
    doubt: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class About:
    """What is known of the belt beside its readings.

    Parameters
    ----------
    check_every_days
        How long a belt may go unlooked at.
    window
        To judge by; None takes the latest reading's.
    fitted
        When the belt was fitted.
    newtons_per_kelvin
        What the shop's temperature does to the tension; None if unknown.
    """

    check_every_days: float = 90.0
    window: Window | None = None
    fitted: dt.date | None = None
    newtons_per_kelvin: float | None = None


@dataclass(slots=True)
class _Joined:
    points: list[TrendPoint] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def trend(entries: Sequence[Entry], about: About | None = None) -> Trend:
    """Return the trend of one belt.

    Parameters
    ----------
    entries
        Its entries in any order; those without a preload are passed over.
    about
        What else is known.
    """
    about = about or About()
    told = sorted(
        (e for e in entries if e.estimates.preload is not None), key=lambda e: e.line.taken
    )
    if not told:
        return _NO_READING if about.window is None else replace(_NO_READING, window=about.window)
    joined = _joined(told[-MOST:])
    start = _fresh_start(joined)
    points = _without_run_in(joined, start, about.fitted)
    return _told(points, about, told[-1].window, joined.notes)


_NO_READING = Trend(
    points=(),
    drift=None,
    level=None,
    change=None,
    scatter=None,
    window=None,
    word="cannot tell",
    leaves=None,
    leaves_earliest=None,
    next_check=None,
    why="no reading yet: measure it",
    holds=True,
    doubt="",
    notes=(),
)


# --- what can be compared -----------------------------------------------------------------------


def _joined(entries: Sequence[Entry]) -> _Joined:
    """Return the readings that can be compared with the latest, brought to its figures."""
    found = _Joined()
    latest = entries[-1]
    left: Counter[str] = Counter()
    rescaled: Counter[str] = Counter()
    for entry in entries:
        why = _other(entry, latest)
        if why:
            left[why] += 1
            continue
        preload, words = _brought(entry, latest)
        rescaled.update(words)
        line = entry.line
        found.points.append(
            TrendPoint(
                line.id, line.taken, preload, event=line.event, temperature_c=line.temperature_c
            )
        )
    found.notes += [f"{_readings(n)} left out: {why}" for why, n in left.items()]
    found.notes += [f"{_readings(n)} {words}" for words, n in rescaled.items()]
    return found


def _readings(count: int) -> str:
    return "1 reading" if count == 1 else f"{count} readings"


def _other(entry: Entry, latest: Entry) -> str:
    """Return why a reading cannot be compared with the latest; empty if it can."""
    a, b = entry.line, latest.line
    if a.strand != b.strand:
        return f"strand {a.strand or 'not named'}, not {b.strand or 'not named'}"
    if _folded(a.park) != _folded(b.park) and not _same_span(entry, latest):
        return f"parked at {a.park or 'a place not named'}, not {b.park or 'a place not named'}"
    if _kind(entry) != _kind(latest):
        return f"another belt ({_kind(entry) or 'not named'})"
    if not _same_span(entry, latest):
        return "another span"
    return ""


def _folded(text: str | None) -> str:
    return " ".join((text or "").casefold().split())


def _kind(entry: Entry) -> str | None:
    kind = entry.record["reading"].get("belt")
    return None if kind is None else str(kind)


def _same_span(entry: Entry, latest: Entry) -> bool:
    a, b = entry.estimates.span, latest.estimates.span
    if a is None or b is None:
        return a is b
    return abs(a.value - b.value) <= SAME_SPAN_U * math.hypot(a.u, b.u)


def _brought(entry: Entry, latest: Entry) -> tuple[Estimate, list[str]]:
    """Return the preload by the latest mass figure and span, and what was done in words."""
    preload = entry.estimates.preload
    assert preload is not None
    said: list[str] = []
    for lines, now, then, power, words in (
        (MASS_LINES, latest.estimates.linear_mass, entry.estimates.linear_mass, 1, "linear mass"),
        (SPAN_LINES, latest.estimates.span, entry.estimates.span, 2, "measure of the span"),
    ):
        if now is None or then is None or now == then:
            continue
        ratio = (now.value / then.value) ** power
        preload = _rescaled(preload, latest.estimates.preload, ratio, lines)
        if ratio != 1:
            said.append(f"rescaled by {ratio - 1:+.1%} to the latest {words}")
    return preload, said


def _rescaled(
    preload: Estimate, latest: Estimate | None, ratio: float, lines: tuple[str, ...]
) -> Estimate:
    """Return a preload with one input replaced: value scaled, that input's parts the latest's."""
    assert latest is not None
    value = preload.value * ratio
    own = [replace(p, u=p.u * ratio) for p in preload.parts if p.name not in lines]
    new = [replace(p, u=p.u / latest.value * value) for p in latest.parts if p.name in lines]
    return Estimate(value, (*own, *new))


# --- where the line begins ----------------------------------------------------------------------


def _fresh_start(joined: _Joined) -> int:
    """Return the index from which the line may run; a rise that nobody noted is marked."""
    points, start = joined.points, 0
    for i, point in enumerate(points):
        if point.event is not None:
            start = i
        elif i > start and _rose(points, i):
            points[i] = replace(point, event="?")
            joined.notes.append(
                f"reading {point.entry} is much higher than the one before and stays so: taken as "
                "re-tensioned; say so with --tensioned"
            )
            start = i
    return start


def _rose(points: Sequence[TrendPoint], i: int) -> bool:
    """Whether the tension rose for good between reading i - 1 and i."""
    before = points[i - 1].preload
    after = points[i : i + 2]
    if len(after) < 2:  # noqa: PLR2004 - one reading alone may be an outlier
        return False
    return all(_is_rise(difference(p.preload, before), before.value) for p in after)


def _is_rise(rise: Estimate, before_n: float) -> bool:
    return rise.value > JUMP_SHARE * before_n and rise.value > JUMP_U * rise.u


def _without_run_in(joined: _Joined, start: int, fitted: dt.date | None) -> list[TrendPoint]:
    """Mark the points the line is drawn through: those after the start and after any run-in."""
    points = joined.points
    new = _new_since(points[start], fitted)
    if new is None:
        return [replace(p, used=i >= start) for i, p in enumerate(points)]
    over = new + RUN_IN_DAYS * DAY
    marked = [replace(p, used=i >= start and p.taken >= over) for i, p in enumerate(points)]
    left = sum(i >= start and not p.used for i, p in enumerate(marked))
    if left:
        joined.notes.append(f"{_readings(left)} of the run-in of a new belt not used for the drift")
    return marked


def _new_since(first: TrendPoint, fitted: dt.date | None) -> dt.datetime | None:
    """Return when the belt was new, if the line's first reading is of about that time."""
    if first.event == "new belt":
        return first.taken
    if fitted is None:
        return None
    noon = dt.datetime.combine(fitted, dt.time(12), dt.UTC)
    return noon if abs(first.taken - noon) <= RUN_IN_DAYS * DAY else None


# --- what it tells ------------------------------------------------------------------------------


def _told(
    points: list[TrendPoint], about: About, last_window: Window | None, notes: list[str]
) -> Trend:
    used = [p for p in points if p.used]
    drift, level, line = _drift(used)
    if line is not None:
        out = {used[i].entry for i in line.outliers}
        points = [replace(p, outlier=p.entry in out) for p in points]
        notes += [
            f"reading {entry} lies far off the line and hardly counts" for entry in sorted(out)
        ]
    own = _own_keys(points)
    points = [replace(p, own_u_n=_own_u(p.preload, own)) for p in points]
    level = level or points[-1].preload
    window = about.window or last_window
    window = None if window is None else window.resolved(level)
    word = judge(level, window).word
    leaves, earliest = _leaving(points[-1].taken, drift, level, window)
    holds = _holds(drift, level, about.check_every_days)
    check, why = _next_check(points, word, (leaves, earliest), about)
    return Trend(
        points=tuple(points),
        drift=drift,
        level=level,
        change=difference(points[-1].preload, points[-2].preload) if len(points) > 1 else None,
        scatter=line.scatter if line is not None and len(used) > LEAST else None,
        window=window,
        word=word,
        leaves=leaves,
        leaves_earliest=earliest,
        next_check=check,
        why=why,
        holds=holds,
        doubt=_which_doubt(level, used or points, window),
        notes=(*notes, *_warmth(points, about.newtons_per_kelvin)),
    )


def _drift(
    used: Sequence[TrendPoint],
) -> tuple[Estimate | None, Estimate | None, RobustLine | None]:
    if len(used) < LEAST or used[0].taken == used[-1].taken:
        return None, None, None
    days = [(p.taken - used[0].taken) / DAY for p in used]
    own = _own_keys(used)
    u = [max(_own_u(p.preload, own), LEAST_U * abs(p.preload.value)) for p in used]
    line = robust_line(days, [p.preload.value for p in used], u)
    drift = _followed(used, line.slope, line.slope_weights, u, line, own)
    level = _followed(used, line.level, line.level_weights, u, line, own)
    return drift, level, line


def _own_keys(points: Sequence[TrendPoint]) -> frozenset[str]:
    """Return the keys of errors that belong to one reading alone.

    Of a single reading these are the errors that another sitting would make anew.
    """
    count = Counter(key for p in points for key in {part.key for part in p.preload.parts})
    if len(points) == 1:
        return frozenset(key for key in count if key.startswith(OF_ONE_SITTING))
    return frozenset(key for key, n in count.items() if n == 1)


def _own_u(estimate: Estimate, own: frozenset[str]) -> float:
    return Estimate(0.0, tuple(p for p in estimate.parts if p.key in own)).u


def _followed(
    points: Sequence[TrendPoint],
    value: float,
    weights: Sequence[float],
    u: Sequence[float],
    line: RobustLine,
    own: frozenset[str],
) -> Estimate:
    """Return a weighted sum of the readings with its errors: shared ones by key, own by scatter."""
    shared = [
        (w, Estimate(0.0, tuple(q for q in p.preload.parts if q.key not in own)))
        for w, p in zip(weights, points, strict=True)
    ]
    scatter = line.scatter * math.hypot(*(w * s for w, s in zip(weights, u, strict=True)))
    dof = line.dof if math.isfinite(line.dof) else _stated_dof(points, own)
    part = Part("scatter of the readings", f"scatter:{points[-1].entry}", scatter, dof)
    return combine(value, shared).with_part(part)


def _stated_dof(points: Sequence[TrendPoint], own: frozenset[str]) -> float:
    parts = (q for p in points for q in p.preload.parts if q.key in own)
    return Estimate(0.0, tuple(parts)).dof


def _leaving(
    last: dt.datetime, drift: Estimate | None, level: Estimate, window: Window | None
) -> tuple[dt.datetime | None, dt.datetime | None]:
    """Return when the level leaves the window at the drift, and at the worst of its interval."""
    if drift is None or window is None or not _inside(level.value, window):
        return None, None
    low, high = drift.interval(COVERAGE)
    worst = [d for d in (_days_to_leave(level.value, rate, window) for rate in (low, high)) if d]
    at_rate = _days_to_leave(level.value, drift.value, window)
    return _later(last, at_rate), _later(last, min(worst, default=None))


def _inside(value: float, window: Window) -> bool:
    low = -math.inf if window.low_n is None else window.low_n
    high = math.inf if window.high_n is None else window.high_n
    return low < value < high


def _days_to_leave(level: float, rate: float, window: Window) -> float | None:
    end = window.low_n if rate < 0 else window.high_n
    if end is None or rate == 0:
        return None
    return (end - level) / rate


FAR_DAYS = 36_500.0  # a century: nothing is said beyond it


def _later(last: dt.datetime, days: float | None) -> dt.datetime | None:
    return None if days is None or days > FAR_DAYS else last + days * DAY


def _holds(drift: Estimate | None, level: Estimate, check_every_days: float) -> bool:
    """Whether the belt holds its tension: no sure loss that is large between two checks."""
    if drift is None:
        return True
    _, high = drift.interval(COVERAGE)
    return not (high < 0 and -drift.value * check_every_days > LOSES * level.value)


def _next_check(
    points: Sequence[TrendPoint],
    word: Word,
    leaving: tuple[dt.datetime | None, dt.datetime | None],
    about: About,
) -> tuple[dt.datetime, str]:
    last = points[-1].taken
    usual = last + about.check_every_days * DAY
    if word in ("slack", "tight"):
        return last, f"it is {word}: adjust it, then read it again"
    new = _new_since(points[-1], about.fitted)
    start = next((p for p in reversed(points) if p.event is not None), None)
    if start is not None and not any(p.used for p in points):
        new = _new_since(start, about.fitted)
    if new is not None:
        return (
            new + RUN_IN_DAYS * DAY,
            "a new belt runs in: after some days it is looked at again (sources differ)",
        )
    leaves, earliest = leaving
    if leaves is not None and last + (leaves - last) / 2 < usual:
        return last + max(DAY, (leaves - last) / 2), "half way to leaving its window at this rate"
    if earliest is not None and earliest < usual:
        quarter = last + about.check_every_days / 4 * DAY
        return max(earliest, quarter), "its drift is not known well enough to wait longer"
    return usual, f"the usual {about.check_every_days:.0f} days"


def _which_doubt(level: Estimate, points: Sequence[TrendPoint], window: Window | None) -> str:
    """Say which errors rule the answer whether the belt is inside its window."""
    if window is None or level.u == 0:
        return ""
    lines = level.budget()
    own = _own_keys(points)
    shared = [
        line
        for line in lines
        if line.name != "scatter of the readings" and not set(line.keys) <= own
    ]
    share = sum(line.share for line in shared)
    if share > 0.5 and shared:  # noqa: PLR2004 - more than half
        return (
            f"whether it is inside its window is doubted by what all readings share ({share:.0%}, "
            f"most of it {shared[0].name}): more readings do not help; its drift is known better"
        )
    alone = [line.name for line in lines if line not in shared]
    most = f", most of it {alone[0]}" if alone else ""
    remedy = "read both strands" if alone[:1] == ["strand difference"] else "more readings help"
    return (
        "whether it is inside its window is doubted by what each reading has of its own "
        f"({1 - share:.0%}{most}): {remedy}"
    )


def _warmth(points: Sequence[TrendPoint], newtons_per_kelvin: float | None) -> tuple[str, ...]:
    told = [p.temperature_c for p in points if p.temperature_c is not None]
    if not told or max(told) - min(told) <= WARMER_K:
        return ()
    said = f"read at {min(told):.0f} to {max(told):.0f} degC"
    if len(told) < len(points):
        said += f" ({len(points) - len(told)} without a temperature)"
    if newtons_per_kelvin is None:
        return (f"{said}: part of the difference may be warmth",)
    return (
        f"{said}: warmth alone makes {newtons_per_kelvin:+.2g} N for each kelvin, not taken out",
    )
