"""The fit with errors in both variables against the classical published case.

Source: D. York, Can. J. Phys. 44 (1966) 1079, Pearson's data with York's weights; solution to nine
digits as in D. York et al., Am. J. Phys. 72 (2004) 367 and many since: intercept 5.479 910 22,
slope -0.480 533 407, their standard errors 0.294 970 7 and 0.057 985 0, chi^2 11.866 353.
"""

from __future__ import annotations

import numpy as np
import pytest

from beltpitch.belts.least_squares import Array, Unknown, fit

X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
WEIGHT_X = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0])
WEIGHT_Y = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])


def predict(p: Array) -> tuple[Array, Array]:
    by = np.zeros((10, 12))
    by[:, 0], by[:, 1], by[:, 2:] = 1.0, p[2:], p[1] * np.eye(10)
    return p[0] + p[1] * p[2:], by


def test_pearsons_data_with_yorks_weights() -> None:
    true_x = [Unknown("x", x, w**-0.5) for x, w in zip(X, WEIGHT_X, strict=True)]
    line = [Unknown("intercept", 1.0), Unknown("slope", 1.0)]
    found = fit(predict, Y, WEIGHT_Y**-0.5, [*line, *true_x])
    assert found.values[:2] == pytest.approx([5.47991022, -0.480533407], abs=2e-7)
    assert found.u[:2] == pytest.approx([0.2949707, 0.0579850], abs=2e-6)
    assert found.chi2 == pytest.approx(11.866353, abs=1e-6)
    assert found.dof == 8
