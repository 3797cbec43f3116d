"""The few pictures: rulers of newtons, a belt's trend, a pluck with its spectrum.

Drawn from records and plain arrays, without a screen and without pyplot's global state. Colours are
Okabe and Ito's colour-blind-safe set; markers, dashes and hatching say the same in black and white,
and each picture carries its story in words.

Conventions: forces in newtons going in, in the unit asked for on the axis.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from beltpitch.advice.window import Window, Word
from beltpitch.errors import RequestError
from beltpitch.pitch.waveform_view import levels_db
from beltpitch.reading import COVERAGE
from beltpitch.session.verdict import in_newtons
from beltpitch.store.trend import DAY, Trend, TrendPoint
from beltpitch.uncertainty import Estimate

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from beltpitch.belts.hung_weights import Calibration

# Okabe and Ito's set; a word or a marker always stands beside the colour.
BLUE, ORANGE, RED, GREEN, GREY = "#0072B2", "#E69F00", "#D55E00", "#009E73", "#777777"
STRIP = "#CDE5F3"
COLOURS: dict[str, str] = {
    "within": BLUE,
    "slack": ORANGE,
    "tight": RED,
    "over": RED,
    "cannot tell": GREY,
}
WIDE_IN = 7.0
FORMATS = (".png", ".svg", ".pdf")
DPI = 150
# Text as paths: the picture needs no font where it is shown. The salt makes it the same each time.
STYLE: Any = {
    "svg.fonttype": "path",
    "text.parse_math": False,  # a user's "$" starts no formula
    "svg.hashsalt": "beltpitch",
    "font.family": ["DejaVu Sans"],
    "font.size": 9.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "hatch.linewidth": 0.6,
}


def styled() -> AbstractContextManager[None]:
    """Return a context in which every figure has the one style."""
    from matplotlib import rc_context  # heavy

    return rc_context(STYLE)


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawn figure and what it shows, in words."""

    figure: Figure
    alt: str


@dataclass(frozen=True, slots=True)
class RulerRow:
    """One belt on a ruler: its name, preload, single plucks, window and verdict."""

    label: str
    preload: Estimate | None
    plucks_n: tuple[float, ...]
    window: Window | None
    word: Word


def svg_of(picture: Picture) -> bytes:
    """Return a picture as SVG, the same bytes for the same picture."""
    out = io.BytesIO()
    with styled():
        picture.figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def save(picture: Picture, path: Path) -> None:
    """Write a picture as PNG, SVG or PDF, as the name's end says.

    Raises
    ------
    RequestError
        If the name ends otherwise, or the file cannot be written.
    """
    if path.suffix.lower() not in FORMATS:
        raise RequestError(f"{path}: a picture is written as {', '.join(FORMATS)}")
    try:
        with styled():
            picture.figure.savefig(path, dpi=DPI)
    except OSError as error:
        raise RequestError(f"{path} cannot be written: {error.strerror or error}") from None


def _figure(height_in: float) -> Figure:
    from matplotlib.figure import Figure

    with styled():
        return Figure(figsize=(WIDE_IN, height_in), layout="constrained")


# --- rulers -------------------------------------------------------------------------------------

ROW_IN, AXIS_IN = 0.75, 0.7


def ruler_figure(rows: Sequence[RulerRow], unit: str = "N") -> Picture:
    """Draw belts on one ruler, so that a match is seen as alignment.

    Parameters
    ----------
    rows
        One for each belt, from above.
    unit
        Unit of force shown.
    """
    per = in_newtons(unit)
    figure = _figure(AXIS_IN + ROW_IN * len(rows))
    with styled():
        axes = figure.add_subplot()
        for at, row in enumerate(rows):
            _ruler_row(axes, -at, row, per)
        axes.set_ylim(-len(rows) + 0.4, 0.6)
        axes.set_yticks(
            [-i for i in range(len(rows))],
            [f"{_short(r.label)}\n{r.word}" for r in rows],
        )
        axes.tick_params(axis="y", length=0)
        axes.spines["left"].set_visible(False)
        axes.margins(x=0.05)
        axes.set_xlabel(f"preload, {unit}")
    return Picture(figure, " ".join(_row_words(row, unit) for row in rows))


LONGEST_LABEL = 24


def _short(label: str) -> str:
    return label if len(label) <= LONGEST_LABEL else f"{label[: LONGEST_LABEL - 1]}\u2026"


