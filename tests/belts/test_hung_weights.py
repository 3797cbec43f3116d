"""The fit of hung weights: recovers what made the rows, and says what it cannot tell."""

from __future__ import annotations

import contextlib
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from beltpitch.belts.catalogue import belt
from beltpitch.belts.corrections import air_estimate, hung_tension, swing_factor
from beltpitch.belts.hung_weights import (
    Calibration,
    HangingRig,
    KnownFigures,
    Row,
    _Model,
    _Setup,
    calibrate,
    chi2_quantile,
)
from beltpitch.belts.mechanics import frequency
from beltpitch.belts.span import from_tape
from beltpitch.belts.strand import Strand
from beltpitch.belts.strand_tension import Tone, strung
from beltpitch.errors import BeltpitchError, CannotTell, RequestError
from beltpitch.uncertainty import Estimate, combine, difference

MASS, STIFF, HOLD = 12.6e-3, 1.2e-4, 0.8
AIR = air_estimate(9e-3)
G = 9.80665
KNOWN = KnownFigures(air=AIR)
SPAN = from_tape(0.412, 3e-4, ends=("clamp", "clamp"))
WEIGHTS = (0.25, 0.5, 1.0, 2.0, 4.0)
CLAMPED = Estimate(1.0)
EXACT = HangingRig(holding=Estimate(HOLD), scale=Estimate(1.0), gravity=Estimate(G))


def tone(weight: float, length: float = 0.5, n: int = 1, **changes: float) -> float:
    """Return what a hung strand sounds, by the mechanics' own functions."""
    strand = replace(Strand(length, MASS, STIFF, HOLD, HOLD, AIR.value), **changes)
    hung = strand.linear_mass_kg_per_m * strand.span_m
    return frequency(strand, hung_tension(weight, hung, G), n) / swing_factor(weight, hung, n)


def rows(
    weights: tuple[float, ...] = WEIGHTS,
    lengths: tuple[float, ...] = (0.5,),
    modes: tuple[int, ...] = (1,),
    share: float = 1e-3,
    **changes: float,
) -> list[Row]:
    found = [
        (m, tone(m, length, n, **changes), length, n)
        for length in lengths
        for m in weights
        for n in modes
    ]
    return [Row(m, 1e-3, f, share * f, length, 3e-4, n) for m, f, length, n in found]


def test_what_made_the_rows_comes_back() -> None:
    found = calibrate(rows(), name="y", rig=EXACT, known=KNOWN)
    assert found.linear_mass.value == pytest.approx(MASS, rel=1e-6)
    assert found.stiffness.value == pytest.approx(STIFF, rel=1e-4)
    assert found.chi2 < 1e-6
    assert found.dof == 3
    assert found.scatter == 1
    assert found.outliers == ()
    expected = hung_tension(0.25, MASS * 0.5, G)
    assert found.points[0].tension_n == pytest.approx(expected, rel=1e-6)


def test_stiffness_and_ends_come_apart_with_partials_of_a_stiff_short_strand() -> None:
    loose = replace(EXACT, holding=Estimate.single(0.5, 0.29, name="ends", key="rig/ends"))
    stiff = rows(lengths=(0.2, 0.4), modes=(1, 2, 3), share=2e-4, stiffness_n_m2=3e-3)
    found = calibrate(stiff, name="y", rig=loose, known=KNOWN)
    assert found.stiffness.value == pytest.approx(3e-3, rel=0.01)
    assert found.holding.value == pytest.approx(HOLD, abs=0.01)
    assert found.holding.u < 0.05
    assert not any("tell stiffness from ends" in w for w in found.warnings)
    narrow = calibrate(rows((1.0, 1.5, 2.0)), name="y", rig=loose, known=KNOWN)
    assert narrow.holding.u == pytest.approx(0.29, rel=0.05)


