"""Whether memory grows while one listens: the judgement, and a short stretch of the real thing.

The eight hours themselves are measured by ``python -m calibration.memory``.
"""

from __future__ import annotations

import gc
import sys

import numpy as np
import pytest

from calibration import memory
from calibration.live_page import OFTEN

HOURS = np.arange(1, 481) / 60


def test_level_memory_with_an_allocators_steps_is_not_called_growing() -> None:
    chance = np.random.default_rng(3)
    steps = 4.0 * np.round(np.cumsum(chance.normal(size=480)) % 5)  # pages come and go
    found = memory.slope(HOURS, 140_000 + steps)
    assert not found.grows
    assert found.half > 0


def test_memory_that_does_not_move_has_no_slope() -> None:
    found = memory.slope(HOURS, np.full(480, 142_770.176))
    assert (found.kb_per_h, found.half, found.grows) == (0.0, 0.0, False)


def test_a_slow_growth_is_told() -> None:
    steps = 4.0 * np.random.default_rng(3).integers(0, 3, 480)
    found = memory.slope(HOURS, 140_000 + 20 * HOURS + steps)
    assert found.grows
    assert found.kb_per_h == pytest.approx(20, abs=2)


def test_steps_that_stay_and_lead_nowhere_are_seldom_called_growing() -> None:
    """One time in forty is meant; the means of tenths with Student's t called 140 of these so."""
    chance = np.random.default_rng(11)
    walks = 140_000 + 4.0 * np.cumsum(chance.choice([-1, 0, 1], (500, 480)), axis=1)
    growing = sum(memory.slope(HOURS, walk).grows for walk in walks)
    assert growing <= 25


def test_what_the_first_tenth_fills_is_not_counted() -> None:
    filling = 140_000 + 5_000 * np.minimum(1, HOURS / 0.5)
    assert memory.slope(HOURS, filling).kb_per_h == pytest.approx(0, abs=1e-6)


def test_plucks_leave_nothing_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted in Python's own blocks, of which allocator and machine know nothing.

    Some sixty blocks are on their way at any moment; so the plucks come often, and many are taken.
    """
    often = memory.minute
    monkeypatch.setattr("beltpitch.session.session.MOST_PLUCKS", 6)
    monkeypatch.setattr(memory, "MINUTES", 2)
    monkeypatch.setattr(memory, "minute", lambda number: often(number, *OFTEN))
    blocks, plucks = [], []
    for _, _, taken in memory.listened(12 / 60):
        blocks.append(sys.getallocatedblocks())
        plucks.append(taken)
    gc.unfreeze()
    assert plucks[-1] == 12 * OFTEN[0]
    each = (blocks[-1] - blocks[-9]) / (plucks[-1] - plucks[-9])
    assert each < 4  # it was above 30 before spent objects were given back
