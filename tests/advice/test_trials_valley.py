"""Curves with one valley: their evidence by brute force, their draws, what they help to name."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from beltpitch.study import unimodal
from beltpitch.study.gaussian_process import process
from beltpitch.study.unimodal import turn

X = np.repeat([-1.0, -0.5, 0.0, 0.5, 1.0], [2, 2, 4, 2, 2])
GRID = np.linspace(-1, 1, 41)


def knee(x: np.ndarray, at: float = -0.3) -> np.ndarray:
    return np.where(x < at, 3 * (at - x), 0.4 * (x - at))


def results(noise: float, seed: int = 4) -> np.ndarray:
    return knee(X) + noise * np.random.default_rng(seed).standard_normal(len(X))


def test_the_evidence_is_the_average_over_the_prior(monkeypatch: pytest.MonkeyPatch) -> None:
    # one bend, so that draws of three coefficients integrate it; a narrow prior, so that they hit
    monkeypatch.setattr(unimodal, "BENDS", 1)
    monkeypatch.setattr(unimodal, "WIDTHS", (0.4,))
    y, noise = results(0.5), np.full(len(X), 0.5**2)
    got = turn(X, y, noise, GRID, free=1.0)
    drawn = np.random.default_rng(0).standard_normal((200_000, 3))
    drawn[:, 2] = np.abs(drawn[:, 2])
    off = X - -1.0
    basis = np.stack([np.ones_like(X), X, (np.sqrt(off**2 + 0.16) - off) / 2], axis=1)
    each = stats.norm.logpdf(y, drawn @ basis.T, 0.5).sum(axis=1)
    wanted = np.log(np.mean(np.exp(each - each.max()))) + each.max()
    assert got.likely == pytest.approx(wanted, abs=0.05)
    # and the draws are those of the prior, weighed by how likely each makes the trials
    weights = np.exp(each - each.max())
    table = np.stack([np.ones_like(GRID), GRID, (np.hypot(GRID + 1, 0.4) - GRID - 1) / 2], axis=1)
    mean = (weights @ drawn / weights.sum()) @ table.T
    curves = got.draws(20_000, 1.0, np.random.default_rng(1))
    assert curves.mean(axis=0) == pytest.approx(mean, abs=0.03)


def test_every_drawn_curve_has_one_valley() -> None:
    # results that a hump explains better: cut at zero, the draws still bend upwards
    for y in (results(0.2), -results(0.2)):
        got = turn(X, y, np.full(len(X), 0.2**2), GRID, free=100.0)
        assert got.weights.sum() == pytest.approx(1)
        curves = got.draws(500, 1.3, np.random.default_rng(3))
        assert np.diff(curves, 2, axis=1).min() > -1e-7


def test_a_knee_is_drawn_from_valleys_and_a_hump_is_not() -> None:
    tension = list(40 + 20 * X)

    def valleys(y: np.ndarray) -> float:
        both = process(tension, list(y), [0.2**2] * len(X), 7).both
        return float(np.mean(np.diff(both, 2, axis=1).min(axis=1) > -1e-3))

    assert valleys(results(0.2)) > 0.5
    assert valleys(-results(0.2)) < 0.05


def test_what_names_a_tension_is_nearer_a_knee_between_two_levels() -> None:
    # many studies of one knee: how often the curves that name a tension lose little there
    tension = 40 + 20 * X
    close = {"draws": 0, "both": 0}
    for seed in range(40):
        made = process(list(tension), list(results(0.25, seed)), [0.25**2] * len(X), 7)
        truth = knee((made.tension_n - 40) / 20)
        for name in close:
            curves = getattr(made, name)
            least, most = curves.min(axis=1, keepdims=True), curves.max(axis=1, keepdims=True)
            share = (curves - least <= 0.05 * (most - least)).mean(axis=0)
            close[name] += bool(truth[int(np.argmax(share))] <= 0.05 * np.ptp(truth))
    assert close["both"] > close["draws"]


def test_where_the_scatter_hides_the_shape_the_process_alone_names_a_tension() -> None:
    tension = list(40 + 20 * X)
    made = process(tension, list(results(1.0)), [1.0**2] * len(X), 7)
    assert np.array_equal(made.both, made.draws)
    clear = process(tension, list(results(0.2)), [0.2**2] * len(X), 7)
    assert not np.array_equal(clear.both, clear.draws)