def with_partials(table: list[Row], top: int = 5, share: float = 0.05) -> list[Row]:
    """Return rows that also say B through the first and the `top` partial."""
    found = []
    for row in table:
        square = (tone(row.mass_kg, n=top, stiffness_n_m2=1e-3) / top / row.frequency_hz) ** 2
        b = (square - 1) / (top**2 - square)
        found.append(replace(row, inharmonicity=b, inharmonicity_u=share * b, top=top))
    return found


def test_partials_of_each_weight_tell_stiffness_from_ends() -> None:
    bare = rows(stiffness_n_m2=1e-3)
    without = calibrate(bare, name="y", known=KNOWN)
    found = calibrate(with_partials(bare), name="y", known=KNOWN)
    assert found.dof == without.dof + len(bare)
    assert found.stiffness.value == pytest.approx(1e-3, rel=0.02)
    assert found.holding.value == pytest.approx(HOLD, abs=0.03)
    assert found.stiffness.u < 0.5 * without.stiffness.u
    assert found.holding.u < 0.7 * without.holding.u
    assert not any("tell stiffness from ends" in w for w in found.warnings)


def test_partials_that_contradict_the_rest_are_left_out_and_said() -> None:
    bare = rows(stiffness_n_m2=1e-3)
    told = with_partials(bare)
    told[2] = replace(told[2], inharmonicity=4 * (told[2].inharmonicity or 0.0), label="third")
    found = calibrate(told, name="y", known=KNOWN)
    assert any(w.startswith("partials of row third left out") for w in found.warnings)
    assert found.outliers == ()
    assert found.stiffness.value == pytest.approx(1e-3, rel=0.02)


def test_an_inharmonicity_belongs_to_a_fundamental() -> None:
    with pytest.raises(RequestError, match="belongs to a fundamental and a higher partial"):
        Row(1.0, 0.0, 50.0, 0.1, 0.5, inharmonicity=1e-3, inharmonicity_u=1e-4)
    with pytest.raises(RequestError, match="uncertainty of the inharmonicity"):
        Row(1.0, 0.0, 50.0, 0.1, 0.5, inharmonicity=1e-3, top=4)


def test_a_spread_too_small_is_said() -> None:
    found = calibrate(rows(stiffness_n_m2=1e-3), name="y", known=KNOWN)
    assert any(
        "spread of weights is too small to tell stiffness from ends" in w for w in found.warnings
    )
    r = {(c.a, c.b): c.r for c in found.correlations}
    assert r["stiffness", "holding"] < -0.9


def test_a_stiffness_that_is_not_seen_is_said_and_bounded() -> None:
    found = calibrate(rows(stiffness_n_m2=1e-7), name="y", known=KNOWN)
    assert any("cannot tell the stiffness from none" in w for w in found.warnings)
    low, high = found.stiffness_interval()
    assert low == 0
    assert high > 1e-7


def test_end_length_needs_two_lengths_and_then_comes_back() -> None:
    rig = replace(EXACT, end_m=None)
    with pytest.raises(RequestError, match="cannot be told from the linear mass with one length"):
        calibrate(rows(), name="y", rig=rig, known=KNOWN)
    taped = [replace(r, length_m=r.length_m - 4e-3) for r in rows(lengths=(0.3, 0.5, 0.8))]
    found = calibrate(taped, name="y", rig=rig, known=KNOWN)
    # the hung belt's own mass is taken from the tape: 4 mm of belt is nothing
    assert found.end_m.value == pytest.approx(4e-3, rel=5e-3)
    assert found.linear_mass.value == pytest.approx(MASS, rel=1e-4)


def test_predictions_have_exact_derivatives() -> None:
    table = tuple(rows(lengths=(0.3, 0.5), modes=(1, 2)))
    for rig in (HangingRig(foot_kg=0.3), HangingRig(), HangingRig(hung=False)):
        model = _Model(_Setup(table, rig, KnownFigures(air=AIR, stretch_n=800.0)), table)
        p = np.array([u.start for u in model.unknowns(60.0)])
        p[3] = 1e-3
        _, by = model.predict(p)
        for k in range(len(p)):
            step = 1e-6 * (abs(p[k]) or 1.0)
            up, down = p.copy(), p.copy()
            up[k] += step
            down[k] -= step
            slope = (model.predict(up)[0] - model.predict(down)[0]) / (2 * step)
            assert by[:, k] == pytest.approx(slope, rel=2e-5, abs=1e-7)


