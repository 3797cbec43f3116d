"""Whether memory grows while one listens: the judgement, and a short stretch of the real thing.

The eight hours themselves are measured by ``python -m calibration.memory``.
"""

from __future__ import annotations

import gc
import sys

import numpy as np
import pytest

from calibration import memory

HOURS = np.arange(1, 481) / 60


def test_level_memory_with_an_allocators_steps_is_not_called_growing() -> None:
    chance = np.random.default_rng(3)
    steps = 4.0 * np.round(np.cumsum(chance.normal(size=480)) % 5)  # pages come and go
    found = memory.slope(HOURS, 140_000 + steps)
    assert not found.grows
    assert found.half > 0


def test_a_slow_growth_is_told() -> None:
    steps = 4.0 * np.random.default_rng(3).integers(0, 3, 480)
    found = memory.slope(HOURS, 140_000 + 20 * HOURS + steps)
    assert found.grows
    assert found.kb_per_h == pytest.approx(20, abs=2)


def test_what_the_first_tenth_fills_is_not_counted() -> None:
    filling = 140_000 + 5_000 * np.minimum(1, HOURS / 0.5)
    assert memory.slope(HOURS, filling).kb_per_h == pytest.approx(0, abs=1e-6)


def test_plucks_leave_nothing_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted in Python's own blocks, of which allocator and machine know nothing."""
    monkeypatch.setattr("beltpitch.sitting.MOST_PLUCKS", 6)
    monkeypatch.setattr(memory, "MINUTES", 2)
    blocks, plucks = [], []
    for _, _, taken in memory.listened(12 / 60):
        blocks.append(sys.getallocatedblocks())
        plucks.append(taken)
    gc.unfreeze()
    assert plucks[-1] == 12 * memory.PLUCKS
    each = (blocks[-1] - blocks[-7]) / (plucks[-1] - plucks[-7])
    assert each < 4  # it was above 30 before spent objects were given back
