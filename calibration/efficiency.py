"""How near the physical bound: error of mode 1 over the Cramer-Rao bound of the fitted model.

Recordings follow the model exactly (see :mod:`calibration.bound`); the error is the program's,
through the same path as any recording. Ratio: peak of the pluck over the RMS of the noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import bound, ours

Array = NDArray[np.float64]
FAR_OFF = 0.05  # relative: another string or another partial, not an error of the fit

RATE_HZ = 8000.0


@dataclass(frozen=True, slots=True)
class Setting:
    """One line of the efficiency table."""

    frequency_hz: float
    time_constant_s: float
    ratio_db: float
    slope: float = 0.0


SETTINGS = (
    *(Setting(80.0, 0.25, ratio) for ratio in (0, 5, 10, 15, 20, 30, 40)),
    *(Setting(80.0, 0.25, ratio, 1.0) for ratio in (10, 20, 30, 40)),
    *(Setting(f, 0.25, 30) for f in (25.0, 45.0, 150.0, 400.0)),
    *(Setting(80.0, tau, 30) for tau in (0.06, 0.12, 0.5, 1.0)),
)


def once(job: tuple[int, int, int]) -> float:
    """Return the error in units of the bound; NaN if no answer or off by more than 5 %."""
    seed, number, index = job
    setting = SETTINGS[number]
    rng = np.random.default_rng([seed, 99, number, index])
    frequency = setting.frequency_hz * math.exp(rng.uniform(-0.05, 0.05))
    ringing = bound.plucked(frequency, setting.time_constant_s, rng)
    samples, sigma = bound.recording(ringing, setting.ratio_db, RATE_HZ, setting.slope, rng)
    least = bound.bound_hz(ringing, sigma, RATE_HZ, setting.slope)
    found = ours.answer(samples, RATE_HZ).frequency_hz
    if found is None or abs(found / frequency - 1) > FAR_OFF:
        return math.nan
    return (found - frequency) / least


LEAST_ANSWERS = 10  # fewer do not make a root mean square


def ratio_of(scaled: Array) -> float | None:
    """Return the root mean square error in units of the bound, None from too few answers."""
    good = scaled[np.isfinite(scaled)]
    return float(np.sqrt(np.mean(good**2))) if good.size >= LEAST_ANSWERS else None


def line(setting: Setting, scaled: Array, seed: int) -> str:
    """Return the line of one setting; `scaled` holds errors in units of the bound."""
    rng = np.random.default_rng([seed, 98])
    ringing = bound.plucked(setting.frequency_hz, setting.time_constant_s, rng)
    _, sigma = bound.recording(ringing, setting.ratio_db, RATE_HZ, setting.slope, rng)
    least = bound.bound_hz(ringing, sigma, RATE_HZ, setting.slope)
    simple = bound.bound_hz(ringing, sigma, RATE_HZ, setting.slope, glide=False)
    good = scaled[np.isfinite(scaled)]
    colour = "white" if setting.slope == 0 else "1/f"
    start = (
        f"| {setting.frequency_hz:g} | {setting.time_constant_s:g} | {setting.ratio_db:g} | "
        f"{colour} | {scaled.size} | {good.size} | {1000 * least:.3g} | {1000 * simple:.3g} | "
    )
    ratio = ratio_of(scaled)
    if ratio is None:
        return start + "- | - |"
    doubt = 1.96 / math.sqrt(2 * good.size)
    return (
        start
        + f"{ratio:.2f} ({ratio * (1 - doubt):.2f} to {ratio * (1 + doubt):.2f}) | "
        + (f"{float(np.mean(good)):+.2f} |")
    )


HEAD = (
    "| f Hz | time constant s | peak over noise dB | noise | files | right string | bound mHz "
    "| bound without glide mHz | RMSE / bound | mean error / bound |\n"
    "|---|---|---|---|---|---|---|---|---|---|"
)


COUNT = 200  # files a setting: the ratio is known to 10 %