def test_parts_carry_the_covariance() -> None:
    found = calibrate(rows(), name="y", known=KNOWN)
    mass, hold = found.linear_mass, found.holding
    both = combine(0.0, [(1.0, mass), (1.0, hold)])
    r = next(c.r for c in found.correlations if (c.a, c.b) == ("linear mass", "holding"))
    expected = mass.u**2 + hold.u**2 + 2 * r * mass.u * hold.u
    assert both.u**2 == pytest.approx(expected, rel=1e-9)


def test_errors_that_all_rows_share_are_not_averaged_away() -> None:
    found = calibrate(rows(share=1e-5), name="y", known=KNOWN)
    lines = {line.name: line.u / MASS for line in found.linear_mass.budget()}
    assert lines["scale"] == pytest.approx(0.005 / math.sqrt(3), rel=0.02)
    assert lines["lengths"] == pytest.approx(2 * 3e-4 / 0.5, rel=0.05)
    assert lines["gravity"] == pytest.approx(0.03 / math.sqrt(3) / G, rel=0.02)


def test_advice_names_the_largest_doubt_and_what_it_would_bring() -> None:
    found = calibrate(rows(share=1e-5), name="y", known=KNOWN)
    worst = found.linear_mass.budget()[0]
    assert worst.name == "scale"
    left = math.sqrt(1 - worst.share) * found.linear_mass.u / found.linear_mass.value
    assert found.advice.startswith("check the scale with a known weight")
    assert found.advice.endswith(f"would become {left:.2%} at best")


def test_two_belts_of_one_rig_share_its_errors() -> None:
    a = calibrate(rows(), name="a", known=KNOWN).linear_mass
    b = calibrate(rows(), name="b", known=KNOWN).linear_mass
    keys = {p.key for p in a.parts} & {p.key for p in b.parts}
    assert keys == {"scale", "gravity", "air", "rig/ends"}
    assert difference(a, b).u < math.sqrt(2) * a.u


def test_a_row_that_belongs_elsewhere_is_named_and_left_out() -> None:
    table = rows((0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0))
    wrong = replace(table[3], frequency_hz=1.05 * table[3].frequency_hz, label="bucket 4")
    found = calibrate([*table[:3], wrong, *table[4:]], name="y", known=KNOWN)
    (out,) = found.outliers
    assert out.row.label == "bucket 4"
    assert out.residual == pytest.approx(math.log(1.05), abs=0.01)
    assert any(w.startswith("row bucket 4 set aside: +") for w in found.warnings)
    assert found.linear_mass.value == pytest.approx(MASS, rel=3e-3)


def test_a_lone_pair_of_weights_names_no_outlier() -> None:
    table = rows((1.0, 4.0))
    found = calibrate(
        table, name="y", rig=EXACT, known=KnownFigures(air=AIR, stiffness=Estimate(STIFF))
    )
    assert found.outliers == ()


def test_rows_that_scatter_more_than_stated_widen_the_doubt() -> None:
    weights = (0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0)
    noise = np.random.default_rng(4).standard_normal(len(weights))
    shaken = [
        replace(r, frequency_hz=r.frequency_hz * (1 + 5e-3 * e))
        for r, e in zip(rows(weights), noise, strict=True)
    ]
    calm = calibrate(rows(weights), name="y", known=KNOWN)
    found = calibrate(shaken, name="y", known=KNOWN)
    assert 3 < found.scatter < 7
    assert any("times more than stated" in w for w in found.warnings)
    assert found.linear_mass.u > 1.5 * calm.linear_mass.u
    readings = next(line for line in found.linear_mass.budget() if line.name == "readings")
    assert readings.dof == found.dof == 7


