"""Several parks: tension, stiffness and offset together."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from beltpitch.belts.mechanics import frequency
from beltpitch.belts.parks import two_parks
from beltpitch.belts.strand import Strand
from beltpitch.belts.travels import Given, Travels, several_parks
from beltpitch.errors import CannotTell
from beltpitch.uncertainty import Estimate

PULL, MASS, EI = 40.0, 0.0126, 3e-3
SPANS = (0.62, 0.45, 0.32, 0.24, 0.18)
FAR = Strand(SPANS[0], MASS, EI, 1 / 3, 1 / 3, 7.66e-5, 29e3)
HOLD = Estimate.single(1 / 3, 0.29, name="ends", key="belt:2GT/ends")
TONE_U, TRAVEL_U, MASS_U, AIR_U, STRETCH_U = 2e-4, 5e-5, 0.005 * MASS, 1.2e-5, 3e3


def truth(strand: Strand = FAR) -> list[float]:
    return [frequency(replace(strand, span_m=span), PULL) for span in SPANS]


def read(
    tones: list[float],
    *,
    strand: Strand = FAR,
    tape: float = 0.0,
    moved: tuple[float, ...] = (0.0,) * 5,
    stiffness: Estimate | None = None,
) -> Travels:
    spans = []
    for i, (span, d) in enumerate(zip(SPANS, moved, strict=True)):
        own = Estimate.single(span + tape + d, 1e-3, name="span", key="tape")
        travel = Estimate.single(0, TRAVEL_U, name="travel", key=f"p{i}")
        spans.append(own.with_part(travel.parts[0]))
    heard = [
        Estimate.single(f, TONE_U * f, name="plucks", key=f"f{i}") for i, f in enumerate(tones)
    ]
    given = Given(
        Estimate.single(strand.linear_mass_kg_per_m, MASS_U, name="linear mass", key="roll"),
        Estimate.single(strand.air_kg_per_m, AIR_U, name="air", key="air"),
        Estimate.single(strand.stretch_n, STRETCH_U, name="stretch", key="EA"),
        (HOLD, HOLD),
        stiffness,
    )
    blank = replace(strand, span_m=9.0, stiffness_n_m2=0.0)  # neither is used
    return several_parks(blank, spans, heard, given)


@pytest.mark.parametrize("holds", [(0.0, 0.0), (1 / 3, 1 / 3), (1.0, 1 / 3), (1.0, 1.0)])
@pytest.mark.parametrize("ei", [1e-3, 1e-2])
def test_the_truth_is_recovered(holds: tuple[float, float], ei: float) -> None:
    strand = replace(FAR, hold_a=holds[0], hold_b=holds[1], stiffness_n_m2=ei)
    found = read(truth(strand), strand=strand, tape=0.004)
    assert found.tension.value == pytest.approx(PULL, rel=1e-7)
    assert found.stiffness.value == pytest.approx(ei, rel=1e-4)
    assert found.offset.value == pytest.approx(-0.004, abs=1e-7)
    assert found.misfit == pytest.approx(0, abs=1e-4)


def test_a_common_error_of_the_tape_goes_into_the_offset() -> None:
    found = read(truth(), tape=0.01)
    assert found.tension.value == pytest.approx(PULL, rel=1e-7)
    lines = {line.name: line.u for line in found.tension.budget()}
    assert lines["span"] == pytest.approx(0, abs=1e-6)
    assert lines["linear mass"] == pytest.approx(PULL * 0.005, rel=0.02)
    offset = {line.name: line.u for line in found.offset.budget()}
    assert offset["span"] == pytest.approx(1e-3, rel=1e-4)
    # wrongly held ends show as a wrong length, hardly as tension
    assert lines["ends"] < 0.002 * PULL
    assert offset["ends"] == pytest.approx(2 * 0.29 * math.sqrt(EI / PULL), rel=0.3)


def test_doubts_are_those_of_repeated_trials() -> None:
    rng = np.random.default_rng(11)
    tones = truth()
    stated = read(tones)
    drawn = []
    for _ in range(300):
        noisy = [f * (1 + TONE_U * e) for f, e in zip(tones, rng.standard_normal(5), strict=True)]
        moved = tuple(TRAVEL_U * rng.standard_normal(5))
        strand = replace(
            FAR,
            linear_mass_kg_per_m=MASS + MASS_U * rng.standard_normal(),
            air_kg_per_m=FAR.air_kg_per_m + AIR_U * rng.standard_normal(),
            stretch_n=FAR.stretch_n + STRETCH_U * rng.standard_normal(),
        )
        trial = read(noisy, strand=strand, tape=1e-3 * rng.standard_normal(), moved=moved)
        drawn.append((trial.tension.value, trial.stiffness.value, trial.offset.value, trial.misfit))
    tension, stiffness, offset, misfit = np.array(drawn, dtype=float).T

    def without_ends(x: Estimate) -> float:  # the ends were not drawn
        return math.hypot(*(line.u for line in x.budget() if line.name != "ends"))

    assert np.std(tension) == pytest.approx(without_ends(stated.tension), rel=0.12)
    assert np.std(stiffness) == pytest.approx(without_ends(stated.stiffness), rel=0.15)
    assert np.std(offset) == pytest.approx(without_ends(stated.offset), rel=0.12)
    assert np.mean(misfit**2) == pytest.approx(1, abs=0.2)


def test_ends_and_stretch_move_the_results_as_stated() -> None:
    tones, h = truth(), 1e-4
    stated = read(tones)
    for field, name, size in (("hold_a", "ends", 0.29), ("stretch_n", "stretch", STRETCH_U)):
        up, down = (
            read(tones, strand=replace(FAR, **{field: getattr(FAR, field) + s * h * size}))
            for s in (1, -1)
        )
        if name == "ends":  # both ends are one error
            up, down = (
                read(tones, strand=replace(FAR, hold_a=1 / 3 + s, hold_b=1 / 3 + s))
                for s in (h * size, -h * size)
            )
        for result in ("tension", "stiffness", "offset"):
            moved = (getattr(up, result).value - getattr(down, result).value) / (2 * h)
            lines = {line.name: line.u for line in getattr(stated, result).budget()}
            assert abs(moved) == pytest.approx(lines[name], rel=0.01, abs=1e-9), (name, result)


def test_a_known_stiffness_is_one_more_reading() -> None:
    tones = truth()
    own = Estimate.single(EI, 0.3 * EI, name="stiffness", key="belt/stiffness")
    alone, told = read(tones), read(tones, stiffness=own)
    assert told.stiffness.value == pytest.approx(EI, rel=1e-5)
    assert told.stiffness.u < min(alone.stiffness.u, own.u)
    assert any(line.name == "stiffness" for line in told.stiffness.budget())


def test_two_parks_with_a_known_stiffness_agree_with_the_formula() -> None:
    near, far = 0.40, 0.56
    strand = replace(FAR, stiffness_n_m2=3e-4)
    tones = [frequency(replace(strand, span_m=s), PULL) for s in (far, near)]
    heard = [
        Estimate.single(f, TONE_U * f, name="plucks", key=key)
        for f, key in zip(tones, "ab", strict=True)
    ]
    tape = Estimate.single(far, 1e-3, name="span", key="tape")
    travel = Estimate.single(0.16, 1e-4, name="travel", key="travel")
    moved = Estimate(near, (*tape.parts, *travel.scaled(-1).parts))
    mass = Estimate.single(MASS, MASS_U, name="linear mass", key="roll")
    own = Estimate.single(3e-4, 1e-4, name="stiffness", key="EI")
    found = several_parks(strand, [tape, moved], heard, Given(mass, stiffness=own))
    pair = two_parks(strand, 0.16, *tones)
    assert found.tension.value == pytest.approx(pair.tension_n, rel=1e-4)
    referee = pair.estimate(
        travel=travel, long=heard[0], short=heard[1], linear_mass=mass, stiffness=own
    )
    assert found.tension.u == pytest.approx(referee.u, rel=2e-3)
    assert found.misfit is None


def test_a_tension_that_changed_between_parks_is_seen() -> None:
    tones = truth()
    tones[2] *= 1.01  # 2 % of the tension
    own = Estimate.single(EI, 0.3 * EI, name="stiffness", key="belt/stiffness")
    misfit = read(tones, stiffness=own).misfit
    assert misfit is not None
    assert misfit > 5


def test_readings_without_doubt_count_alike() -> None:
    spans = [Estimate(s) for s in SPANS]
    tones = [Estimate(f) for f in truth()]
    found = several_parks(FAR, spans, tones, Given(Estimate(MASS)))
    assert found.tension.value == pytest.approx(PULL, rel=1e-7)
    assert found.tension.u == 0


def test_parks_that_tell_too_little_are_refused() -> None:
    tones = [Estimate.single(f, 0.01, name="plucks", key=f"{f}") for f in truth()]
    spans = [Estimate(s) for s in SPANS]
    given = Given(Estimate(MASS))
    with pytest.raises(CannotTell, match="pluck at 3 places or more"):
        several_parks(FAR, spans[:2], tones[:2], given)
    with pytest.raises(CannotTell, match="5 tones over 4 spans"):
        several_parks(FAR, spans[:4], tones, given)
    with pytest.raises(CannotTell, match="do not tell bending stiffness"):
        several_parks(FAR, [spans[0], spans[1], spans[1]], [*tones[:2], tones[1]], given)
    with pytest.raises(CannotTell, match="do not sound lower"):
        several_parks(FAR, spans, tones[::-1], given)
    string = Strand(0.5, MASS)  # has no stiffness to tell
    pure = [Estimate(frequency(replace(string, span_m=s), PULL)) for s in SPANS]
    with pytest.raises(CannotTell, match="do not tell bending stiffness"):
        several_parks(string, spans, pure, given)
