"""The measured path: the program's own PluckDetector, `hear` and reading, fed like a recording."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Block
from beltpitch.pitch.results import FrequencyRange, PitchResult
from calibration.measures import COVERAGE

BLOCK_S = 0.25


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to one recording, or None and the reason.

    ``frequency_hz`` and ``interval_hz`` (95 %, scatter from pluck to pluck included) are those of
    the reading; ``u_hz`` is the standard uncertainty that the fits of its plucks claim by
    themselves.
    """

    frequency_hz: float | None
    u_hz: float | None
    interval_hz: tuple[float, float] | None
    heard: PitchResult


def listen(
    samples: NDArray[np.float64], rate_hz: float, expected: FrequencyRange | None = None
) -> PitchResult:
    """Return what the program hears in one recording, fed in blocks of a quarter second."""
    from beltpitch.pitch.estimator import hear
    from beltpitch.pitch.pluck_detector import PluckDetector

    listener = PluckDetector(rate_hz)
    step = max(1, int(BLOCK_S * rate_hz))
    plucks = []
    for start in range(0, samples.size, step):
        plucks += listener.feed(Block(samples[start : start + step], rate_hz))
    plucks += listener.finish()
    return hear(plucks, expected or FrequencyRange())


def answer(
    samples: NDArray[np.float64], rate_hz: float, expected: FrequencyRange | None = None
) -> Answer:
    """Return the program's answer to one recording."""
    from beltpitch.reading import frequency_of

    heard = listen(samples, rate_hz, expected)
    used = [each.pitch for each in heard.plucks if each.used and each.pitch is not None]
    if not used:
        return Answer(None, None, None, heard)
    own_hz = [pitch.frequency_u_hz for pitch in used]
    frequency = frequency_of([pitch.frequency_hz for pitch in used], own_hz, "pluck")
    claimed = np.sqrt(np.sum(np.square(own_hz))) / len(used)
    interval = frequency.interval(COVERAGE)
    return Answer(frequency.value, float(claimed), (interval[0], interval[1]), heard)


def describe(given: Answer) -> str:
    """Return the answer in one line, with every pluck and reason, for a look at a failure."""
    plucks = []
    for each in given.heard.plucks:
        at = "?" if each.onset_s is None else f"{each.onset_s:.2f}"
        pitch = each.pitch
        if pitch is None:
            plucks.append(f"[{at} s: {each.reason}]")
            continue
        numbers = ",".join(str(partial.number) for partial in pitch.partials)
        plucks.append(
            f"[{at} s: {pitch.frequency_hz:.3f} u {pitch.frequency_u_hz:.3f} quality "
            f"{pitch.quality:.3f} partials {numbers}{'' if each.used else ' unused'}]"
        )
    value = "none" if given.frequency_hz is None else f"{given.frequency_hz:.3f} Hz"
    return f"{value} {' '.join(plucks)} {given.heard.reason or ''}".rstrip()