def test_a_weighed_piece_helps() -> None:
    piece = Estimate.single(1.002 * MASS, 0.002 * MASS, name="linear mass", key="roll:y/scale")
    found = calibrate(rows(), name="y", known=KnownFigures(linear_mass=piece, air=AIR))
    alone = calibrate(rows(), name="y", known=KNOWN)
    assert found.linear_mass.u < min(piece.u, alone.linear_mass.u)
    assert MASS < found.linear_mass.value < piece.value
    assert found.dof == alone.dof + 1
    assert "roll:y/scale" in {p.key for p in found.linear_mass.parts}


def test_stretch_is_taken_out() -> None:
    soft = rows(stretch_n=400.0)
    blind = calibrate(soft, name="y", rig=EXACT, known=KNOWN)
    told = calibrate(soft, name="y", rig=EXACT, known=KnownFigures(air=AIR, stretch_n=400.0))
    assert told.linear_mass.value == pytest.approx(MASS, rel=1e-6)
    assert blind.linear_mass.value < 0.97 * MASS


def test_a_light_foot_is_said_and_taken_out() -> None:
    hung = MASS * 0.5
    foot = 0.05
    table = [
        replace(
            r,
            frequency_hz=r.frequency_hz * swing_factor(r.mass_kg, hung) / swing_factor(foot, hung),
        )
        for r in rows()
    ]
    found = calibrate(table, name="y", rig=replace(EXACT, foot_kg=foot), known=KNOWN)
    assert found.linear_mass.value == pytest.approx(MASS, rel=1e-6)
    assert any("foot of the strand (50 g) is light" in w for w in found.warnings)


def test_a_heavy_foot_makes_the_link_below_it_harmless() -> None:
    """A string, a foot, a massless link to a bucket at rest: tan kL = 1/(kL m/(mu L) - L/(l kL)).

    Why the page says: screw the weight to the foot, or make the foot heavy.
    """
    length, link = 0.5, 0.2

    def heard(foot: float) -> float:
        """Return kL/pi, the tone over that of a fixed foot; `foot` in masses of the strand."""

        def miss(x: float) -> float:
            return math.sin(x) * (x * foot - length / (link * x)) - math.cos(x)

        return float(brentq(miss, 1.8, 3.5)) / math.pi

    assert heard(0.0) ** -2 == pytest.approx(1.74, abs=0.01)  # what a light foot does to the mass
    assert heard(20.0) * swing_factor(20.0, 1.0) == pytest.approx(1.0, abs=2e-4)


def test_shortening_is_what_the_ends_take_from_the_string() -> None:
    found = calibrate(rows(), name="y", rig=EXACT, known=KNOWN)
    by_hand = 2 * HOLD * math.sqrt(STIFF / found.shortening_tension_n)
    assert found.shortening.value == pytest.approx(by_hand, rel=1e-4)


def test_too_little_is_refused() -> None:
    with pytest.raises(RequestError, match="no rows"):
        calibrate([], name="y")
    with pytest.raises(CannotTell, match="1 rows cannot tell linear mass, stiffness"):
        calibrate(rows((1.0,)), name="y", known=KNOWN)
    with pytest.raises(CannotTell, match="linear mass"):
        calibrate(rows((1.0, 1.001, 1.002)), name="y", known=KNOWN)
    with pytest.raises(RequestError, match="weight is -1 kg"):
        Row(-1.0, 0.0, 50.0, 0.1, 0.5)
    with pytest.raises(RequestError, match="frequency is nan"):
        Row(1.0, 0.0, math.nan, 0.1, 0.5)
    with pytest.raises(RequestError, match="mode is 0"):
        Row(1.0, 0.0, 50.0, 0.1, 0.5, mode_n=0)
    with pytest.raises(RequestError, match="length is 500 m, not in 0"):
        Row(1.0, 0.0, 50.0, 0.1, 500.0)


def test_a_foot_that_swings_along_is_refused() -> None:
    table = [Row(m, 1e-4, f, 0.1, 2.0) for m, f in ((0.02, 1.38), (0.05, 1.59), (0.1, 2.0))]
    with pytest.raises(CannotTell, match="the foot swings so much that it moves the tone"):
        calibrate(table, name="y", known=KnownFigures(stiffness=Estimate(0.0)))


