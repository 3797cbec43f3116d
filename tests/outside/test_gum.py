"""The budget against the Guide's worked examples, Monte Carlo and general-purpose libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beltpitch.belts.mechanics import tension
from beltpitch.belts.strand import Strand
from beltpitch.uncertainty import (
    Estimate,
    Part,
    combine,
    difference,
    ratio,
    student_quantile,
    type_a,
)

INF = math.inf

# JCGM 100:2008 table G.2: nu, t for p = 95 %, 95.45 %, 99 %
TABLE_G2 = """
1 12.71 13.97 63.66
2 4.30 4.53 9.92
3 3.18 3.31 5.84
4 2.78 2.87 4.60
5 2.57 2.65 4.03
9 2.26 2.32 3.25
10 2.23 2.28 3.17
16 2.12 2.17 2.92
20 2.09 2.13 2.85
50 2.01 2.05 2.68
"""


@pytest.mark.parametrize("row", TABLE_G2.strip().splitlines())
def test_student_t_of_table_g2(row: str) -> None:
    nu, *printed = (float(word) for word in row.split())
    found = [student_quantile((1 + p) / 2, nu) for p in (0.95, 0.9545, 0.99)]
    assert found == pytest.approx(printed, abs=0.0051)


# Recomputed to three decimals in the reference notes, section 7: nu, 95 %, 95.45 %, 99 %
FINER_G2 = {1: (12.706, 13.968, 63.657), 4: (2.776, 2.869, 4.604), 8: (2.306, 2.366, 3.355),
            16: (2.120, 2.169, 2.921), 50: (2.009, 2.051, 2.678)}  # fmt: skip


@pytest.mark.parametrize("nu", FINER_G2)
def test_student_t_to_three_decimals(nu: int) -> None:
    found = [student_quantile((1 + p) / 2, nu) for p in (0.95, 0.9545, 0.99)]
    assert found == pytest.approx(FINER_G2[nu], abs=0.0006)


def end_gauge() -> Estimate:
    """GUM H.1: l = ls + d - ls (dalpha theta + alpha_s dtheta), lengths in nm."""
    ls = Estimate.single(50_000_623, 25, name="standard", key="ls", dof=18)
    d = Estimate(
        215,
        (
            Part("comparison", "repeats", 5.8, 24),
            Part("comparison", "random", 3.9, 5),
            Part("comparison", "systematic", 6.7, 8),
        ),
    )
    alpha = Estimate.single(11.5e-6, 1.2e-6, name="expansion", key="alpha")
    theta = Estimate.single(-0.1, 0.41, name="temperature", key="theta")
    dalpha = Estimate.single(0, 0.58e-6, name="expansion apart", key="dalpha", dof=50)
    dtheta = Estimate.single(0, 0.029, name="temperature apart", key="dtheta", dof=2)
    terms = [
        (1.0 - (dalpha.value * theta.value + alpha.value * dtheta.value), ls),
        (1.0, d),
        (-ls.value * dtheta.value, alpha),
        (-ls.value * dalpha.value, theta),
        (-ls.value * theta.value, dalpha),
        (-ls.value * alpha.value, dtheta),
    ]
    return combine(ls.value + d.value, terms)


def test_gum_h1_end_gauge() -> None:
    # JCGM 100:2008 H.1: l = 50.000 838 mm, u_c = 32 nm, nu_eff = 16, t_99 = 2.92, U_99 = 93 nm
    gauge = end_gauge()
    assert gauge.value == 50_000_838
    assert gauge.u == pytest.approx(32, abs=0.5)
    assert math.floor(gauge.dof) == 16
    low, high = gauge.interval(0.99)
    assert (high - low) / 2 == pytest.approx(93, abs=0.5)
    assert gauge.budget()[0].name == "standard"
    assert [line.u for line in gauge.budget()[:2]] == pytest.approx([25.0, 16.6], abs=0.1)
    # second-order terms (GUM 5.1.2 note): 11.7 and 1.7 nm, u_c = 34 nm
    second = gauge.with_part(Part("second order", "so1", 50_000_623 * 0.58e-6 * 0.41))
    second = second.with_part(Part("second order", "so2", 50_000_623 * 1.2e-6 * 0.029))
    assert second.u == pytest.approx(34, abs=0.5)


def test_jcgm101_9_5_gauge_block_by_monte_carlo() -> None:
    """JCGM 101:2008 clause 9.5: 838 nm, u 36 nm, shortest 99 % interval [745, 932] nm.

    The Guide's own draws. The first-order result falls short of it in u (32 nm) because it leaves
    out a product of two inputs, and its Student interval covers nearly the same ground.
    """
    rng = np.random.default_rng(101)
    n = 400_000

    def t(nu: float) -> np.ndarray:
        return rng.standard_t(nu, n)

    def uniform_with_doubt(middle: float, half: float, doubt: float) -> np.ndarray:
        # curvilinear trapezoid: limits known to +/- doubt (JCGM 101 6.4.3)
        width = half + doubt * (2 * rng.random(n) - 1)
        return middle + width * (2 * rng.random(n) - 1)

    ls = 50_000_623 + 25 * t(18)
    d = 215 + 6 * t(24) + 4 * t(5) + 7 * t(8)
    alpha = 11.5e-6 + 2e-6 * (2 * rng.random(n) - 1)
    theta = -0.1 + 0.2 * rng.standard_normal(n) + 0.5 * np.sin(2 * np.pi * rng.random(n))
    dalpha = uniform_with_doubt(0.0, 1.0e-6, 0.1e-6)
    dtheta = uniform_with_doubt(0.0, 0.050, 0.025)
    length = ls + d - ls * (dalpha * theta + alpha * dtheta) - 50_000_000
    assert np.mean(length) == pytest.approx(838, abs=0.5)
    assert np.std(length) == pytest.approx(36, abs=0.5)
    low, high = np.quantile(length, [0.005, 0.995])
    assert (low, high) == pytest.approx((745, 932), abs=2.5)
    ours = end_gauge()
    assert ours.u < np.std(length)  # first order leaves out dalpha x theta
    wide = student_quantile(0.995, ours.dof) * ours.u
    assert wide == pytest.approx((high - low) / 2, rel=0.02)


# JCGM 100:2008 H.2: five simultaneous observations of V in V, I in mA, phi in rad
H2 = np.array(
    [[5.007, 4.994, 5.005, 4.990, 4.999],
     [19.663, 19.639, 19.640, 19.685, 19.678],
     [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]]
)  # fmt: skip


def test_gum_h2_correlated_inputs_share_keys() -> None:
    # R = 127.732(71), X = 219.847(295), Z = 254.260(236) ohm
    scale = np.array([1.0, 1e-3, 1.0])
    means = H2.mean(axis=1) * scale
    covariance = np.cov(H2 * scale[:, None]) / 5
    factor = np.linalg.cholesky(covariance)  # columns: three independent errors, shared by inputs
    inputs = [
        Estimate(float(mean), tuple(Part(f"{i}", f"e{j}", float(row[j]), 4) for j in range(3)))
        for i, (mean, row) in enumerate(zip(means, factor, strict=True))
    ]
    v, i, phi = (float(x) for x in means)
    z, r, x = v / i, v / i * math.cos(phi), v / i * math.sin(phi)
    resistance = combine(r, zip((r / v, -r / i, -x), inputs, strict=True))
    reactance = combine(x, zip((x / v, -x / i, r), inputs, strict=True))
    impedance = combine(z, zip((z / v, -z / i, 0.0), inputs, strict=True))
    for found, value, u in (
        (resistance, 127.732, 0.071),
        (reactance, 219.847, 0.295),
        (impedance, 254.260, 0.236),
    ):
        assert found.value == pytest.approx(value, abs=0.0011)
        assert found.u == pytest.approx(u, abs=0.001)


def test_gum_h2_second_approach_is_type_a() -> None:
    # H.2.4: R evaluated for each of the five sets, then averaged, gives the same
    sets = [v / (i * 1e-3) * math.cos(phi) for v, i, phi in H2.T]
    found = type_a(sets, name="R", key="R")
    assert found.value == pytest.approx(127.732, abs=0.0011)
    assert found.u == pytest.approx(0.071, abs=0.0005)
    assert found.dof == 4


# --- a belt: mu = 7.70(8) g/m (nu 4), L = 150.0(5) mm, f = 120.00(15) Hz (nu 4) ---------------
# Reference notes, section 7, worked belt case.

MASS, MASS_U = 7.70e-3, 0.08e-3
SPAN, SPAN_U = 0.1500, 0.5e-3
TONE, TONE_U = 120.0, 0.15


def worked_belt() -> Estimate:
    found = tension(Strand(SPAN, MASS), TONE)
    terms = found.terms(
        linear_mass=Estimate.single(MASS, MASS_U, name="linear mass", key="roll", dof=4),
        span=Estimate.single(SPAN, SPAN_U, name="span", key="tape"),
        frequency=Estimate.single(TONE, TONE_U, name="plucks", key="pluck", dof=4),
    )
    return combine(found.tension_n, terms)


def test_worked_belt_budget() -> None:
    belt = worked_belt()
    assert belt.value == pytest.approx(9.9792, abs=5e-5)
    assert belt.u == pytest.approx(0.12569, abs=5e-6)
    assert belt.dof == pytest.approx(8.61, abs=0.01)
    assert [line.name for line in belt.budget()] == ["linear mass", "span", "plucks"]
    assert [line.u for line in belt.budget()] == pytest.approx(
        [0.10368, 0.06653, 0.02495], abs=6e-6
    )
    low, high = belt.interval(0.95)
    assert (high - low) / 2 == pytest.approx(0.290, abs=5e-4)


def test_worked_belt_budget_against_monte_carlo() -> None:
    # JCGM 101 with normal inputs: mean 9.9793, u 0.1257, 95 % [9.734, 10.227]
    rng = np.random.default_rng(7)
    n = 1_000_000
    mass = rng.normal(MASS, MASS_U, n)
    span = rng.normal(SPAN, SPAN_U, n)
    tone = rng.normal(TONE, TONE_U, n)
    drawn = 4 * mass * (span * tone) ** 2
    belt = worked_belt()
    assert np.std(drawn) == pytest.approx(0.1257, abs=3e-4)
    assert belt.u == pytest.approx(np.std(drawn), rel=2.5e-3)
    assert belt.value == pytest.approx(np.mean(drawn), abs=5e-4)
    known = Estimate.single(belt.value, belt.u, name="all", key="all")  # normal: no dof lost
    assert known.interval(0.95) == pytest.approx(np.quantile(drawn, [0.025, 0.975]), abs=3e-3)


def test_worked_belt_budget_against_gtc() -> None:
    from GTC import dof, uncertainty, ureal, value

    mass = ureal(MASS, MASS_U, 4)
    span = ureal(SPAN, SPAN_U)
    tone = ureal(TONE, TONE_U, 4)
    referee = 4 * mass * span**2 * tone**2
    belt = worked_belt()
    assert belt.value == pytest.approx(value(referee), rel=1e-12)
    assert belt.u == pytest.approx(uncertainty(referee), rel=1e-12)
    assert belt.dof == pytest.approx(dof(referee), rel=1e-9)


def test_a_stiff_belt_against_the_uncertainties_library() -> None:
    """Pinned, with air and stretch: T = 4 (m0/(1+T/EA) + ma) L^2 f^2 - pi^2 EI/L^2."""
    from uncertainties import ufloat

    m0, ma = ufloat(0.0126, 1e-4), ufloat(7.7e-5, 2.6e-5)
    span, tone, ei = ufloat(0.15, 4e-4), ufloat(150.0, 0.3), ufloat(4e-4, 1e-4)
    stretch = ufloat(2000.0, 200.0)  # soft on purpose
    referee = 4 * m0 * span**2 * tone**2
    for _ in range(60):  # fixed point, its graph kept
        moving = m0 / (1 + referee / stretch) + ma
        referee = 4 * moving * span**2 * tone**2 - math.pi**2 * ei / span**2
    strand = Strand(0.15, 0.0126, 4e-4, 0.0, 0.0, 7.7e-5, 2000.0)
    found = tension(strand, 150.0)

    def given(x: object, name: str) -> Estimate:
        return Estimate.single(x.nominal_value, x.std_dev, name=name, key=name)  # type: ignore[attr-defined]

    belt = combine(
        found.tension_n,
        found.terms(
            linear_mass=given(m0, "mass"), air=given(ma, "air"), span=given(span, "span"),
            frequency=given(tone, "tone"), stiffness=given(ei, "stiffness"),
            stretch=given(stretch, "stretch"),
        ),
    )  # fmt: skip
    assert belt.value == pytest.approx(referee.nominal_value, rel=1e-10)
    assert belt.u == pytest.approx(referee.std_dev, rel=1e-8)


def test_pair_from_one_roll_against_gtc() -> None:
    """Two belts share roll and tape: the difference keeps only what they do not share."""
    from GTC import uncertainty, ureal

    mass, span = ureal(MASS, MASS_U), ureal(SPAN, SPAN_U)
    tones = ureal(TONE, TONE_U), ureal(TONE + 1, TONE_U)
    left, right = (4 * mass * span**2 * tone**2 for tone in tones)

    def ours(tone: float, key: str) -> Estimate:
        found = tension(Strand(SPAN, MASS), tone)
        terms = found.terms(
            linear_mass=Estimate.single(MASS, MASS_U, name="linear mass", key="roll"),
            span=Estimate.single(SPAN, SPAN_U, name="span", key="tape"),
            frequency=Estimate.single(tone, TONE_U, name="plucks", key=key),
        )
        return combine(found.tension_n, terms)

    a, b = ours(TONE, "left"), ours(TONE + 1, "right")
    assert difference(a, b).u == pytest.approx(uncertainty(left - right), rel=1e-9)
    assert ratio(a, b).u == pytest.approx(uncertainty(left / right), rel=1e-9)
    assert difference(a, b).u < 0.3 * a.u
