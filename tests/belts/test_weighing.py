"""Linear mass from a weighed piece."""

from __future__ import annotations

import math

import pytest

from beltpitch.belts.weighing import Balance, compare, counted_length, plan, taped_length, weigh
from beltpitch.errors import CannotTell, RequestError
from beltpitch.uncertainty import Estimate, difference, ratio

FINE = Balance(1e-4)
COARSE = Balance(1e-3)


def test_linear_mass_and_its_budget() -> None:
    found = weigh("y", taped_length(0.5), [6.3e-3], FINE)
    mass = found.linear_mass
    assert mass.value == pytest.approx(12.6e-3)
    lines = {line.name: line.u / mass.value for line in mass.budget()}
    assert lines["rounding"] == pytest.approx(1e-4 / math.sqrt(6) / 6.3e-3)  # load and zero
    assert lines["scale"] == pytest.approx(0.005 / math.sqrt(3))
    assert lines["length"] == pytest.approx(1e-3 / math.sqrt(3) / 0.5)
    assert {key.split("/")[0] for line in mass.budget() for key in line.keys} == {"roll:y"}


def test_two_pieces_of_one_roll_share_all_of_it() -> None:
    one = weigh("y", taped_length(0.5), [6.3e-3], FINE).linear_mass
    assert difference(one, one).u == 0
    other = weigh("x", taped_length(0.5), [6.3e-3], FINE).linear_mass
    assert ratio(one, other).u == pytest.approx(math.sqrt(2) * one.u / one.value)


def test_the_same_figure_ten_times_is_no_finer() -> None:
    once = weigh("y", taped_length(0.5), [6.3e-3], FINE)
    often = weigh("y", taped_length(0.5), [6.3e-3] * 10, FINE)
    assert often.linear_mass.u == pytest.approx(once.linear_mass.u)
    step = weigh("y", taped_length(0.5), [6.3e-3, 6.4e-3], FINE)  # one step apart: rounding
    assert step.linear_mass.dof == math.inf
    assert step.linear_mass.value == pytest.approx(12.7e-3)


def test_weighings_that_scatter_count_as_type_a() -> None:
    found = weigh("y", taped_length(0.5), [6.3e-3, 6.9e-3, 6.0e-3], FINE)
    line = found.linear_mass.budget()[0]
    assert line.name == "weighings"
    assert line.dof == 2
    assert line.u == pytest.approx(0.45826e-3 / math.sqrt(3) / 0.5, rel=1e-4)
    assert found.advice.startswith("weigh more often")


def test_teeth_instead_of_a_tape() -> None:
    loop = counted_length(200, 2e-3, "loop")
    piece = counted_length(200, 2e-3)
    assert loop.value == piece.value == pytest.approx(0.4)
    assert loop.u == pytest.approx(0.4e-3 / math.sqrt(3))
    assert piece.u == pytest.approx(math.hypot(loop.u, math.sqrt(2) * 0.5e-3 / math.sqrt(3)))


def test_the_plan_reaches_what_it_promises() -> None:
    for scale, wanted in ((COARSE, 0.01), (FINE, 0.01), (FINE, 0.005)):
        piece = plan(12.6e-3, scale, wanted)
        assert piece.length_m is not None
        assert piece.mass_kg is not None
        found = weigh("y", taped_length(piece.length_m), [piece.mass_kg], scale).linear_mass
        assert found.u / found.value == pytest.approx(wanted, rel=1e-9)


def test_the_plan_for_a_9_mm_belt() -> None:
    # for 1 %: about 3.5 m with a scale that shows 1 g, 35 cm with 0.1 g
    coarse, fine = plan(12.6e-3, COARSE, 0.01), plan(12.6e-3, FINE, 0.01)
    assert coarse.length_m == pytest.approx(3.4, abs=0.1)
    assert fine.length_m == pytest.approx(0.344, abs=0.005)


def test_no_length_beats_the_scales_own_error() -> None:
    assert plan(12.6e-3, FINE, 0.0028).length_m is None
    assert plan(12.6e-3, Balance(1e-4, 0.001), 0.0028).length_m is not None


def test_advice_names_the_largest_doubt_and_what_it_brings() -> None:
    found = weigh("y", taped_length(0.5), [6.3e-3], FINE)
    rest = math.hypot(0.005 / math.sqrt(3), 2e-3 / math.sqrt(3))
    assert found.advice.startswith("weigh a longer piece")
    assert found.advice.endswith(f"would become {rest:.2%} at best")


def test_comparison_with_the_catalogue() -> None:
    book = Estimate.single(12.6e-3, 0.4e-3, name="linear mass", key="roll:book", dof=8)
    own = weigh("y", taped_length(1.0), [13.0e-3], FINE).linear_mass
    near = compare(own, book)
    assert near.fits
    assert near.words.startswith("fits the catalogue: 3.2 % apart")
    heavy = compare(own.scaled(1.2), book)
    assert not heavy.fits
    assert not heavy.gross
    assert heavy.words.startswith("23.8 % heavier than the catalogue, beyond both doubts")
    light = compare(own.scaled(0.5), book)
    assert light.gross
    assert "48.4 % lighter" in light.words
    assert "slip" in light.words


def test_nonsense_is_refused() -> None:
    with pytest.raises(CannotTell, match="4 g is too light for a scale that shows steps of 1 g"):
        weigh("y", taped_length(0.3), [4e-3], COARSE)
    with pytest.raises(RequestError, match="mass is 0 kg"):
        weigh("y", taped_length(0.3), [0.0], FINE)
    with pytest.raises(RequestError, match="length is -1 m"):
        taped_length(-1.0)
    with pytest.raises(RequestError, match="number of teeth is 0"):
        counted_length(0, 2e-3)
    with pytest.raises(RequestError, match="resolution of the scale is nan"):
        Balance(math.nan)