@pytest.mark.parametrize("seed", range(12))
def test_nonsense_ends_in_a_refusal_or_an_honest_doubt(seed: int) -> None:
    rng = np.random.default_rng(seed)
    table = [
        Row(
            float(rng.choice([0.01, 0.1, 1.0, 50.0])),
            1e-3,
            float(rng.choice([3.0, 50.0, 900.0])),
            0.1,
            float(rng.choice([0.1, 0.5, 2.0])),
            mode_n=int(rng.choice([1, 2, 9])),
        )
        for _ in range(int(rng.integers(1, 7)))
    ]
    with contextlib.suppress(BeltpitchError):
        found = calibrate(table, name="y")
        assert found.linear_mass.value > 0
        assert found.linear_mass.u > 0.02 * found.linear_mass.value
        assert found.scatter > 1 or found.dof <= 1


def test_chi2_quantiles_of_the_tables() -> None:
    # NIST/SEMATECH e-Handbook 1.3.6.7.4: 0.975 quantiles
    assert chi2_quantile(0.975, 1) == pytest.approx(5.024, abs=5e-4)
    assert chi2_quantile(0.975, 10) == pytest.approx(20.483, abs=5e-4)


# --- coverage: what is drawn as stated is covered as stated --------------------------------------

FITS = 500


def draw(rng: np.random.Generator) -> tuple[float, float, Calibration]:
    """Return the true linear mass and stiffness of a simulated hanging, and its fit."""
    mass = MASS * math.exp(0.2 * rng.standard_normal())
    stiffness = STIFF * math.exp(rng.uniform(-0.7, 0.7))
    hold = rng.uniform(0.5, 1.0)
    strand = Strand(
        0.5 + rng.uniform(-1e-3, 1e-3),
        mass,
        stiffness,
        hold,
        hold,
        max(0.0, AIR.value + AIR.u * rng.standard_normal()),
    )
    scale, g = 1 + rng.uniform(-0.005, 0.005), G + rng.uniform(-0.03, 0.03)
    hung = mass * strand.span_m
    table = []
    for shown in WEIGHTS:
        weight = scale * (shown + 1e-3 * rng.standard_normal())
        f = frequency(strand, hung_tension(weight, hung, g)) / swing_factor(weight, hung)
        table.append(Row(shown, 1e-3, f * (1 + 2e-3 * rng.standard_normal()), 2e-3 * f, 0.5))
    return mass, stiffness, calibrate(table, name="y", known=KNOWN)


def test_intervals_hold_what_they_say() -> None:
    rng = np.random.default_rng(20)
    hits = np.zeros(2)
    for _ in range(FITS):
        mass, stiffness, found = draw(rng)
        low, high = found.linear_mass.interval()
        bottom, top = found.stiffness_interval()
        hits += (low <= mass <= high, bottom <= stiffness <= top)
    mass_covered, stiffness_covered = hits / FITS
    assert 0.93 <= mass_covered <= 0.97
    assert 0.92 <= stiffness_covered <= 0.98


def test_the_belt_it_makes() -> None:
    base = belt("2GT 9 mm")
    seen = calibrate(rows(stiffness_n_m2=1e-3), name=base.name, known=KNOWN).belt(base)
    assert seen.linear_mass.value == pytest.approx(MASS, rel=0.01)
    assert seen.ei_n_m2 is not None
    assert seen.ei_n_m2.known == "measured by the user"
    unseen = calibrate(rows(stiffness_n_m2=1e-7), name=base.name, known=KNOWN).belt(base)
    assert unseen.ei_n_m2 == base.ei_n_m2
    reading = strung(Tone(Estimate.single(66.3, 0.1, name="plucks", key="p")), seen, SPAN)
    before = strung(Tone(Estimate.single(66.3, 0.1, name="plucks", key="p")), base, SPAN)
    assert reading.tension.u < 0.5 * before.tension.u
