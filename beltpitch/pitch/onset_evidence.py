"""Whether a tone began with the onset or sounded before it: a pluck against what goes on.

A voice, an engine or a fan may have partials as regular as a string's, and its loudness varies so
that something seems to begin. But a plucked string was silent before. For each line of a pluck the
power in the short stretch ahead of the onset is judged under two hypotheses: only the known noise,
or noise and the line as loud as it is afterwards. Both powers are taken as exponentially
distributed (those of a narrow band of noise), which leaves room for a line that swells.

A knock during a pluck splits its record; only the first part contains the onset. One record with an
onset is therefore enough. Noise may also hide or shift the onset, so the stretches before earlier
records are searched too. A tone that goes on was there in all of them.

Conventions: log likelihood ratios in nats, above 0 for a beginning.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from beltpitch.audio.block import Samples
from beltpitch.pitch.likelihood import Candidate
from beltpitch.pitch.noise import hann, turns
from beltpitch.pitch.peaks import SpectralLines
from beltpitch.pitch.pluck_detector import Pluck

GUARD_S = 0.008  # the onset is good to a few milliseconds
SHORTEST_S = 0.03
STRETCH_S = 0.05
EARLIER_S = 1.0
EARLIER_SHARE = 0.1  # of onsets that go unnoticed
LINE_LEAST = -6.0  # noise is louder at times than its mean: no line says more than that


def begins(pluck: Pluck, lines: SpectralLines) -> Samples | None:
    """Return the evidence of each line for having begun with the pluck, shape (lines,).

    None where nothing was heard ahead of the onset.
    """
    ahead = pluck.samples[: max(0, pluck.onset - round(GUARD_S * pluck.rate_hz))]
    if pluck.opened or len(ahead) < SHORTEST_S * pluck.rate_hz or len(lines.gain) == 0:
        return None
    (out,) = _silent(pluck, lines, ahead[None])
    return np.asarray(out, np.float64)


def began_earlier(pluck: Pluck, lines: SpectralLines, earlier: Sequence[Pluck]) -> Samples:
    """Return the same of stretches in the records before, shape (stretches, lines).

    Only of the last EARLIER_S: a string rings no longer than that beside what hid its onset.
    """
    rate = pluck.rate_hz
    count = round(STRETCH_S * rate)
    found: list[Samples] = []
    if pluck.onset_s is not None and len(lines.gain) > 0:
        for one in earlier:
            if one.onset_s is None or one.refused is not None or one.rate_hz != rate:
                continue
            start = one.onset - round((one.onset_s - pluck.onset_s + EARLIER_S) * rate)
            end = one.onset + round((pluck.onset_s - one.onset_s) * rate) - pluck.onset
            part = one.samples[max(0, start) : max(0, end)]
            found += list(part[: len(part) // count * count].reshape(-1, count))
    if not found:
        return np.zeros((0, len(lines.gain)))
    return _silent(pluck, lines, np.array(found))


def _silent(pluck: Pluck, lines: SpectralLines, stretches: Samples) -> Samples:
    """Return how much likelier each line is silent in each of the stretches (rows) than not."""
    count = stretches.shape[1]
    window = hann(count)
    turn = turns(lines.frequency_hz / pluck.rate_hz, count)
    before = np.abs(2.0 * (stretches * window) @ turn / window.sum()) ** 2
    quiet = _quiet(pluck, lines, window)
    goes_on = quiet + lines.amplitude**2
    out: Samples = np.log(goes_on / quiet) - before * (1.0 / quiet - 1.0 / goes_on)
    return np.maximum(out, LINE_LEAST)


def _quiet(pluck: Pluck, lines: SpectralLines, window: Samples) -> Samples:
    """Return the squared amplitude that the noise and its steady lines have in the window."""
    noise = pluck.noise
    out: Samples = 4.0 * noise.at(lines.frequency_hz) * float(window @ window) / window.sum() ** 2
    width = 2.0 * pluck.rate_hz / len(window)
    near = np.abs(lines.frequency_hz[:, None] - noise.line_hz) < width
    return np.asarray(out + near @ (2.0 * noise.line_power), np.float64)


def together(each: Samples, earlier: Samples, series: Candidate) -> float:
    """Return the evidence of all the lines of a series together, whenever it began."""
    own = series.line[series.numbers - 1]
    here = float(each[own].sum())
    if len(earlier) == 0:
        return here
    there = earlier[:, own].sum(axis=1)
    mean = float(np.logaddexp.reduce(there)) - math.log(len(there))  # any of them as likely
    return max(here, mean + math.log(EARLIER_SHARE))
