"""Exact modes of a stiff strand against independent methods and the literature's formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import eigh
from scipy.optimize import brentq

from beltpitch.belts.mechanics import frequency, tension
from beltpitch.belts.modes import mode, mode_ratio
from beltpitch.belts.strand import Strand

INF = math.inf
Array = NDArray[np.float64]


def hermite(length: float, xi_per_length: float, elements: int) -> tuple[Array, Array]:
    """Return stiffness and mass matrices of free beam elements with EI = m = 1, T = xi^2/L^2."""
    h, t = length / elements, xi_per_length**2
    bend = np.array(
        [[12, 6 * h, -12, 6 * h], [6 * h, 4 * h * h, -6 * h, 2 * h * h],
         [-12, -6 * h, 12, -6 * h], [6 * h, 2 * h * h, -6 * h, 4 * h * h]]
    ) / h**3  # fmt: skip
    pull = t / (30 * h) * np.array(
        [[36, 3 * h, -36, 3 * h], [3 * h, 4 * h * h, -3 * h, -h * h],
         [-36, -3 * h, 36, -3 * h], [3 * h, -h * h, -3 * h, 4 * h * h]]
    )  # fmt: skip
    inert = h / 420 * np.array(
        [[156, 22 * h, 54, -13 * h], [22 * h, 4 * h * h, 13 * h, -3 * h * h],
         [54, 13 * h, 156, -22 * h], [-13 * h, -3 * h * h, -22 * h, 4 * h * h]]
    )  # fmt: skip
    size = 2 * (elements + 1)
    k, m = np.zeros((size, size)), np.zeros((size, size))
    for i in range(elements):
        part = slice(2 * i, 2 * i + 4)
        k[part, part] += bend + pull
        m[part, part] += inert
    return k, m


def finite_elements(
    xi: float, kappa_a: float, kappa_b: float, modes: int, elements: int = 150
) -> list[float]:
    """Return f_n/(n f_s) by Hermite beam elements (Euler-Bernoulli with axial tension)."""
    k, m = hermite(1.0, xi, elements)
    gone = [0, 2 * elements]
    for kappa, row in ((kappa_a, 1), (kappa_b, 2 * elements + 1)):
        if math.isinf(kappa):
            gone.append(row)
        else:
            k[row, row] += kappa * xi  # k_r = kappa sqrt(T EI)
    kept = np.setdiff1d(np.arange(len(k)), gone)
    squares = eigh(
        k[np.ix_(kept, kept)], m[np.ix_(kept, kept)], eigvals_only=True,
        subset_by_index=[0, modes - 1],
    )  # fmt: skip
    return [math.sqrt(w) / (n * math.pi * xi) for n, w in enumerate(squares, start=1)]


@pytest.mark.parametrize("xi", [0.5, 3.0, 10.0, 20.0, 60.0])
@pytest.mark.parametrize(
    ("kappa_a", "kappa_b"), [(0, 0), (0.5, 0.5), (0, INF), (0.2, 3.0), (1.0, INF), (INF, INF)]
)
def test_modes_agree_with_finite_elements(xi: float, kappa_a: float, kappa_b: float) -> None:
    exact = [mode_ratio(xi, n, kappa_a, kappa_b) for n in range(1, 6)]
    assert exact == pytest.approx(finite_elements(xi, kappa_a, kappa_b, 5), rel=2e-6)


# Reference notes, data/check_tensioned_beam.csv (computed there from the characteristic equations,
# cross-checked with 200 elements): xi, n, pinned, clamped, clamped and pinned.
TABLE = """
3 1 1.44797193 2.62207050 1.95815646
3 4 4.30650245 5.40293058 4.83791273
5 1 1.18100981 1.80507851 1.45251662
5 2 1.60596909 2.23926562 1.90104256
7 1 1.09609329 1.50053468 1.27469580
10 1 1.04818703 1.30485284 1.16445131
10 3 1.37414133 1.65940772 1.50982218
15 2 1.08418616 1.24831004 1.16159615
20 1 1.01226183 1.12478034 1.06565931
20 4 1.18100981 1.30755711 1.24208741
30 1 1.00546816 1.07734834 1.04018583
50 1 1.00197198 1.04374036 1.02243189
50 3 1.01761023 1.06015739 1.03846674
75 2 1.00350306 1.03102188 1.01707796
100 1 1.00049336 1.02091451 1.01060090
100 4 1.00786476 1.02847694 1.01806849
200 1 1.00012336 1.01022601 1.00514931
300 4 1.00087691 1.00759608 1.00422528
500 1 1.00001974 1.00403591 1.00202380
1000 1 1.00000493 1.00200896 1.00100594
1000 4 1.00007895 1.00208317 1.00108006
"""


@pytest.mark.parametrize("row", TABLE.strip().splitlines())
def test_table_of_the_reference_notes(row: str) -> None:
    xi, n, *printed = (float(word) for word in row.split())
    ends = ((0.0, 0.0), (INF, INF), (INF, 0.0))
    assert [mode_ratio(xi, int(n), *end) for end in ends] == pytest.approx(printed, abs=6e-9)


def test_equal_springs_obey_the_equation_of_odd_modes() -> None:
    # a tan(a/2) + b tanh(b/2) + (a^2 + b^2)/(kappa xi) = 0, and its printed roots at xi = 20
    # (the project's design notes).
    for kappa, printed in ((0, 1.012262), (0.5, 1.046614), (1, 1.064914), (INF, 1.124780)):
        assert mode_ratio(20, 1, kappa, kappa) == pytest.approx(printed, abs=5e-7)
    for xi, kappa, n in ((8.0, 0.3, 1), (20.0, 0.5, 3), (55.0, 4.0, 5)):

        def odd(a: float, xi: float = xi, kappa: float = kappa) -> float:
            b = math.hypot(a, xi)
            return a * math.tan(a / 2) + b * math.tanh(b / 2) + (a * a + b * b) / (kappa * xi)

        a = brentq(odd, n * math.pi + 1e-9, (n + 0.51) * math.pi, xtol=1e-14)
        ratio = a * math.hypot(a, xi) / (n * math.pi * xi)
        assert mode_ratio(xi, n, kappa, kappa) == pytest.approx(ratio, rel=1e-12)


def test_textbook_limits() -> None:
    for xi in (0.5, 4.0, 90.0, 1e6):
        for n in (1, 2, 7):
            pinned = math.sqrt(1 + (n * math.pi / xi) ** 2)  # closed form
            assert mode_ratio(xi, n) == pytest.approx(pinned, rel=1e-14)
    # Without tension: (4.7300^2/2 pi L^2) sqrt(EI/m) clamped, 3.9266^2 clamped and pinned (Blevins)
    bar = 4.730040744862704**2 / math.pi**2
    assert mode_ratio(1e-3, 1, INF, INF) * 1e-3 / math.pi == pytest.approx(bar, rel=1e-6)
    bar = 3.926602312047919**2 / math.pi**2
    assert mode_ratio(1e-3, 1, INF, 0) * 1e-3 / math.pi == pytest.approx(bar, rel=1e-6)


@pytest.mark.parametrize("xi", [1e4, 1e5, 1e6])
def test_a_very_long_strand_keeps_its_small_difference(xi: float) -> None:
    # Second order (Morse; reference notes section 1): each clamped end takes sqrt(EI/T) off.
    rise = 2 / xi + (4 + math.pi**2 / 2) / xi**2
    assert mode_ratio(xi, 1, INF, INF) - 1 == pytest.approx(rise, rel=1e-6)


def effective_length(xi: float, s1: float, s2: float) -> float:
    """Return f_1/f_s by L_eff = L - sqrt(EI/T) sum s, times the pinned root (reference notes)."""
    return math.sqrt(1 + (math.pi / xi) ** 2) / (1 - (s1 + s2) / xi)


@pytest.mark.parametrize(("xi", "within"), [(20.0, 6e-4), (50.0, 4e-5), (200.0, 1e-6)])
def test_effective_length_is_a_close_cross_check(xi: float, within: float) -> None:
    holdings = [(0, 0), (1 / 3, 1 / 3), (1, 1 / 3), (0.5, 0), (1, 1)]
    worst = max(abs(effective_length(xi, *s) / mode(xi, 1, *s).value - 1) for s in holdings)
    assert worst < within


def clamped(xi: float) -> tuple[Strand, float]:
    """Return a clamped strand of L = m = EI = 1 and its tone at xi."""
    strand = Strand(1.0, 1.0, 1.0, 1.0, 1.0)
    return strand, frequency(strand, xi**2)


def fletcher(f: float) -> float:
    """Return T of L = m = EI = 1, clamped: Fletcher 1964, JASA 36, 203."""

    def miss(xi: float) -> float:
        bracket = math.sqrt(1 + (math.pi / xi) ** 2) * (1 + 2 / xi + 4 / xi**2)
        return xi / 2 * bracket - f

    return float(brentq(miss, 2.0, 4 * f)) ** 2


def zui(f: float, xi: float) -> float:
    """Return T of L = m = EI = 1: Zui, Shinke & Namita 1996, J. Struct. Eng. 122, 651, mode 1."""
    c = 1.0
    if xi >= 17:
        return 4 * f**2 * (1 - 2.20 * c / f - 0.550 * (c / f) ** 2)
    if xi >= 6:
        return 4 * f**2 * (0.865 - 11.6 * (c / f) ** 2)
    return 4 * f**2 * (0.828 - 10.5 * (c / f) ** 2)


def ren(f: float, xi: float) -> float:
    """Return T of L = m = EI = 1: Ren, Chen & Hu 2005, Struct. Eng. Mech. 20(3), 363."""
    if xi <= 18:
        return 3.432 * f**2 - 45.191
    if xi <= 210:
        return (2 * f - 2.363) ** 2
    return 4 * f**2


@pytest.mark.parametrize(("xi", "within"), [(10, 0.0125), (20, 0.0026), (50, 0.0003), (100, 4e-5)])
def test_fletcher_within_its_error(xi: float, within: float) -> None:
    strand, f = clamped(xi)
    assert fletcher(f) == pytest.approx(tension(strand, f).tension_n, rel=within)


@pytest.mark.parametrize(
    ("xi", "within"),
    [(4, 0.027), (6, 0.014), (10, 0.012), (15, 0.012), (17, 0.023), (20, 0.013), (25, 0.004),
     (50, 0.0035), (100, 0.0035), (200, 0.0035)],
)  # fmt: skip
def test_zui_within_its_error(xi: float, within: float) -> None:
    strand, f = clamped(xi)
    assert zui(f, xi) == pytest.approx(tension(strand, f).tension_n, rel=within)


@pytest.mark.parametrize(
    ("xi", "within"),
    [(6, 0.013), (10, 0.013), (15, 0.013), (18, 0.022), (20, 0.014), (40, 0.008), (60, 0.008),
     (210, 0.004), (211, 0.02)],
)  # fmt: skip
def test_ren_within_its_error(xi: float, within: float) -> None:
    strand, f = clamped(xi)
    assert ren(f, xi) == pytest.approx(tension(strand, f).tension_n, rel=within)


@pytest.mark.parametrize("xi", [50, 100, 300, 1000])
def test_a_belt_held_beyond_the_tangent_points_acts_as_pinned(xi: float) -> None:
    # Derived for the project: clamped at xi + 2, scaled by xi/(xi + 2), within 0.02 % of pinned.
    held = mode_ratio(xi + 2, 1, INF, INF) * xi / (xi + 2)
    assert held == pytest.approx(mode_ratio(xi, 1), rel=2e-4)


def test_a_stiff_belt_touches_its_pulley_beyond_the_tangent_point() -> None:
    """A beam pulled over two round supports, contact found by an active set.

    Unit tension; sqrt(EI/T) = 0.05; tangent points 2 apart (xi = 40); supports as parabolas of
    curvature 1/R (small slopes). The belt must leave them sqrt(EI/T) beyond the tangent points and
    vibrate, held where it touches, as if pinned at the tangent points.
    """
    xi, length, wrap, radius = 40.0, 2.0, 0.4, 1.0
    elements = 700
    width = length + 2 * wrap
    x = np.linspace(-width / 2, width / 2, elements + 1)
    beyond = np.clip(np.abs(x) - length / 2, 0, None)
    support = -(beyond**2) / (2 * radius)  # pulled down over the supports
    k, m = hermite(width, xi / length, elements)
    touching = np.abs(x) >= length / 2
    free = np.arange(len(k))
    for _ in range(60):
        held = np.flatnonzero(touching) * 2
        free = np.setdiff1d(np.arange(len(k)), held)
        y = np.zeros(len(k))
        y[held] = support[touching]
        y[free] = np.linalg.solve(k[np.ix_(free, free)], -k[np.ix_(free, held)] @ y[held])
        push = (k @ y)[::2]
        inside = np.abs(x) < length / 2 + wrap - 1e-9  # the far ends stay held
        pulled = touching & inside & (push < 0)
        if not pulled.any():
            break
        # let go of the innermost only, one on either side
        nearest = np.min(np.abs(x[pulled]))
        touching &= ~(pulled & (np.abs(x) <= nearest + 1e-9))
    first = np.min(np.abs(x[touching]))
    assert first - length / 2 == pytest.approx(length / xi, rel=0.12)
    square = eigh(
        k[np.ix_(free, free)], m[np.ix_(free, free)], eigvals_only=True, subset_by_index=[0, 0]
    )[0]
    f_string = xi / length / (2 * length)  # sqrt(T/m)/(2L), EI = m = 1
    ratio = math.sqrt(square) / (2 * math.pi) / f_string
    assert ratio == pytest.approx(mode_ratio(xi, 1), rel=1.5e-3)
    assert mode_ratio(xi, 1, INF, INF) / mode_ratio(xi, 1) > 1.05  # and not as if clamped there


@pytest.mark.parametrize("xi", [0.7, 5.0, 42.0, 900.0])
def test_own_root_agrees_with_scipy(xi: float) -> None:
    strand = Strand(0.4, 0.0126, 3e-4, 0.3, 0.8, 8e-5, 29e3)
    pull = 3e-4 * (xi / 0.4) ** 2
    tone = frequency(strand, pull, 2)

    def miss(t: float) -> float:
        return frequency(strand, t, 2) - tone

    referee = brentq(miss, pull / 50, pull * 50, xtol=1e-12 * pull, rtol=1e-14)
    assert tension(strand, tone, 2).tension_n == pytest.approx(referee, rel=1e-11)