def _ruler_row(axes: Axes, y: float, row: RulerRow, per: float) -> None:
    if row.window is not None:
        _ruler_window(axes, y, row, row.window, per)
    if row.plucks_n:
        axes.plot(
            [n / per for n in row.plucks_n], [y + 0.33] * len(row.plucks_n), "|",
            color="black", markersize=7, zorder=3,
        )  # fmt: skip
    if row.preload is not None:
        low, high = row.preload.interval(COVERAGE)
        value = row.preload.value
        axes.errorbar(
            value / per, y, xerr=[[(value - low) / per], [(high - value) / per]], fmt="D",
            color=COLOURS[row.word], markeredgecolor="black", ecolor="black", capsize=4,
            markersize=7, zorder=4,
        )  # fmt: skip


def _ruler_window(axes: Axes, y: float, row: RulerRow, window: Window, per: float) -> None:
    """Draw the strip of a window; an end that no rule names is left open and said."""
    known = [n for n in (window.low_n, window.high_n) if n is not None]
    if not known:
        return
    points = [*known, *row.plucks_n, *(row.preload.interval(COVERAGE) if row.preload else ())]
    low = min(points) * 0.95 if window.low_n is None else window.low_n
    high = max(points) * 1.05 if window.high_n is None else window.high_n
    axes.barh(
        y, (high - low) / per, left=low / per, height=0.5, color=STRIP, edgecolor=BLUE,
        hatch="//", linewidth=0.0, zorder=1,
    )  # fmt: skip
    axes.vlines([n / per for n in known], y - 0.25, y + 0.25, color=BLUE, linewidth=1.5, zorder=2)
    for end, at, side in ((window.low_n, low, "left"), (window.high_n, high, "right")):
        if end is None:
            axes.annotate(
                "end not known", (at / per, y - 0.27), ha=side, va="top", fontsize=7,
                annotation_clip=False,
            )  # fmt: skip


def _row_words(row: RulerRow, unit: str) -> str:
    if row.preload is None:
        return f"{row.label}: no reading."
    per = in_newtons(unit)
    low, high = (n / per for n in row.preload.interval(COVERAGE))
    said = (
        f"{row.label}: preload {row.preload.value / per:.1f} {unit}, 95 % interval {low:.1f} to "
        f"{high:.1f} {unit}"
    )
    return f"{said}{_window_words(row.window, unit)}; {row.word}."


def _window_words(window: Window | None, unit: str) -> str:
    if window is None:
        return ""
    per = in_newtons(unit)
    low, high = (
        "unknown" if n is None else f"{n / per:.1f} {unit}" for n in (window.low_n, window.high_n)
    )
    return f", window {low} to {high}"


# --- trend --------------------------------------------------------------------------------------

TREND_IN = 3.0


def trend_figure(trend: Trend, belt: str, unit: str = "N") -> Picture:
    """Draw a belt's tension against time: readings with intervals, window, line, events.

    Parameters
    ----------
    trend
        As `beltpitch.store.trend.trend` tells it.
    belt
        Name of the belt.
    unit
        Unit of force shown.
    """
    per = in_newtons(unit)
    figure = _figure(TREND_IN)
    with styled():
        axes = figure.add_subplot()
        _window_strip(axes, trend.window, per)
        _readings(axes, trend, per)
        _drift_line(axes, trend, per)
        for point in trend.points:
            if point.event is not None:
                words = "re-tensioned?" if point.event == "?" else point.event
                (at,) = _dates((point.taken,))
                axes.axvline(at, color=GREY, linestyle=":", linewidth=1)
                axes.annotate(
                    words, (at, 1.0), xycoords=("data", "axes fraction"), rotation=90,
                    ha="right", va="top", fontsize=7, color="black",
                )  # fmt: skip
        _date_axis(axes, trend)
        axes.set_ylabel(f"preload, {unit}")
        axes.set_title(_short(belt), loc="left")
        if trend.points:
            axes.legend(loc="best", fontsize=7, frameon=False)
    return Picture(figure, _trend_alt(trend, belt, unit))


def _window_strip(axes: Axes, window: Window | None, per: float) -> None:
    if window is None:
        return
    if window.low_n is not None and window.high_n is not None:
        axes.axhspan(
            window.low_n / per, window.high_n / per, facecolor=STRIP, edgecolor=BLUE, alpha=0.7,
            hatch="//", zorder=0, label="window",
        )  # fmt: skip
        return
    for end, words in ((window.low_n, "lower end"), (window.high_n, "upper end")):
        if end is not None:
            axes.axhline(end / per, color=BLUE, linestyle="-.", label=f"window, {words}", zorder=0)


