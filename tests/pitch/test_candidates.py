"""Which line stands at which place of a series, and what a series of gaps is taken for."""

from __future__ import annotations

import numpy as np
import pytest

from beltpitch.audio.synthesis import pluck_tones, room_noise, synthesise
from beltpitch.pitch.candidates import candidates_of
from beltpitch.pitch.likelihood import REACH, nearest, scored, spread
from beltpitch.pitch.noise import from_quiet
from beltpitch.pitch.peaks import SpectralLines, lines_of, spectrum_of
from beltpitch.pitch.results import FrequencyRange

RATE_HZ = 8000.0
COUNT = 40


def lines_at(f: float) -> SpectralLines:
    noise = room_noise(int(1.5 * RATE_HZ), 3e-4, 5)
    sound = synthesise(pluck_tones(f, level=0.2, inharmonicity=4e-4), 1.5, RATE_HZ) + noise
    return lines_of(spectrum_of(sound, RATE_HZ, from_quiet(noise, RATE_HZ)))


def by_looking_at_all(lines: SpectralLines, f: float, b: float, off: float) -> list[int]:
    """At each place, of all lines within reach the clearest and nearest."""
    out = []
    for n in range(1, COUNT + 1):
        where = n * f * np.sqrt(1.0 + b * n**2)
        apart = np.abs(where - lines.frequency_hz)
        sigma = spread(lines.u_hz, np.full_like(apart, where), f, off)
        merit = np.where(
            apart < REACH * sigma, np.log(lines.gain) - 0.5 * (apart / sigma) ** 2, -np.inf
        )
        out.append(int(merit.argmax()) if np.isfinite(merit).any() else -1)
    return out


@pytest.mark.parametrize("off", [0.0015, 0.004])
def test_each_line_is_found_at_the_one_place_it_can_be(off: float) -> None:
    lines = lines_at(61.0)
    rng = np.random.default_rng(8)
    f = np.exp(rng.uniform(np.log(15.0), np.log(250.0), 60))
    f[:6] = 61.0 / np.arange(1, 7)
    b = np.where(rng.random(60) < 0.5, 0.0, 10 ** rng.uniform(-4, -1.6, 60))
    found = nearest(lines, f[:, None], b[:, None], off, COUNT)
    assert found.shape == (60, COUNT)
    assert (found >= 0).sum() > len(lines.gain)
    for row, f_one, b_one in zip(found, f, b, strict=True):
        assert row.tolist() == by_looking_at_all(lines, float(f_one), float(b_one), off)


def test_a_series_of_every_second_partial_is_the_whole_one_of_twice_the_tone() -> None:
    lines = lines_at(61.0)
    found = candidates_of(lines, FrequencyRange())
    assert found[0].frequency_hz == pytest.approx(61.0, rel=3e-3)
    assert all(np.gcd.reduce(c.numbers) == 1 for c in found if len(c.numbers) > 1)


def test_series_that_explain_no_line_are_scored_and_name_none() -> None:
    lines = lines_at(80.0)
    alone = scored(lines, np.array([211.0, 233.0]), np.zeros(2))
    assert [c.score for c in alone] == [-np.inf, -np.inf]
    assert all((c.line < 0).all() for c in alone)
