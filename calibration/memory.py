"""Whether memory grows while one listens for hours: the table "memory" of docs/speed.md.

    python -m calibration.memory              eight hours at 8 kHz, written into the document
    python -m calibration.memory --hours 0.5  on the terminal only

What `listen` does with blocks (measurement, plain lines, the kept sound) is fed as fast as it takes
them: a noisy room with mains hum, and a belt plucked three times a minute whose tone wanders like a
belt's. The process's own resident memory is read once in every minute of sound (Linux). The first
tenth fills the buffers; through the rest goes a straight line by least squares.

Its scatter is that of steps that stay. What an allocator once holds it seldom gives back, so memory
is a sum of steps, and the residuals of a line through it hang together for hours: a scatter made
from them is too small. So the slope is written as a weighted sum of the changes from minute to
minute, and its variance made from these (less their mean) with the weights of Newey & West
(Econometrica 55, 703, 1987) over a tenth of the series; the 95 % limit is that of Kiefer &
Vogelsang (Econometric Theory 21, 1130, 2005), their cubic for these weights, quoted from memory and
checked by the trial that follows.

In 600 invented series each (seed 77) of memory that drifts nowhere but keeps its steps (a random
walk; six page steps up or down in eight hours), 1.7 to 2.5 % were called growing, where 2.5 % are
meant to be. The means of tenths with Student's t, used before, called 27 to 30 % of them growing,
and Newey & West's weights on the residuals themselves 31 to 37 %. For memory that only fluctuates
about a level the limit is too wide: nearly none is called growing. So is it for two or three large
steps in all, however large: from so few nobody can tell whether more will come. The tenths, which
stand beside it, show them.
"""

from __future__ import annotations

import argparse
import math
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import beltpitch  # noqa: F401  (asks for one BLAS thread, before numpy is loaded)

# isort: split
import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Block
from beltpitch.audio.synthesis import hum, pluck_recording, room_noise
from calibration import evidence

SEED = 2026
HOURS = 8.0
RATE_HZ = 8_000.0
BLOCK = 160  # samples: 20 ms
MINUTES = 12  # different ones, played in turn
PLUCKS = 3  # a minute
TENTHS = 10
LIMIT_95 = (1.9600, 2.9694, 0.4160, -0.5324)  # of a slope over its scatter, by share of lags


@dataclass(frozen=True, slots=True)
class Slope:
    """How memory goes with time: kilobytes an hour, and half its 95 % interval."""

    kb_per_h: float
    half: float

    @property
    def grows(self) -> bool:
        """Whether it is above zero beyond its scatter."""
        return self.kb_per_h > self.half


def slope(hours: NDArray[np.float64], kilobytes: NDArray[np.float64]) -> Slope:
    """Return the slope after the first tenth, with the scatter of steps that stay (see above)."""
    first = len(hours) // TENTHS
    x, y = hours[first:], kilobytes[first:] - kilobytes[first]  # level is zero, not nearly so
    away = x - x.mean()
    weights = away / float(away @ away)
    rise = float(weights @ y)
    later = np.cumsum(weights[::-1])[::-1][1:]  # of a change: all weights from there on
    parts = later * (np.diff(y) - rise * np.diff(x))
    width = max(1, round(len(parts) / TENTHS))
    variance = float(parts @ parts)
    for lag in range(1, width):
        variance += 2 * (1 - lag / width) * float(parts[lag:] @ parts[:-lag])
    share = width / len(parts)
    limit = sum(c * share**n for n, c in enumerate(LIMIT_95))
    return Slope(rise, limit * math.sqrt(max(0.0, variance)))


def tenths_mb(kilobytes: NDArray[np.float64]) -> list[str]:
    """Return the mean of each tenth of the time in megabytes, as text."""
    return [f"{part.mean() / 1000:.3f}" for part in np.array_split(kilobytes, TENTHS)]


