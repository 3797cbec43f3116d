"""The fit of partials: one that has no line of its own is fitted with its neighbours."""

from __future__ import annotations

import numpy as np
import pytest

from beltpitch.audio.synthesis import SynthesisedTone, synthesise
from beltpitch.pitch.damped_fit import DampedFit, Start, fit
from beltpitch.pitch.noise import from_quiet

RATE_HZ = 8_000.0
LOUD = {1: 0.3, 2: 0.25, 4: 0.07, 5: 0.12}
FAINT = {3: 0.02}


def heard(f: float, decay_s: float, noise: float, *, faint: bool) -> DampedFit:
    """Fit the loud partials alone to a sound in which the faint one may be."""
    played = LOUD | FAINT if faint else LOUD
    chance = np.random.default_rng(5)
    tones = [SynthesisedTone(n * f, a, decay_s, 0.7 * n) for n, a in sorted(played.items())]
    sound = synthesise(tones, 1.4, RATE_HZ)
    quiet = from_quiet(chance.normal(0, noise, round(RATE_HZ)), RATE_HZ)
    n = np.array(sorted(LOUD), dtype=float)
    start = Start(n, n * f, np.full(4, 1 / decay_s), np.array([LOUD[int(k)] for k in n]))
    found = fit(sound + chance.normal(0, noise, len(sound)), RATE_HZ, quiet, start)
    assert found is not None
    return found


def test_a_faint_partial_between_wide_lines_is_fitted_too() -> None:
    found = heard(25.0, 0.2, 0.003, faint=True)
    assert found.number.tolist() == [1, 2, 3, 4, 5]
    u = np.sqrt(np.diag(found.covariance))
    assert np.all(np.abs(found.frequency_hz - 25.0 * found.number) < 4 * u)
    assert found.amplitude[2] == pytest.approx(0.02, rel=0.15)
    assert found.excess.max() < 1.5  # left in the sound it would stand in its neighbours' residual


def test_no_partial_is_made_of_noise() -> None:
    found = heard(25.0, 0.2, 0.003, faint=False)
    assert found.number.tolist() == [1, 2, 4, 5]


def test_lines_far_apart_are_left_alone() -> None:
    found = heard(250.0, 0.2, 0.003, faint=True)
    assert found.number.tolist() == [1, 2, 4, 5]


def test_the_mode_that_is_not_heard_carries_the_glide_of_the_others() -> None:
    f, rise = 30.0, 0.04  # of f squared, from mode 1 alone
    n = np.arange(2.0, 9.0)
    decay = 1.5 * n**0.65
    time = np.arange(round(3.0 * RATE_HZ)) / RATE_HZ
    warped = time + rise / 2 * -np.expm1(-2 * 1.5 * time) / (2 * 1.5)
    each = 0.1 / n[:, None] * np.exp(-np.outer(decay, time))
    sound = (each * np.cos(2 * np.pi * f * np.outer(n, warped))).sum(axis=0)
    chance = np.random.default_rng(6)
    quiet = from_quiet(chance.normal(0, 1e-3, round(RATE_HZ)), RATE_HZ)
    start = Start(n, n * f * 1.004, decay, 0.1 / n)
    found = fit(sound + chance.normal(0, 1e-3, len(sound)), RATE_HZ, quiet, start)
    assert found is not None
    assert found.frequency_hz / n == pytest.approx(np.full(len(n), f), rel=0.0015)
    assert found.glide == pytest.approx(rise / 2, abs=0.004)
