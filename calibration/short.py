"""Short recordings of every difficulty, cheap to hear: for golden answers and for thresholds."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import simulator

Array = NDArray[np.float64]
RATE_HZ = 16_000
ROOM_S = 1.5
KINDS = 10  # by the last digit of the index


def drawn(seed: int, index: int) -> simulator.Case:
    """Return a simulated pluck; what is difficult about it goes by the index."""
    rng = np.random.default_rng([seed, index])
    kind = index % KINDS
    more: dict[str, Any] = {"lead_s": 0.4, "tail_s": 0.9, "rate_hz": RATE_HZ}
    loud = (0.0, 12.0) if kind in (1, 2) else (12.0, 35.0)
    if kind == 3:
        more |= {"neighbour_db": rng.uniform(-15, 0), "neighbour_ratio": rng.uniform(0.7, 1.4)}
    elif kind == 4:
        more |= {"knock_db": rng.uniform(-10, 10), "knocks": 2}
    elif kind == 5:
        more |= {"hum_db": 6.0, "fans": 2, "fan_db": 0.0}
    elif kind == 6:
        more |= {"twist_db": rng.uniform(-15, 0), "twist_ratio": rng.uniform(1.01, 1.1)}
    elif kind in (7, 8):
        more |= {"plucks": 2 + index % 2, "gap_s": 1.0, "scatter": 0.003}
    return simulator.draw(rng, frequency_hz=(20.0, 640.0), snr_db=loud, **more)


def is_room(index: int) -> bool:
    """Whether nothing is plucked there."""
    return index % KINDS == 9


def sound(case: simulator.Case, *, room: bool = False) -> Callable[[], Array]:
    """Return what renders the samples of a case, or of its room without a pluck."""
    if room:
        return lambda: simulator.render_room(case, ROOM_S)
    return lambda: simulator.render(case).samples