def _readings(axes: Axes, trend: Trend, per: float) -> None:
    """Draw readings with the interval of what each has of its own and of all together."""
    for used, outlier, marker, face, words in (
        (True, False, "D", BLUE, "readings of the line"),
        (False, False, "o", "white", "readings before"),
        (True, True, "x", RED, "far off the line"),
    ):
        points = [p for p in trend.points if (p.used, p.outlier) == (used, outlier)]
        if not points:
            continue
        at = _dates([p.taken for p in points])
        values = [p.preload.value / per for p in points]
        axes.errorbar(at, values, yerr=_whole_bars(points, per), fmt="none", ecolor=GREY,
                      elinewidth=0.8, capsize=2, zorder=2)  # fmt: skip
        axes.errorbar(
            at, values, yerr=[OWN_K * p.own_u_n / per for p in points], fmt=marker,
            color=RED if outlier else "black", markerfacecolor=face, ecolor="black", elinewidth=2.5,
            markersize=5, label=words, zorder=3,
        )  # fmt: skip


OWN_K = 2.0  # about 95 % of what a reading has of its own


def _whole_bars(points: Sequence[TrendPoint], per: float) -> list[list[float]]:
    """Return how far each reading's whole interval reaches below and above it."""
    ends = [p.preload.interval(COVERAGE) for p in points]
    below = [(p.preload.value - low) / per for p, (low, _) in zip(points, ends, strict=True)]
    above = [(high - p.preload.value) / per for p, (_, high) in zip(points, ends, strict=True)]
    return [below, above]


def _drift_line(axes: Axes, trend: Trend, per: float) -> None:
    if trend.drift is None or trend.level is None:
        return
    used = [p.taken for p in trend.points if p.used]
    first, last = used[0], used[-1]
    ahead = last + (last - first) / 4
    days = [(when - last) / DAY for when in (first, last, ahead)]
    values = [(trend.level.value + trend.drift.value * d) / per for d in days]
    at = _dates((first, last, ahead))
    axes.plot(at[:2], values[:2], color="black", linewidth=1.2, label="robust line")
    axes.plot(at[1:], values[1:], color="black", linewidth=1.2, linestyle="--")


def _dates(moments: Sequence[dt.datetime]) -> list[float]:
    """Return times as matplotlib counts them."""
    from matplotlib.dates import date2num

    return [float(date2num(when)) for when in moments]  # type: ignore[no-untyped-call]


ROOM = 15 * DAY  # about a single date


def _date_axis(axes: Axes, trend: Trend) -> None:
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    if trend.points and trend.points[-1].taken - trend.points[0].taken < ROOM:
        axes.set_xlim(*_dates((trend.points[0].taken - ROOM, trend.points[-1].taken + ROOM)))

    locator = AutoDateLocator(maxticks=8)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]


def _trend_alt(trend: Trend, belt: str, unit: str) -> str:
    if not trend.points:
        return f"{belt}: no reading yet."
    per = in_newtons(unit)
    first, last = trend.points[0], trend.points[-1]
    said = (
        f"{belt}: {len(trend.points)} readings from {first.taken:%Y-%m-%d} to "
        f"{last.taken:%Y-%m-%d}, from {first.preload.value / per:.1f} to "
        f"{last.preload.value / per:.1f} {unit}{_window_words(trend.window, unit)}"
    )
    if trend.drift is None:
        return f"{said}; no drift can be told yet."
    low, high = (n / per * MONTH_DAYS for n in trend.drift.interval(COVERAGE))
    return (
        f"{said}; drift {trend.drift.value / per * MONTH_DAYS:+.2f} {unit} a month, 95 % interval "
        f"{low:+.2f} to {high:+.2f}."
    )


MONTH_DAYS = 30.0


# --- a pluck ------------------------------------------------------------------------------------

PLUCK_IN, SPECTROGRAM_IN = 4.6, 2.0
FLOOR_DB = -90.0
SPECTROGRAM_HOP_S, SPECTROGRAM_WINDOW_S = 0.01, 0.12
SPECTROGRAM_FROM_HZ = 15.0
OCTAVES_HZ = (20, 50, 100, 200, 500, 1000, 2000)