def resident_kb() -> float:
    """Return what this process holds in memory now, in kilobytes."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1000


def minute(
    number: int, plucks: int = PLUCKS, first_s: float = 5.0, apart_s: float = 18.0
) -> NDArray[np.float64]:
    """Return a minute of a noisy room in which a belt is plucked so many times."""
    frames = round(60 * RATE_HZ)
    sound = room_noise(frames, 1e-3, SEED + number) + hum(frames, RATE_HZ, 49.9, 1e-3)
    plucked = pluck_recording(
        95.0 * (1 + 0.002 * math.sin(number)),
        rate_hz=RATE_HZ,
        plucks=plucks,
        first_s=first_s,
        apart_s=apart_s,
        decay_s=0.15,
        scatter=0.002,
        noise=0.0,
        seed=number,
    )
    sound[: len(plucked)] += plucked[:frames]
    return sound


def listened(hours: float) -> Iterator[tuple[float, float, int]]:
    """Listen; yield after each minute of sound the hours so far, kilobytes, and plucks taken."""
    from beltpitch import parsing
    from beltpitch.memory import give_back
    from beltpitch.session.live import Measuring
    from beltpitch.session.session import Subject
    from beltpitch.terminal.live_loop import PlainLines

    belt = parsing.belt("2GT 9 mm")
    span = parsing.span("286 +/- 0.5 mm", belt, ends="pulley,clamp")
    measuring = Measuring(RATE_HZ, [Subject("y-left", belt, span)], keep_sound=True)
    face = PlainLines(measuring.names, "N", say=lambda _: None)
    minutes = [minute(number) for number in range(MINUTES)]
    taken = 0
    give_back(begin=True)
    for number in range(round(hours * 60)):
        sound = minutes[number % MINUTES]
        for first in range(0, len(sound), BLOCK):
            for state in measuring.feed(Block(sound[first : first + BLOCK], RATE_HZ)):
                face.show(state)
                if state.taken is not None:
                    taken += state.taken.pluck.used
                    give_back()
        yield (number + 1) / 60, resident_kb(), taken


def kept(hours: float) -> NDArray[np.float64]:
    """Listen; return hours so far, kilobytes and plucks taken, shape (minutes, 3).

    What is written down has its place before the listening begins, and grows no more itself.
    """
    rows = np.ones((round(hours * 60), 3))
    for number, row in enumerate(listened(hours)):
        rows[number] = row
    return rows


def table(rows: NDArray[np.float64]) -> str:
    """Return the table of what was fed and what memory did; rows as `kept` returns them."""
    hours, sizes, taken = rows.T
    found = slope(hours, sizes)
    after = len(rows) // TENTHS
    word = "above zero" if found.grows else "not above zero beyond its scatter"
    return "\n".join(
        (
            "| memory while listening | |",
            "|---|---|",
            f"| sound fed at {RATE_HZ / 1000:.0f} kHz | {hours[-1]:.3g} h |",
            f"| plucks taken | {taken[-1]:.0f} |",
            f"| resident after the first tenth | {sizes[after] / 1000:.1f} MB |",
            f"| at the end | {sizes[-1] / 1000:.1f} MB |",
            f"| in each tenth | {', '.join(tenths_mb(sizes))} MB |",
            f"| slope from there, 95 % | {found.kb_per_h:+.1f} ± {found.half:.1f} kB an hour |",
            f"| the slope is | {word} |",
        )
    )


def main(arguments: Sequence[str] | None = None) -> None:
    """Listen for so long and say what memory did."""
    parser = argparse.ArgumentParser(
        prog="python -m calibration.memory", description=(__doc__ or "").split("\n", 1)[0]
    )
    parser.add_argument("--hours", type=float, default=HOURS, help="of sound")
    given = parser.parse_args(arguments)
    rows = kept(given.hours)
    text = table(rows)
    print(text)
    if given.hours >= HOURS:
        record = {"seed": SEED, "hours": given.hours, "count": int(rows[-1, 2])}
        evidence.keep(evidence.SPEED, "memory", text, record)


if __name__ == "__main__":
    main()
