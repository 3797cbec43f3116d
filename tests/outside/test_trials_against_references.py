"""Parabola, its vertex and the Gaussian process against sources outside the project.

- `vertex_ci_check.csv` of the reference notes: constructed data; expected coefficients, vertex,
  delta and Fieller limits, computed there and equal to the profile-F interval to 8 digits.
- A published fit (dasonk.com/r/2014/03/22, n = 30): b1 10.794 (2.422), b2 -1.040 (0.239), vertex
  5.190 (0.265), profile interval [4.639, 5.882]; Fieller from these summaries [4.640, 5.881].
- scipy as the general-purpose library (curve_fit, stats): it is here already, where statsmodels
  would bring pandas and patsy for two functions. The F profile is made from scipy's F quantile.
- scikit-learn's GaussianProcessRegressor, used directly.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq, curve_fit

from beltpitch.study.gaussian_process import FREE, kernels, process, scaled
from beltpitch.study.next_trial import expected_improvement
from beltpitch.study.quadratic import f_tail, fieller, quadratic, vertex_u

TENSION = np.arange(8.0, 27.0, 2.0)
ERROR_UM = np.array([61, 48, 44, 35, 33, 29, 33, 34, 41, 47.0])


def in_newtons() -> tuple[np.ndarray, np.ndarray]:
    """Return coefficients and covariance of the fit in powers of the tension itself."""
    fit = quadratic(list(TENSION), list(ERROR_UM))
    c, h = fit.centre_n, fit.half_n
    # z = (x - c)/h, written out in powers of x
    turn = np.array([[1, -c / h, c**2 / h**2], [0, 1 / h, -2 * c / h**2], [0, 0, 1 / h**2]])
    return turn @ np.array(fit.b), turn @ np.array(fit.covariance) @ turn.T


def test_the_constructed_data_give_the_expected_parabola() -> None:
    b, _ = in_newtons()
    fit = quadratic(list(TENSION), list(ERROR_UM))
    assert b == pytest.approx([124.36363636, -10.24242424, 0.28030303], rel=1e-8)
    assert fit.scatter == pytest.approx(1.576340, abs=5e-7)
    assert fit.dof == 7
    assert fit.vertex_n == pytest.approx(18.270270, abs=5e-7)


def test_fieller_and_delta_limits_of_the_constructed_data() -> None:
    b, v = in_newtons()
    fit = quadratic(list(TENSION), list(ERROR_UM))
    assert fit.interval() == pytest.approx((17.882620, 18.712236), abs=1e-6)
    assert fieller(b[1], b[2], (v[1, 1], v[1, 2], v[2, 2]), 2.364624) == pytest.approx(
        (17.882620, 18.712236), abs=1e-6
    )
    u = vertex_u(b[1], b[2], (v[1, 1], v[1, 2], v[2, 2]))
    assert u == pytest.approx(0.173204, abs=5e-7)
    assert 18.270270 - 2.364624 * u == pytest.approx(17.860707, abs=2e-6)


def test_fieller_from_a_published_fit() -> None:
    b1, u1, b2, u2, vertex, u_vertex = 10.794, 2.422, -1.040, 0.239, 5.190, 0.265
    # the covariance that gives the published uncertainty of the vertex
    ratio = b1 / b2
    v12 = (u1**2 + ratio**2 * u2**2 - (2 * b2 * u_vertex) ** 2) / (2 * ratio)
    found = fieller(b1, b2, (u1**2, v12, u2**2), float(stats.t.ppf(0.975, 27)))
    assert vertex == pytest.approx(-b1 / (2 * b2), abs=1e-3)
    # published profile interval; its inputs are rounded to three decimals
    assert found == pytest.approx((4.639, 5.882), abs=4e-3)


def test_fieller_is_the_profile_f_interval() -> None:
    fit = quadratic(list(TENSION), list(ERROR_UM))
    limit = stats.f.ppf(0.95, 1, fit.dof)

    def excess(vertex: float) -> float:
        """F of the parabola whose vertex is held, less its limit."""
        design = np.stack([np.ones(10), (TENSION - vertex) ** 2], axis=1)
        left = ERROR_UM - design @ np.linalg.lstsq(design, ERROR_UM, rcond=None)[0]
        whole = fit.scatter**2 * fit.dof
        return float((left @ left - whole) / fit.scatter**2 - limit)

    low, high = brentq(excess, 15, 18.27), brentq(excess, 18.28, 22)
    assert fit.interval() == pytest.approx((low, high), abs=1e-7)


def test_weights_and_covariance_against_curve_fit() -> None:
    rng = np.random.default_rng(5)
    x = np.linspace(20, 60, 12)
    own = rng.uniform(0.1, 1.5, 12)
    y = 12 + 0.03 * (x - 37) ** 2 + rng.normal(0, 1.0, 12)
    fit = quadratic(list(x), list(y), list(own))
    sigma = 1 / np.sqrt(np.array(fit.weights))
    z = fit.z(x)
    b, v = curve_fit(
        lambda z, a, b, c: a + b * z + c * z**2, z, y, sigma=sigma, absolute_sigma=True
    )
    assert fit.b == pytest.approx(b, rel=1e-6)
    assert np.array(fit.covariance) == pytest.approx(v, rel=1e-5)
    # chi^2 equals its degrees of freedom with that scatter (Mandel and Paule)
    assert float(np.sum(((y - fit.value(x)) / sigma) ** 2)) == pytest.approx(fit.dof, rel=1e-6)
    # and the variance carries each tension's own error through the slope
    slope = (b[1] + 2 * b[2] * z) / fit.half_n
    assert sigma**2 == pytest.approx(fit.scatter**2 + (slope * own) ** 2, rel=2e-3)


@pytest.mark.parametrize("dof", [(2, 9), (1, 7), (4, 5)])
def test_f_tail_against_scipy(dof: tuple[int, int]) -> None:
    for f in (0.2, 1.0, 3.3, 12.0):
        assert f_tail(f, dof) == pytest.approx(stats.f.sf(f, *dof), rel=1e-10)


def test_lack_of_fit_and_trend_against_sums_of_squares() -> None:
    x = np.repeat([20.0, 30, 40, 50, 60], [2, 2, 4, 2, 2])
    y = np.array([9.1, 8.2, 5.0, 4.4, 3.1, 3.9, 2.8, 3.6, 4.1, 3.0, 5.5, 6.1])
    fit = quadratic(list(x), list(y))
    design = np.vander((x - 40) / 20, 3, increasing=True)
    left = y - design @ np.linalg.lstsq(design, y, rcond=None)[0]
    pure = sum(float(np.sum((y[x == v] - y[x == v].mean()) ** 2)) for v in np.unique(x))
    lack = (left @ left - pure) / 2 / (pure / 7)
    assert fit.lack_of_fit_p == pytest.approx(stats.f.sf(lack, 2, 7), rel=1e-9)
    trend = (np.sum((y - y.mean()) ** 2) - left @ left) / 2 / (left @ left / 9)
    assert fit.trend_p == pytest.approx(stats.f.sf(trend, 2, 9), rel=1e-9)
    groups = [y[x == v] for v in np.unique(x)]
    assert fit.between_p == pytest.approx(stats.f_oneway(*groups).pvalue, rel=1e-9)


def test_one_setting_of_the_prior_is_scikit_learns_own_posterior(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, DotProduct, Matern

    from beltpitch.study import gaussian_process

    mine = ConstantKernel(100.0) * DotProduct(1.0) ** 2 + ConstantKernel(0.16) * Matern(1.0, nu=2.5)
    assert FREE == 100.0
    monkeypatch.setattr(gaussian_process, "kernels", lambda: [mine])
    rng = np.random.default_rng(2)
    x = np.repeat([20.0, 30, 40, 50, 60], [2, 2, 4, 2, 2])
    y = 10 + np.maximum(0, 34 - x) + 0.1 * x + rng.normal(0, 0.5, 12)
    got = process(list(x), list(y), [0.25] * 12, 7)
    centre, spread = y.mean(), y.std()
    model = GaussianProcessRegressor(mine, alpha=0.25 / spread**2, optimizer=None)
    model.fit(scaled(list(x), (20, 60))[:, None], (y - centre) / spread)
    mean, u = model.predict(scaled(got.tension_n, (20, 60))[:, None], return_std=True)
    assert got.mean == pytest.approx(centre + spread * mean, rel=1e-9)
    assert got.u == pytest.approx(spread * u, rel=1e-5)
    # draws: about the mean, their spread wider by Student's over the normal quantile
    wider = stats.t.ppf(0.975, 7) / stats.norm.ppf(0.975)
    assert got.draws.std(axis=0) == pytest.approx(wider * got.u, rel=0.12)
    assert np.abs(got.draws.mean(axis=0) - got.mean).max() < 0.2 * got.u.max()


def test_the_average_over_the_prior_is_near_a_fit_of_its_settings() -> None:
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    x = np.linspace(20, 60, 25)
    y = np.where(x < 34, 34 - x, 0.1 * (x - 34)) + 0.05 * np.sin(17 * x)
    got = process(list(x), list(y), [0.05**2] * 25, 24)
    spread = y.std()
    fitted = GaussianProcessRegressor(
        ConstantKernel(1.0) * Matern(0.5, (0.1, 5.0), nu=2.5), alpha=(0.05 / spread) ** 2
    ).fit(scaled(list(x), (20, 60))[:, None], (y - y.mean()) / spread)
    mean = y.mean() + spread * fitted.predict(scaled(got.tension_n, (20, 60))[:, None])
    assert got.mean == pytest.approx(mean, abs=0.03 * np.ptp(y))
    assert len(kernels()) == 9


def test_expected_improvement_against_an_integral() -> None:
    rng = np.random.default_rng(1)
    mean, u, best = np.array([1.0, 2.0, 0.5]), np.array([0.5, 1.5, 0.01]), 0.9
    drawn = mean + u * rng.standard_normal((400_000, 3))
    wanted = np.maximum(best - drawn, 0).mean(axis=0)
    assert expected_improvement(mean, u, best) == pytest.approx(wanted, abs=4e-3)