@dataclass(frozen=True, slots=True, eq=False)
class PluckView:
    """What is drawn of one pluck.

    Parameters
    ----------
    samples
        Shape (frames,).
    rate_hz
        Samples per second.
    onset_s
        Where it begins, from the first sample.
    used_s
        Start and end of the stretch that was fitted, from the onset; None if it was refused.
    partials
        Pairs of number and frequency in Hz that were recognised.
    steady_hz
        Tones that were set aside.
    title
        What to write above it.
    highest_hz
        Up to where the spectrum is drawn; None chooses from the partials.
    """

    samples: NDArray[Any]
    rate_hz: float
    onset_s: float = 0.0
    used_s: tuple[float, float] | None = None
    partials: tuple[tuple[int, float], ...] = ()
    steady_hz: tuple[float, ...] = ()
    title: str = ""
    highest_hz: float | None = None


def pluck_figure(view: PluckView, *, spectrogram: bool = False) -> Picture:
    """Draw a pluck: its waveform with the part that was used, and its spectrum.

    Parameters
    ----------
    view
        The pluck.
    spectrogram
        Whether to add the log-frequency spectrogram, which needs librosa.

    Raises
    ------
    RequestError
        If the spectrogram is wanted and librosa is not installed.
    """
    figure = _figure(PLUCK_IN + (SPECTROGRAM_IN if spectrogram else 0.0))
    with styled():
        every = figure.subplots(3 if spectrogram else 2, 1)
        _waveform(every[0], view)
        _spectrum(every[1], view)
        if spectrogram:
            _spectrogram(every[2], view)
    return Picture(figure, _pluck_alt(view))


def _waveform(axes: Axes, view: PluckView) -> None:

    times = np.arange(len(view.samples)) / view.rate_hz - view.onset_s
    axes.plot(times, view.samples, color="black", linewidth=0.4)
    axes.axvline(0.0, color=GREY, linestyle=":", label="onset")
    if view.used_s is not None:
        axes.axvspan(*view.used_s, facecolor=STRIP, edgecolor=BLUE, hatch="//", label="used")
    axes.set_xlabel("time from the onset, s")
    axes.set_ylabel("sound")
    axes.set_title(view.title, loc="left")
    axes.legend(loc="upper right", fontsize=7, frameon=False)


def _highest(view: PluckView) -> float:
    top = max((hz for _, hz in view.partials), default=500.0)
    return min(view.rate_hz / 2, view.highest_hz or 1.5 * top)


def _stretch(view: PluckView) -> NDArray[Any]:
    """Return the samples the spectrum is of: the used part, else all after the onset."""
    start, end = view.used_s or (0.0, len(view.samples) / view.rate_hz)
    first = max(0, round((view.onset_s + start) * view.rate_hz))
    return view.samples[first : round((view.onset_s + end) * view.rate_hz)]


def _spectrum(axes: Axes, view: PluckView) -> None:
    hertz, level = levels_db(_stretch(view), view.rate_hz)
    seen = hertz <= _highest(view)
    axes.plot(hertz[seen], level[seen] - level[seen].max(), color="black", linewidth=0.7)
    for i, (number, at) in enumerate(view.partials):
        label = "partials" if i == 0 else None
        axes.plot([at], [2.0], "v", color=BLUE, markeredgecolor="black", label=label)
        axes.annotate(f"{number}", (at, 4.0), ha="center", va="bottom", fontsize=7)
    for i, at in enumerate(hz for hz in view.steady_hz if hz <= _highest(view)):
        label = "set aside: steady tones" if i == 0 else None
        axes.axvline(at, color=RED, linestyle="--", linewidth=0.8, label=label)
    axes.set_ylim(FLOOR_DB, 14)
    axes.set_xlabel("frequency, Hz")
    axes.set_ylabel("level, dB")
    if view.partials or view.steady_hz:
        axes.legend(loc="upper right", fontsize=7, frameon=False)


def _spectrogram(axes: Axes, view: PluckView) -> None:

    try:
        import librosa
    except ImportError:
        raise RequestError(
            "the spectrogram needs librosa, which is not installed: pip install librosa"
        ) from None
    piece = np.asarray(view.samples, dtype=np.float32)
    hop = 1 << max(4, round(np.log2(view.rate_hz * SPECTROGRAM_HOP_S)))
    size = 1 << round(np.log2(view.rate_hz * SPECTROGRAM_WINDOW_S))
    made = librosa.stft(piece, n_fft=4 * size, win_length=size, hop_length=hop)
    hertz = librosa.fft_frequencies(sr=view.rate_hz, n_fft=4 * size)
    seen = (hertz >= SPECTROGRAM_FROM_HZ) & (hertz <= _highest(view))
    level = librosa.amplitude_to_db(np.abs(made[seen]), ref=np.max)
    times = np.arange(level.shape[1]) * hop / view.rate_hz - view.onset_s
    axes.pcolormesh(times, hertz[seen], level, cmap="cividis", vmin=-60, vmax=0, rasterized=True)
    axes.set_yscale("log")
    ticks = [f for f in OCTAVES_HZ if SPECTROGRAM_FROM_HZ <= f <= _highest(view)]
    axes.set_yticks(ticks, [str(f) for f in ticks])
    axes.minorticks_off()
    for _, at in view.partials:
        axes.plot([times[-1]], [at], "<", color="white", markeredgecolor="black", clip_on=False)
    axes.set_xlabel("time from the onset, s")
    axes.set_ylabel("frequency, Hz")


