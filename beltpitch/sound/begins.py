"""Whether a tone began with the onset, or sounded before it: a pluck against what goes on.

A voice, an engine or a fan may have partials as regular as a string's, and its loudness sways so
that something seems to begin. But a plucked string was silent before. For each line of a pluck the
power in the short stretch ahead of the onset is judged under two hypotheses: only the noise known
to be there, or noise and the line as loud as it is afterwards. Both powers are taken as exponential
(those of a narrow band of noise), which leaves room for a line that swells.

A pluck that rings on through a knock is cut in two, and its second part does not begin there
either: it is enough that one of the records of a tone begins with it.

Conventions: log likelihood ratios in nats, above 0 for a beginning.
"""

from __future__ import annotations

import numpy as np

from beltpitch.sound.block import Samples
from beltpitch.sound.evidence import Candidate
from beltpitch.sound.lines import Lines
from beltpitch.sound.pluck import Pluck

GUARD_S = 0.008  # the onset is good to a few milliseconds
SHORTEST_S = 0.03
LINE_LEAST = -6.0  # noise is louder at times than its mean: no line says more than that


def begins(pluck: Pluck, lines: Lines) -> Samples | None:
    """Return the evidence of each line for having begun with the pluck, shape (lines,).

    None where nothing was heard ahead of the onset.
    """
    rate = pluck.rate_hz
    ahead = pluck.samples[: max(0, pluck.onset - round(GUARD_S * rate))]
    count = len(ahead)
    if pluck.opened or count < SHORTEST_S * rate or len(lines.gain) == 0:
        return None
    window = np.hanning(count + 2)[1:-1]
    turn = np.exp(-2j * np.pi * np.outer(lines.frequency_hz, np.arange(count) / rate))
    before = np.abs(2.0 * turn @ (ahead * window) / window.sum()) ** 2
    quiet = _quiet(pluck, lines, window)
    goes_on = quiet + lines.amplitude**2
    out: Samples = np.log(goes_on / quiet) - before * (1.0 / quiet - 1.0 / goes_on)
    return np.maximum(out, LINE_LEAST)


def _quiet(pluck: Pluck, lines: Lines, window: Samples) -> Samples:
    """Return the squared amplitude that the noise and its steady lines have in the window."""
    noise = pluck.noise
    out: Samples = 4.0 * noise.at(lines.frequency_hz) * float(window @ window) / window.sum() ** 2
    width = 2.0 * pluck.rate_hz / len(window)
    near = np.abs(lines.frequency_hz[:, None] - noise.line_hz) < width
    return np.asarray(out + near @ (2.0 * noise.line_power), np.float64)


def together(each: Samples, series: Candidate) -> float:
    """Return the evidence of all the lines of a series together."""
    return float(each[series.line[series.numbers - 1]].sum())
