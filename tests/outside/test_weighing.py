"""Weighing against published figures, and distributions against JCGM 101.

Sources: three makers' unit weights of nominally equal plain steel strings, with solid steel beside
them (github.com/zmoon/stringcalc, commit 236d9da, data/{daddario-tension,ghs,stringjoy}.csv; seven
of its rows are printed here); JCGM 101:2008, clause 9.5 (gauge block), its distributions and result
as reported in Metrology 2(1):3 (2022): 838 nm, u 36 nm, 99 % interval [745, 932] nm.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from beltpitch.belts.mechanics import frequency
from beltpitch.belts.strand import Strand
from beltpitch.belts.weighing import Balance, compare, taped_length, weigh
from beltpitch.uncertainty import Estimate, Part, combine
from calibration.monte_carlo import Array, check, propagate, strand_tension

LB_PER_INCH = 0.45359237 / 0.0254

# gauge in inches, unit weight in lb/in: D'Addario, GHS, Stringjoy, solid steel
SPREAD = [
    (0.009, 1.794e-5, 1.81e-5, 1.9747e-5, 1.8042e-5),
    (0.010, 2.215e-5, 2.27e-5, 2.4382e-5, 2.2274e-5),
    (0.011, 2.68e-5, 2.95e-5, 2.95e-5, 2.6951e-5),
    (0.014, 4.342e-5, 4.77e-5, 4.7794e-5, 4.3657e-5),
    (0.017, 6.402e-5, 6.81e-5, 7.047e-5, 6.4372e-5),
    (0.020, 8.861e-5, 8.41e-5, 9.7537e-5, 8.9096e-5),
    (0.024, 1.276e-4, 1.432e-4, 1.4046e-4, 1.283e-4),
]


@pytest.mark.parametrize(("gauge", "daddario", "ghs", "stringjoy", "steel"), SPREAD)
def test_a_weighed_wire_tells_makers_apart(
    gauge: float, daddario: float, ghs: float, stringjoy: float, steel: float
) -> None:
    """A metre of solid steel wire on a 0.01 g scale: the maker whose figure is steel's fits."""
    shown = round(steel * LB_PER_INCH * 1e5) / 1e5  # a metre, to 0.01 g
    own = weigh("wire", taped_length(1.0), [shown], Balance(1e-5)).linear_mass

    def fits(printed: float, u: float) -> bool:
        figure = printed * LB_PER_INCH
        return compare(own, Estimate.single(figure, u * figure, name="printed", key="p")).fits

    assert fits(daddario, 0.005)
    assert not fits(stringjoy, 0.005)  # 8.9 to 9.6 % heavier
    # with the doubt that a printed figure deserves (reference notes 6: 3 to 5 %) all fit but one,
    # which stands 11.6 % off steel
    assert all(fits(printed, 0.05) for printed in (daddario, stringjoy))
    assert fits(ghs, 0.05) == (ghs / steel < 1.11)
    assert own.u / own.value < 0.02


# --- JCGM 101:2008, 9.5 --------------------------------------------------------------------------

TRIALS = 1_000_000


def trapezoid(rng: np.random.Generator, half: float, doubt: float) -> Array:
    """Return draws of a curvilinear trapezoid: a rectangle whose limits are not exact (6.4.3)."""
    a = rng.uniform(half - doubt, half + doubt, TRIALS)
    return a * rng.uniform(-1, 1, TRIALS)


def test_gauge_block() -> None:
    expansion = Estimate.single(11.5e-6, 2e-6 / math.sqrt(3), name="alpha", key="alpha")
    inputs = [
        Estimate.single(50_000_623, 25, name="standard", key="standard", dof=18),
        Estimate.single(215, 6, name="repeat", key="repeat", dof=24),
        Estimate.single(0, 4, name="random", key="random", dof=5),
        Estimate.single(0, 7, name="systematic", key="systematic", dof=8),
        expansion,
        Estimate(-0.1, (Part("mean", "mean", 0.2), Part("cycle", "cycle", 0.5 / math.sqrt(2)))),
    ]
    rng = np.random.default_rng(95)
    apart, warmer = trapezoid(rng, 1e-6, 0.1e-6), trapezoid(rng, 0.05, 0.025)

    def model(ls: Array, d: Array, d1: Array, d2: Array, alpha: Array, theta: Array) -> Array:
        return ls + d + d1 + d2 - ls * (apart * theta + alpha * warmer) - 50_000_000

    found = propagate(
        model,
        inputs,
        trials=TRIALS,
        shapes={"alpha": "rectangular", "cycle": "arcsine"},
    )
    assert found.mean == pytest.approx(838, abs=0.5)
    assert found.u == pytest.approx(36, abs=0.5)
    assert found.shortest(0.99) == pytest.approx((745, 932), abs=1.5)
    assert found.interval(0.99) == pytest.approx((745, 932), abs=1.5)


# --- the belt's own model ------------------------------------------------------------------------

MASS = Estimate.single(7.70e-3, 0.08e-3, name="linear mass", key="roll:y", dof=4)
SPAN = Estimate.single(0.150, 0.0005, name="span", key="tape")
TONE = Estimate.single(120.0, 0.15, name="pluck", key="pluck", dof=4)
T = 9.9792


def linear() -> Estimate:
    terms = [(T / MASS.value, MASS), (2 * T / SPAN.value, SPAN), (2 * T / TONE.value, TONE)]
    return combine(T, terms)


def without_dof(x: Estimate) -> Estimate:
    return Estimate(x.value, tuple(Part(p.name, p.key, p.u) for p in x.parts))


def test_worked_belt_budget() -> None:
    # reference notes 7, case 5: 95 % [9.734, 10.227] if normal, [9.660, 10.301] with Student's t
    normal = propagate(strand_tension, [without_dof(x) for x in (MASS, SPAN, TONE)])
    assert normal.u == pytest.approx(0.1257, abs=0.0008)
    assert normal.interval() == pytest.approx((9.734, 10.227), abs=0.003)
    student = propagate(strand_tension, [MASS, SPAN, TONE])
    assert student.u == pytest.approx(0.165, abs=0.002)
    assert student.interval() == pytest.approx((9.660, 10.301), abs=0.006)


def test_linear_budget_is_validated_where_it_should_be() -> None:
    plain = [without_dof(x) for x in (MASS, SPAN, TONE)]
    good = combine(T, [(T / x.value * c, x) for x, c in zip(plain, (1, 2, 2), strict=True)])
    assert check(good, propagate(strand_tension, plain)).agree
    # Welch-Satterthwaite with few plucks is not the distribution of the sum
    assert not check(linear(), propagate(strand_tension, [MASS, SPAN, TONE])).agree


def test_inputs_that_share_an_error_share_its_draw() -> None:
    same = propagate(lambda a, b: a - b, [MASS, MASS])
    assert same.u == 0


def test_the_model_for_arrays_is_the_exact_beam() -> None:
    for xi, holding, close in ((20, 1.0, 2e-4), (20, 0.33, 1.5e-3), (50, 0.33, 1e-4)):
        strand = Strand(0.3, 12.6e-3, 20 * 0.09 / xi**2, holding, holding, 1e-4)
        f = frequency(strand, 20.0)
        mass, span, tone = (np.array(x) for x in (12.6e-3, 0.3, f))
        found = strand_tension(mass, span, tone, strand.stiffness_n_m2, holding, 1e-4)
        assert float(found) == pytest.approx(20.0, rel=close)