def _pluck_alt(view: PluckView) -> str:
    tones = ", ".join(f"{hz:.1f}" for _, hz in view.partials) or "none"
    steady = ", ".join(f"{hz:.1f}" for hz in view.steady_hz) or "none"
    used = (
        "no part of it was used"
        if view.used_s is None
        else f"the part from {view.used_s[0]:.2f} to {view.used_s[1]:.2f} s after the onset is used"
    )
    return (
        f"{view.title or 'A pluck'}: waveform, {used}; spectrum with partials at {tones} Hz and "
        f"steady tones set aside at {steady} Hz."
    )


# --- hung weights -------------------------------------------------------------------------------

HANG_IN = 5.0
HANG_MARGIN = 1.3  # how far beyond the rows a graduation may stand
SIGMAS = (-2.0, 2.0)  # lines between which most residuals lie


def hang_figure(found: Calibration, unit: str = "N") -> Picture:
    """Draw the rows of hung weights beside the fit: tones over tension, and what is left over.

    Parameters
    ----------
    found
        The fit.
    unit
        Unit of force shown.
    """
    figure = _figure(HANG_IN)
    with styled():
        upper, lower = figure.subplots(2, 1, sharex=True)
        _hang_tones(upper, found, unit)
        _hang_residuals(lower, found, unit)
        upper.set_title(f"{found.name}: hung weights", loc="left")
    return Picture(figure, _hang_alt(found))


def _hang_tones(axes: Axes, found: Calibration, unit: str) -> None:
    per = in_newtons(unit)
    for used, mark, label in ((True, "o", "heard"), (False, "x", "rejected")):
        points = [p for p in found.points if p.used is used]
        if points:
            axes.errorbar(
                [p.tension_n / per for p in points],
                [p.row.frequency_hz for p in points],
                [p.row.frequency_u_hz for p in points],
                fmt=mark,
                color=BLUE if used else RED,
                label=label,
            )
    axes.plot(
        [p.tension_n / per for p in found.points],
        [p.fitted_hz for p in found.points],
        "_",
        color="black",
        markersize=14,
        label="fit",
    )
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_yticks(*_round_ticks([p.fitted_hz for p in found.points]))
    axes.set_xticks(*_round_ticks([p.tension_n / per for p in found.points]))
    axes.minorticks_off()
    axes.set_ylabel("frequency, Hz")
    axes.legend(loc="upper left", fontsize=7, frameon=False)


def _round_ticks(values: Sequence[float]) -> tuple[list[float], list[str]]:
    """Return 1, 2, 5 times powers of ten that lie among the values, and how to write them."""
    import math

    low, high = min(values) / HANG_MARGIN, max(values) * HANG_MARGIN
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    ticks = [m * 10.0**power for power in powers for m in (1, 2, 5)]
    kept = [t for t in ticks if low <= t <= high]
    return kept, [f"{t:g}" for t in kept]


def _hang_residuals(axes: Axes, found: Calibration, unit: str) -> None:
    per = in_newtons(unit)
    axes.axhline(0.0, color="black", linewidth=0.7)
    for at in SIGMAS:
        axes.axhline(at, color=GREY, linestyle=":", linewidth=0.8)
    for p in found.points:
        mark, colour = ("o", BLUE) if p.used else ("x", RED)
        axes.plot([p.tension_n / per], [p.sigmas], mark, color=colour)
    axes.set_ylabel("heard less fit,\nstandard uncertainties")
    axes.set_xlabel(f"tension, {unit} (dotted: two standard uncertainties)")


def _hang_alt(found: Calibration) -> str:
    rows = "; ".join(
        f"{p.row.mass_kg:.4g} kg {p.row.frequency_hz:.2f} Hz, {p.sigmas:+.1f} u"
        + ("" if p.used else " (set aside)")
        for p in found.points
    )
    return f"{found.name}: tones of hung weights and how far each lies from the fit: {rows}."
