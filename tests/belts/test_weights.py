"""The table of hung weights, typed pairs and the plan."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from beltpitch.belts.catalogue import belt, own_belt
from beltpitch.belts.strand import Strand
from beltpitch.belts.weights_table import (
    HungWeight,
    easier_length_m,
    expected_hz,
    heaviest_pull_n,
    plan_for,
    plan_weights,
    read_pair,
    read_table,
)
from beltpitch.errors import QuantityError, RequestError
from beltpitch.uncertainty import Estimate
from beltpitch.units import LENGTH, parse

HALF_METRE = parse("500 +/- 1 mm", LENGTH)


def table(text: str) -> tuple[HungWeight, ...]:
    return read_table(text.splitlines(), length=HALF_METRE)


def test_a_table_with_units_and_doubts() -> None:
    first, second = table(
        "# a remark\n\nMass [kg], frequency [Hz], length [cm], mode, label\n"
        "1.02 +/- 0.01, 40.8, 50(1), 1, small bucket\n"
        "4.1, 163.5 +/- 0.3, 50.0, 2,\n"
    )
    assert first.mass_kg == 1.02
    assert first.mass_u_kg == pytest.approx(0.01 / math.sqrt(3))
    assert (first.length_m, first.length_u_m) == pytest.approx((0.5, 0.01))
    assert first.label == "small bucket"
    assert second.mode_n == 2
    assert second.label == "line 5"
    assert second.mass_u_kg == pytest.approx(0.05 / math.sqrt(3))  # half the last digit
    assert second.typed().frequency_u_hz == pytest.approx(0.3 / math.sqrt(3))
    assert second.length_u_m == pytest.approx(1e-3 / math.sqrt(3))


def test_a_bare_tone_borrows_the_scatter_of_one_pluck() -> None:
    (row,) = table("mass [g],frequency [Hz]\n1020,40.8")
    tone = row.typed()
    assert (tone.mass_kg, tone.length_m) == (1.02, 0.5)
    share = math.hypot(0.003, 0.002 / math.sqrt(3))
    assert tone.frequency_u_hz == pytest.approx(share * 40.8)


def test_a_force_is_the_mass_that_makes_it() -> None:
    (row,) = read_table(
        ["force [N],frequency [Hz]", "9.79,40"], length=HALF_METRE, gravity_m_s2=9.79
    )
    assert row.mass_kg == pytest.approx(1.0)


def test_a_recording_stands_in_for_a_tone() -> None:
    (row,) = table("mass [kg],recording\n1.02,bucket-1.wav")
    assert row.recording == "bucket-1.wav"
    with pytest.raises(RequestError, match="line 2: no frequency was given"):
        row.typed()
    assert row.sounding(40.8, 0.1).frequency_hz == 40.8


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "the table is empty"),
        ("mass [kg],frequency [Hz]", "has a header but no rows"),
        ("weight [kg],frequency [Hz]\n1,40", "column 'weight .kg.' is not known"),
        ("1.02,40.8\n2.04,57", "column '1.02' is not known"),
        ("mass,frequency [Hz]\n1,40", 'column "mass" needs its unit, such as mass .g.'),
        ("mass [kg],mass [g],frequency [Hz]\n1,1,40", 'column "mass" stands twice'),
        ("frequency [Hz]\n40", 'needs a column "mass .kg."'),
        ("mass [kg],force [N],frequency [Hz]\n1,9.8,40", "one of them"),
        ("mass [kg]\n1", 'needs a column "frequency .Hz."'),
        ("mass [kg],frequency [Hz]\n1,40,3", "line 2 has 3 cells, the header 2"),
        ("mass [kg],frequency [Hz],mode\n1,40,0", 'line 2: mode "0" is no partial number'),
        ("mass [kg],frequency [Hz],mode\n1,40,two", 'line 2: mode "two"'),
        ("mass [kg],recording\n1,", "line 2 has neither a frequency nor a recording"),
    ],
)
def test_a_wrong_table_is_refused(text: str, reason: str) -> None:
    with pytest.raises(RequestError, match=reason):
        table(text)


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ("1;02,40", "line 2, mass '1;02 kg' is no mass"),
        ('"1,02",40', "line 2, mass '1,02 kg': a comma"),
        ("1,0", "line 2, frequency '0 Hz': a frequency must be greater than zero"),
        ("nan,40", "line 2, mass 'nan kg' is no mass"),
        ("1 lb,40", "line 2, mass '1 lb kg'"),
    ],
)
def test_a_wrong_cell_is_refused_by_line_and_column(cells: str, reason: str) -> None:
    with pytest.raises(QuantityError, match=reason):
        table(f"mass [kg],frequency [Hz]\n{cells}")


def test_a_length_that_is_missing_is_asked_for() -> None:
    with pytest.raises(RequestError, match="give --length"):
        read_table(["mass [kg],frequency [Hz]", "1,40"])


def test_typed_pairs() -> None:
    pair = read_pair("2.04 +/- 0.01 kg: 61.3 Hz", HALF_METRE)
    assert (pair.mass_kg, pair.length_m) == (2.04, 0.5)
    assert pair.typed().frequency_hz == 61.3
    with pytest.raises(RequestError, match="is no weight with its tone"):
        read_pair("2.04 kg 61.3 Hz", HALF_METRE)
    with pytest.raises(QuantityError, match="units: Hz"):
        read_pair("2.04 kg: 61.3 kg", HALF_METRE)


def test_weights_worth_hanging() -> None:
    strand = Strand(0.5, 12.6e-3, 1.2e-4, 1.0, 1.0)
    plan = plan_weights(replace(strand, span_m=0.25), 39.0)
    assert [p.mass_kg / plan[0].mass_kg for p in plan] == [1, 0.5, 0.25, 0.125, 0.0625]
    assert plan[0].tension_n == pytest.approx(39.0)
    # half the pull: 1/sqrt 2 of the tone, nearly
    assert plan[1].frequency_hz / plan[0].frequency_hz == pytest.approx(0.707, abs=0.01)
    assert easier_length_m(plan, 0.25) == pytest.approx(0.25 * plan[-1].frequency_hz / 35)
    assert easier_length_m(plan[:2], 0.25) is None
    assert len(plan_weights(strand, 39.0)) == 4  # the lightest would sound below 15 Hz
    heavy = Strand(0.15, 0.3)
    assert [w.mass_kg > 20 * 0.045 for w in plan_weights(heavy, 100.0)] == [True] * 4
    with pytest.raises(RequestError, match="hang a shorter strand"):
        plan_weights(replace(heavy, span_m=2.0), 50.0)


def test_where_to_listen_is_near_the_plan() -> None:
    (hung,) = table("mass [kg],recording\n1.0,one.wav")
    assert expected_hz(hung, 12.6e-3, 9.80665) == pytest.approx(28.0, abs=0.1)
    made = belt("2GT 9 mm")
    near = [w for w in plan_for(made, 0.5, 39.22) if w.mass_kg == pytest.approx(1.0, rel=0.01)]
    assert near[0].frequency_hz == pytest.approx(28.0, rel=0.03)


def test_never_more_than_half_the_allowable() -> None:
    steel = belt("AT5 25 mm")
    assert steel.allowable_n is not None
    heaviest = heaviest_pull_n(steel)
    assert heaviest is not None
    assert heaviest[0] == steel.allowable_n.value / 2
    rubber = heaviest_pull_n(belt("2GT 9 mm"))
    assert rubber is not None
    assert "working tension" in rubber[1]
    assert heaviest_pull_n(own_belt(Estimate(0.01))) is None
