"""The picture of a study: results against tension, both curves, the optimum, the window, the next.

One picture a measure. Drawn like the others (`beltpitch.present.plots`): markers, dashes and
hatching say in black and white what colour says, and each picture carries its story in words.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Literal

import numpy as np

from beltpitch.errors import RequestError
from beltpitch.present.plots import (
    BLUE,
    DPI,
    GREEN,
    GREY,
    RED,
    STRIP,
    WIDE_IN,
    Picture,
    styled,
    svg_of,
)
from beltpitch.session.verdict import in_newtons
from beltpitch.study.study import Study, StudyAnswer

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HIGH_IN = 3.4
STRIP_SHARE = 0.06  # of the picture's height, for the window strip at its foot
ROOM = 0.12  # of the results' range left free above and below the points
BAND = 2.0  # standard uncertainties of the curve that are shaded


def study_figure(made: Study, index: int = 0, unit: str = "N") -> Picture:
    """Draw one measure of a study.

    Parameters
    ----------
    made
        The study.
    index
        Which of its answers.
    unit
        Unit of force shown.

    Raises
    ------
    RequestError
        If there is no such answer.
    """
    from matplotlib.figure import Figure

    if not 0 <= index < len(made.answers):
        raise RequestError(f"the study has {len(made.answers)} results that were judged")
    answer, per = made.answers[index], in_newtons(unit)
    with styled():
        figure = Figure(figsize=(WIDE_IN, HIGH_IN), layout="constrained")
        axes = figure.add_subplot()
        _limits(axes, made, answer, per)
        _window(axes, made, per)
        _curves(axes, answer, per)
        _points(axes, answer, per)
        _optimum(axes, made, answer, per)
        axes.set_xlabel(f"preload as read in this study, {unit}")
        axes.set_ylabel(answer.finding.measure.said)
        axes.set_title(f"{made.trials.name}: {answer.finding.measure.name}", loc="left")
        axes.legend(loc="upper center", fontsize=7, frameon=False, ncols=3)
    return Picture(figure, study_alt(made, index, unit))


def study_bytes(
    made: Study, index: int = 0, unit: str = "N", kind: Literal["svg", "png"] = "svg"
) -> bytes:
    """Return the picture of one measure as SVG or PNG."""
    picture = study_figure(made, index, unit)
    if kind == "svg":
        return svg_of(picture)
    out = io.BytesIO()
    with styled():
        picture.figure.savefig(out, format="png", dpi=DPI)
    return out.getvalue()


def _limits(axes: Axes, made: Study, answer: StudyAnswer, per: float) -> None:
    """Leave room for the window strip at the foot and the legend at the head."""
    found, field = answer.finding, made.field
    low = min(field.low_n, float(found.data.tension_n.min()))
    high = max(field.high_n, float(found.data.tension_n.max()))
    room = 0.03 * (high - low)
    axes.set_xlim((low - room) / per, (high + room) / per)
    least, most = float(found.data.result.min()), float(found.data.result.max())
    if found.measure.target is not None:
        least, most = min(least, found.measure.target), max(most, found.measure.target)
    reach = most - least
    axes.set_ylim(least - 2 * ROOM * reach, most + 3 * ROOM * reach)


def _window(axes: Axes, made: Study, per: float) -> None:
    low, high = made.field.low_n / per, made.field.high_n / per
    axes.axvspan(
        low, high, ymax=STRIP_SHARE, facecolor=STRIP, edgecolor=BLUE, hatch="//", zorder=0,
        label="window",
    )  # fmt: skip
    axes.vlines(
        [low, high], 0, STRIP_SHARE, transform=axes.get_xaxis_transform(), color=BLUE, linewidth=1.5
    )


def _curves(axes: Axes, answer: StudyAnswer, per: float) -> None:
    """Draw both curves; the one that was used is full and has its band."""
    found = answer.finding
    sign = found.data.sign
    first, last = float(found.data.tension_n.min()), float(found.data.tension_n.max())
    grid = np.linspace(first, last, 121)
    used, band = found.curve(grid), BAND * found.curve_u(grid)
    axes.fill_between(grid / per, used - band, used + band, color=GREY, alpha=0.2, linewidth=0)
    both = [("quadratic", "quadratic", sign * found.quadratic.value(grid))]
    if found.process is not None:
        both.append(("gaussian process", "Gaussian process", sign * found.process.value(grid)))
    for name, label, curve in both:
        style = "-" if name == found.method else "--"
        words = f"{label} (used)" if name == found.method else label
        axes.plot(
            grid / per, curve, style, color="black" if style == "-" else GREY, linewidth=1.2,
            label=words,
        )  # fmt: skip
    if found.measure.target is not None:
        axes.axhline(found.measure.target, color=GREEN, linestyle=":", label="wanted")


def _points(axes: Axes, answer: StudyAnswer, per: float) -> None:
    data, apart = answer.finding.data, {one.number for one in answer.finding.outliers}
    inside = [i for i, n in enumerate(data.numbers) if n not in apart]
    outside = [i for i, n in enumerate(data.numbers) if n in apart]
    axes.errorbar(
        data.tension_n[inside] / per, data.result[inside], xerr=2 * data.own_u_n[inside] / per,
        fmt="o", color=BLUE, markeredgecolor="black", ecolor="black", elinewidth=0.8,
        markersize=5, zorder=4, label="trials",
    )  # fmt: skip
    if outside:
        axes.plot(
            data.tension_n[outside] / per, data.result[outside], "X", color=RED,
            markeredgecolor="black", markersize=8, zorder=5, linestyle="none", label="stands apart",
        )  # fmt: skip
    for i, number in enumerate(data.numbers):
        axes.annotate(
            f"{number}", (data.tension_n[i] / per, data.result[i]), xytext=(4, 3),
            textcoords="offset points", fontsize=6,
        )  # fmt: skip


def _optimum(axes: Axes, made: Study, answer: StudyAnswer, per: float) -> None:
    found, y = answer.finding, 1.6 * STRIP_SHARE
    across = axes.get_xaxis_transform()
    if found.interval_n is not None:
        low, high = found.interval_n
        arms = [[(found.best_n - low) / per], [(high - found.best_n) / per]]
        axes.errorbar(
            found.best_n / per, y, xerr=arms, fmt="D", color=GREEN,
            markeredgecolor="black", ecolor="black", capsize=4, markersize=7,
            transform=across, zorder=6, label="optimum, 95 %",
        )  # fmt: skip
    else:
        axes.plot(
            [found.best_n / per], [y], "d", color="white", markeredgecolor="black", markersize=7,
            transform=across, zorder=6, linestyle="none", label="best so far",
        )  # fmt: skip
    if answer.next.tension_n is not None:
        axes.plot(
            [answer.next.tension_n / per], [y + STRIP_SHARE], "v", color=RED,
            markeredgecolor="black", markersize=6, transform=across, zorder=6, linestyle="none",
            label="try next",
        )  # fmt: skip
    if made.expected is not None and made.field.low_n < made.expected.slack_n < made.field.high_n:
        axes.axvline(
            made.expected.slack_n / per, color=RED, linestyle="-.", linewidth=1,
            label="strand goes slack below",
        )  # fmt: skip


def study_alt(made: Study, index: int, unit: str = "N") -> str:
    """Return what a picture shows, in words."""
    answer, per = made.answers[index], in_newtons(unit)
    found = answer.finding
    tensions = found.data.tension_n / per
    said = (
        f"{made.trials.name}: {found.measure.name} of {len(tensions)} trials from "
        f"{tensions.min():.1f} to {tensions.max():.1f} {unit}, window {made.field.low_n / per:.1f} "
        f"to {made.field.high_n / per:.1f} {unit}. {answer.sentence}."
    )
    if answer.next.tension_n is not None:
        said += f" Try next {answer.next.tension_n / per:.1f} {unit}."
    return said
