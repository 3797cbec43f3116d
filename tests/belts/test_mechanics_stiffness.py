"""Bending stiffness from heard inharmonicity, for any ends."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from beltpitch.belts.bending_stiffness import inharmonicity, stiffness
from beltpitch.belts.mechanics import frequency, partials, tension
from beltpitch.belts.strand import Strand
from beltpitch.errors import CannotTell, RequestError
from beltpitch.uncertainty import Estimate, combine

STRAND = Strand(0.3, 0.0126, 4e-4, 1 / 3, 1.0, 7.66e-5, 29e3)
PULL = 40.0
ENDS = [(0.0, 0.0), (1 / 3, 1 / 3), (1 / 3, 1.0), (1.0, 1.0), (0.7, 0.1)]


@pytest.mark.parametrize("top", [2, 3, 6])
def test_pinned_ends_give_the_textbook_value(top: int) -> None:
    for xi in (3.0, 20.0, 150.0):
        assert inharmonicity(xi, 0.0, 0.0, top) == pytest.approx((math.pi / xi) ** 2, rel=1e-9)
    pinned = replace(STRAND, hold_a=0.0, hold_b=0.0, stretch_n=math.inf)
    b = 0.004
    found = stiffness(pinned, 90.0, b, top)
    assert found.value == pytest.approx(b * found.tension_n * 0.3**2 / math.pi**2, rel=1e-9)


@pytest.mark.parametrize(("s1", "s2"), ENDS)
def test_held_ends_leave_the_inharmonicity_nearly_unchanged(s1: float, s2: float) -> None:
    # derived: B = (pi^2/xi^2) [1 + (2/xi) sum s (1 - h)], h = 2 - 3s/2 + s^2/3
    first = 2 * sum(s * (1 - (2 - 1.5 * s + s * s / 3)) for s in (s1, s2))
    for xi, within in ((100.0, 0.0025), (400.0, 2e-4)):
        apart = inharmonicity(xi, s1, s2, 3) / (math.pi / xi) ** 2 - 1
        assert apart == pytest.approx(first / xi, abs=within)
    assert abs(inharmonicity(50.0, s1, s2, 4) / (math.pi / 50) ** 2 - 1) < 0.035


@pytest.mark.parametrize(("s1", "s2"), ENDS)
@pytest.mark.parametrize("xi", [15.0, 40.0, 120.0])
def test_a_fit_to_all_partials_hears_nearly_the_same(s1: float, s2: float, xi: float) -> None:
    """The sound room fits f_n = n F sqrt(1 + B n^2) to all partials; we use modes 1 and top."""
    ei = PULL * (0.3 / xi) ** 2
    strand = Strand(0.3, 0.0126, ei, s1, s2)
    top = 5
    tones = np.array(partials(strand, PULL, top))
    n = np.arange(1, top + 1)

    def miss(p: np.ndarray) -> np.ndarray:
        return np.asarray(np.log(n * p[0] * np.sqrt(1 + p[1] * n**2) / tones))

    fit = least_squares(miss, [tones[0], 1e-3], x_scale=[1.0, 1e-4], xtol=1e-14, ftol=1e-14)
    assert fit.x[1] == pytest.approx(inharmonicity(xi, s1, s2, top), rel=0.01)
    found = stiffness(strand, tones[0], float(fit.x[1]), top)
    assert found.value == pytest.approx(ei, rel=0.012)


@pytest.mark.parametrize(("s1", "s2"), ENDS)
@pytest.mark.parametrize("xi", [2.0, 12.0, 70.0, 300.0])
def test_stiffness_gives_back_what_made_the_partials(s1: float, s2: float, xi: float) -> None:
    ei = PULL * (0.3 / xi) ** 2
    strand = replace(STRAND, stiffness_n_m2=ei, hold_a=s1, hold_b=s2)
    b = inharmonicity(xi, s1, s2)
    found = stiffness(strand, frequency(strand, PULL), b)
    assert found.value == pytest.approx(ei, rel=1e-7)
    assert found.tension_n == pytest.approx(PULL, rel=1e-9)
    assert found.xi == pytest.approx(xi, rel=1e-7)
    assert found.strand.stiffness_n_m2 == found.value
    # and the mechanics agree with themselves
    assert tension(found.strand, found.frequency_hz).tension_n == pytest.approx(PULL, rel=1e-9)


NAMES = {
    "span": "span_m",
    "linear_mass": "linear_mass_kg_per_m",
    "air": "air_kg_per_m",
    "stretch": "stretch_n",
    "end_a": "hold_a",
    "end_b": "hold_b",
}


@pytest.mark.parametrize("xi", [12.0, 60.0])
@pytest.mark.parametrize("stretch_n", [29e3, 800.0])
def test_sensitivities_are_the_derivatives(xi: float, stretch_n: float) -> None:
    ei = PULL * (0.3 / xi) ** 2
    strand = replace(STRAND, stiffness_n_m2=ei, hold_a=0.35, hold_b=0.8, stretch_n=stretch_n)
    f, b, h = frequency(strand, PULL), inharmonicity(xi, 0.35, 0.8), 1e-5
    log = stiffness(strand, f, b).log

    def by(name: str, step: float) -> float:
        if name == "frequency":
            return math.log(stiffness(strand, f * math.exp(step), b).value)
        if name == "inharmonicity":
            return math.log(stiffness(strand, f, b * math.exp(step)).value)
        old = getattr(strand, NAMES[name])
        new = old + step if name.startswith("end") else old * math.exp(step)
        return math.log(stiffness(replace(strand, **{NAMES[name]: new}), f, b).value)

    for name in ("frequency", "inharmonicity", *NAMES):
        slope = (by(name, h) - by(name, -h)) / (2 * h)
        assert getattr(log, name) == pytest.approx(slope, rel=2e-5, abs=2e-7), name


def test_heard_stiffness_and_tension_share_their_inputs() -> None:
    """Through both steps, T's doubt equals that of solving tone and B for T in one step."""
    f = frequency(STRAND, PULL)
    b = inharmonicity(STRAND.xi(PULL), STRAND.hold_a, STRAND.hold_b)
    tone = Estimate.single(f, 0.001 * f, name="plucks", key="pluck")
    span = Estimate.single(0.3, 0.0005, name="span", key="tape")
    mass = Estimate.single(0.0126, 0.0003, name="linear mass", key="roll")
    heard = Estimate.single(b, 0.2 * b, name="stiffness", key="B")
    ends = (Estimate.single(1 / 3, 0.29, name="ends", key="ends"), Estimate(1.0))
    bend = stiffness(STRAND, f, b)
    ei = combine(
        bend.value,
        bend.terms(frequency=tone, span=span, linear_mass=mass, ends=ends, inharmonicity=heard),
    )
    strand = replace(STRAND, stiffness_n_m2=ei.value)
    step = tension(strand, f)
    two = combine(
        step.tension_n,
        step.terms(frequency=tone, span=span, linear_mass=mass, stiffness=ei, ends=ends),
    )

    def at_once(df: float, dl: float, dm: float, db: float, ds: float) -> float:
        moved = replace(
            STRAND,
            span_m=0.3 + dl,
            linear_mass_kg_per_m=0.0126 + dm,
            hold_a=STRAND.hold_a + ds,
        )
        return stiffness(moved, f + df, b + db).tension_n

    moves = np.diag([0.001 * f, 0.0005, 0.0003, 0.2 * b, 0.29]) * 1e-3
    parts = [(at_once(*d) - at_once(*-d)) / 2e-3 for d in moves]
    assert two.value == pytest.approx(PULL, rel=1e-9)
    assert two.u == pytest.approx(math.hypot(*parts), rel=1e-4)


def test_what_tells_no_stiffness_is_refused() -> None:
    for b in (0.0, -0.001, 5e3, math.nan):
        with pytest.raises(CannotTell, match="tells no bending stiffness"):
            stiffness(STRAND, 90.0, b)
    with pytest.raises(RequestError, match="frequency is 0 Hz"):
        stiffness(STRAND, 0.0, 0.001)
