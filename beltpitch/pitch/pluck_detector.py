"""The PluckDetector: blocks in, plucks out; no input, no output, no clock.

It is a protocol engine in the manner of h11: whoever owns the microphone or the file feeds blocks
and gets finished plucks back. Time is counted in samples. Sound is cut into slabs of a fixed size
first (resample.py), so that whole or in crumbs the answer is the same; only the last seconds are
kept, so that hours of sound take no more memory than seconds.

A pluck is anything that begins suddenly; whether it is a plucked string is decided in estimator.py,
which sees its partials. The record ends when nothing stands above the noise any more, when the
next pluck begins, or after LONGEST_S.

Conventions: sample positions count at the analysis rate from the first sample fed.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from beltpitch.audio.block import Block, Samples, read_only
from beltpitch.pitch.messages import (
    BAD_SAMPLES,
    CLIPPED_THROUGHOUT,
    LOST_SOUND,
    NOTHING_BEGAN,
    SILENCE,
)
from beltpitch.pitch.noise import (
    SHORTEST_QUIET_S,
    Noise,
    from_quiet,
    from_within,
    unknown,
    whitened,
)
from beltpitch.pitch.onsets import FRAME_HOPS, Frames, OnsetDetector
from beltpitch.pitch.resample import SLAB_HOPS, Resampler, Slab

LONGEST_S = 3.0  # decay times of a belt that rings for 1 s; more adds nothing (physics.md, 4)
LEAD_S = 0.06  # quiet kept ahead of the onset
GUARD_S = 0.05  # the attack reaches this far back into frames that look quiet
QUIET_KEPT_S = 1.5
OPENING_SLABS = 6  # the first half second is heard as a whole before anything is decided
FLUX_LIMIT = 10.0  # sum of log ratios; noise alone stays below 1, plucks reach 50 and more
FLUX_OVER_USUAL = 8.0  # and this many times what the noise here commonly does
USUAL_MEMORY = 0.98  # per slab: about 5 s
APART_HOPS = 20  # two plucks are 0.11 s apart at least
QUIET_EXCESS = 1.5  # below it nothing stands above the noise that a pluck would be heard in
# Below it nothing is left of a pluck. Noise alone (exponential in each bin) stands above OVER_FLOOR
# by E1(6) = 3.6e-4 in the mean of a bin, 0.07 over them all.
OVER_EXCESS = 0.5
OVER_SLABS = 2
STUCK_SLABS = 45  # 4 s without falling back: a machine was switched on, not a pluck
FADED = 0.5
FEWEST_AFTER_SILENCE = 2  # slabs
ROOM_PEAK = 0.1  # full scale 1: what is louder is no room, even if it does not fade at once
AS_QUIET = 0.3  # mean log power of a slab over the quietest one: steady noise stays below
EDGE_STEPS = 4  # of a quarter hop
RISE_BEFORE_HOPS = 14
SILENT_PEAK = 3e-5  # one step of 16 bits
DIGITAL_SILENCE = 1e-6  # no converter is as still: the recording was padded, gated or cut


@dataclass(frozen=True, slots=True, eq=False)
class Pluck:
    """A stretch of sound that began suddenly.

    Parameters
    ----------
    samples
        Sound at the analysis rate, from ``LEAD_S`` before the onset where there was any.
    rate_hz
        The analysis rate.
    onset
        Where it begins: index into ``samples``, good to a few milliseconds.
    onset_s
        The same, from the first sample fed; None where there was no onset to speak of.
    noise
        The noise it stands in, and the steady tones known beforehand.
    clear
        Index of the first sample after any clipping.
    opened
        True if the sound began within it, so that its onset may be missing.
    refused
        A reason known already why it cannot be used.
    """

    samples: Samples
    rate_hz: float
    onset: int
    onset_s: float | None
    noise: Noise
    clear: int
    opened: bool = False
    refused: str | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "samples", read_only(self.samples))

    @property
    def clipped(self) -> bool:
        """Whether the start is clipped and left out."""
        return self.clear > self.onset


@dataclass(slots=True)
class _Open:
    """A pluck being recorded."""

    onset: int
    opened: bool
    strength: float
    quiet_slabs: int = 0


class PluckDetector:
    """Finds plucks in blocks of sound.

    Parameters
    ----------
    rate_hz
        Rate of the blocks that will be fed.
    """

    def __init__(self, rate_hz: float) -> None:
        self._intake = Resampler(rate_hz)
        self.rate_hz = self._intake.rate_hz
        self._hop = self._intake.hop
        self._slab_samples = self._hop * SLAB_HOPS
        self._watch = OnsetDetector(self.rate_hz, self._hop)
        self._opening: list[tuple[Slab, Samples]] | None = []
        self._only_silence = False  # is all that is known of the noise
        keep = round((LONGEST_S + QUIET_KEPT_S + 1.0) * self.rate_hz / self._slab_samples) + 2
        self._slabs: deque[Slab] = deque(maxlen=keep)
        self._quiet_flags: deque[bool] = deque(maxlen=keep)  # nothing sounded in the slab
        self._free_flags: deque[bool] = deque(maxlen=keep)  # nothing rang when it began
        self._end = 0  # position after the last slab heard
        self._open: _Open | None = None
        self._flux_before = np.zeros(2)
        self._bad_before = FRAME_HOPS * (False,)
        self._usual = 0.0
        self._ringing = 0
        self._peak = 0.0
        self._any_bad = False
        self._heard_any = False
        self.level = 0.0

    def feed(self, block: Block) -> list[Pluck]:
        """Take one block; return the plucks that are over."""
        done: list[Pluck] = []
        for slab in self._intake.feed(block):
            done += self._take(slab)
        return done

    @property
    def sounding_s(self) -> float | None:
        """For how long a pluck has been sounding; None if there is none."""
        return None if self._open is None else (self._end - self._open.onset) / self.rate_hz

    def so_far(self) -> Pluck | None:
        """Return the pluck that is sounding as far as it has been heard; None if there is none.

        For a first reading before it has died away; the whole pluck comes from `feed` as always.
        """
        return None if self._open is None else self._record(self._open, self._end)

    def finish(self) -> list[Pluck]:
        """Take what is left; return the last plucks.

        Where nothing began in all that was fed, one refused pluck without an onset says why.
        """
        done: list[Pluck] = []
        for slab in self._intake.finish():
            done += self._take(slab)
        done += self._begin()
        if self._open is not None:
            done.append(self._close(min(self._end, self._intake.total)))
        return done if self._heard_any else [self._nothing()]

    def _nothing(self) -> Pluck:
        if self._any_bad:
            why = BAD_SAMPLES
        elif self._peak <= SILENT_PEAK:
            why = SILENCE
        else:
            why = NOTHING_BEGAN
        empty = np.zeros(1)
        return Pluck(empty, self.rate_hz, 0, None, unknown(self.rate_hz), 0, refused=why)

    def _take(self, slab: Slab) -> list[Pluck]:
        """Hear one slab; hold the opening back until it can be judged as a whole."""
        self.level = slab.peak
        self._peak = max(self._peak, self.level)
        self._any_bad = self._any_bad or any(slab.bad)
        power = self._watch.powers(slab.samples)
        if self._opening is None:
            return self._hear(slab, power)
        if not self._opening and self.level <= DIGITAL_SILENCE:
            self._only_silence = True
            self._watch.learn(power)
            return self._hear(slab, power)
        self._opening.append((slab, power))
        return self._begin() if len(self._opening) == OPENING_SLABS else []

    def _begin(self) -> list[Pluck]:
        """Judge the opening: its quietest part is the first noise floor."""
        if not self._opening:
            return []
        opening, self._opening = self._opening, None
        if self._only_silence:
            self._end_silence(opening[1:])  # the first slab is silent in part
        else:
            # frames that reach back beyond the first sample see a step that is none
            slab, power = opening[0]
            opening[0] = (slab, np.concatenate([power[FRAME_HOPS:], power[FRAME_HOPS:]]))
            if self._learn_quietest([power for _, power in opening]):
                self._open = _Open(0, opened=True, strength=0.0)
        done: list[Pluck] = []
        for slab, power in opening:
            done += self._hear(slab, power)
        return done

    def _end_silence(self, opening: list[tuple[Slab, Samples]]) -> None:
        """Forget the digital silence a recording began with, unless a pluck comes right out of it.

        It says nothing of the room, whose every rustle would stand out of it.
        """
        powers = [power for _, power in opening]
        if len(powers) < FEWEST_AFTER_SILENCE or _fades(powers):
            return
        if max(slab.peak for slab, _ in opening) > ROOM_PEAK:
            return
        self._only_silence = False
        self._watch.forget()
        self._learn_quietest(powers)
        self._quiet_flags = deque(len(self._slabs) * [False], maxlen=self._slabs.maxlen)

    def _learn_quietest(self, powers: list[Samples]) -> bool:
        """Take the quietest slabs for the noise; tell whether the sound fades from the first."""
        loud = _loudness(powers)
        for power, level in zip(powers, loud, strict=True):
            if level <= loud.min() + AS_QUIET:
                self._watch.learn(power)
        return _fades(powers)

    def _hear(self, slab: Slab, power: Samples) -> list[Pluck]:
        frames = self._watch.measure(power)
        start = self._end
        self._slabs.append(slab)
        self._free_flags.append(self._open is None and self._ringing == 0)
        self._end += self._slab_samples
        done: list[Pluck] = []
        self._quiet_flags.append(False)
        bad = self._bad_before + slab.bad
        self._bad_before = bad[-FRAME_HOPS:]
        for hop in self._onsets(frames):
            broken = any(bad[max(0, hop) : hop + FRAME_HOPS + 1])
            if not broken and start + (hop + 1) * self._hop <= self._intake.total:
                done += self._onset(start + hop * self._hop, float(frames.flux[hop]))
        silent = slab.peak <= DIGITAL_SILENCE
        quiet = self._is_quiet(frames) and (self._only_silence or not silent)
        self._quiet_flags[-1] = quiet
        if quiet:
            self._watch.learn(power)
        self._usual = max(
            USUAL_MEMORY * self._usual, (1 - USUAL_MEMORY) * float(frames.flux.mean())
        )
        self._ringing = 0 if quiet or silent else self._ringing + 1
        if self._ringing > STUCK_SLABS:
            self._ringing = 0
            self._only_silence = False
            self._watch.forget()
            self._watch.learn(power)
        return done + self._maybe_over(frames)

    def _onsets(self, frames: Frames) -> list[int]:
        """Hops at which the flux has a strong local peak."""
        flux = np.concatenate([self._flux_before, frames.flux])
        self._flux_before = flux[-2:]
        limit = FLUX_LIMIT + FLUX_OVER_USUAL * self._usual
        if flux.max() <= limit:
            return []
        before, here, after = flux[:-2], flux[1:-1], flux[2:]
        peaks = (here > limit) & (here >= before) & (here > after)
        # flux[1 + i] belongs to hop i - 1 of this slab; the rise began up to a frame earlier
        return [int(i) - 1 for i in np.flatnonzero(peaks)]

    def _onset(self, frame_end: int, strength: float) -> list[Pluck]:
        """Open a pluck for the rise seen in the frame that ends there."""
        self._heard_any = True
        at = max(0, self._rise(frame_end))
        now = self._open
        if now is not None and at - now.onset < APART_HOPS * self._hop:
            if strength > now.strength and not now.opened:
                self._open = _Open(at, opened=False, strength=strength)
            return []
        done = [self._close(at)] if now is not None else []
        self._open = _Open(at, opened=False, strength=strength)
        return done

    def _rise(self, frame_end: int) -> int:
        """Return where the sound most likely rises, in and around the frame.

        The sound is whitened by the quiet before it, so that hum does not bury the rise. The
        likeliest place of a single step in its power (Chen & Gupta, J. Am. Stat. Assoc. 92, 739,
        1997) hears all of the frame, where the steepest rise of a few steps may be chance.
        """
        first = self._end - len(self._slabs) * self._slab_samples
        begin = max(first, frame_end - RISE_BEFORE_HOPS * self._hop)
        piece = self._sound(begin, min(self._end, frame_end + 2 * self._hop))
        step = max(4, self._hop // 4)
        quiet = self._quiet_before(begin - round(GUARD_S * self.rate_hz))
        white = whitened(piece, quiet)
        energy = np.add.reduceat(white**2, np.arange(0, len(white), step))
        if len(energy) < 6 * EDGE_STEPS:
            return begin
        total = np.cumsum(energy)
        k = np.arange(EDGE_STEPS, len(energy) - EDGE_STEPS + 1)
        least = step * SILENT_PEAK**2
        before = total[k - 1] / k + least
        after = (total[-1] - total[k - 1]) / (len(energy) - k) + least
        likely = -k * np.log(before) - (len(energy) - k) * np.log(after)
        likely[after < before] = -np.inf  # it rises there, it does not die
        return begin + int(k[np.argmax(likely)]) * step

    def _is_quiet(self, frames: Frames) -> bool:
        return self._open is None and float(frames.excess.mean()) < QUIET_EXCESS

    def _maybe_over(self, frames: Frames) -> list[Pluck]:
        """Close the open pluck if its sound is over."""
        now = self._open
        if now is None:
            return []
        still = float(frames.excess[-SLAB_HOPS // 2 :].mean()) > OVER_EXCESS
        now.quiet_slabs = 0 if still else now.quiet_slabs + 1
        full = self._end - now.onset >= LONGEST_S * self.rate_hz
        if (now.opened or now.quiet_slabs < OVER_SLABS) and not full:
            return []
        return [self._close(self._end)]

    def _close(self, end: int) -> Pluck:
        """Make the record of the open pluck, which ends there."""
        now = self._open
        assert now is not None
        self._open = None
        self._heard_any = True
        return self._record(now, end)

    def _record(self, now: _Open, end: int) -> Pluck:
        end = min(end, now.onset + round(LONGEST_S * self.rate_hz))
        begin = max(0, now.onset - round(LEAD_S * self.rate_hz))
        samples = self._sound(begin, end)
        clear, refused = self._flags(now.onset, end)
        return Pluck(
            samples,
            self.rate_hz,
            now.onset - begin,
            now.onset / self.rate_hz,
            self._noise(now.onset, samples),
            max(clear - begin, now.onset - begin),
            opened=now.opened,
            refused=refused,
        )

    def _flags(self, onset: int, end: int) -> tuple[int, str | None]:
        """Return where the sound is clear of clipping, and a reason to refuse it."""
        first = self._end - len(self._slabs) * self._slab_samples
        clear = onset
        hops = range(max(first, onset) // self._hop, -(-end // self._hop))
        for hop in hops:
            slab, k = divmod(hop - first // self._hop, SLAB_HOPS)
            if slab >= len(self._slabs):
                break
            if self._slabs[slab].bad[k]:
                return clear, LOST_SOUND
            if self._slabs[slab].clipped[k]:
                clear = (hop + 1) * self._hop
        return clear, CLIPPED_THROUGHOUT if clear > end - SHORTEST_QUIET_S * self.rate_hz else None

    def _noise(self, onset: int, samples: Samples) -> Noise:
        """Measure the noise before the onset, or before that, or within the pluck itself."""
        quiet = self._quiet_before(onset - round(GUARD_S * self.rate_hz))
        if len(quiet) >= SHORTEST_QUIET_S * self.rate_hz:
            return from_quiet(quiet, self.rate_hz)
        return from_within(samples[-max(len(samples) // 2, 64) :], self.rate_hz)

    def _quiet_before(self, end: int) -> Samples:
        """Return the last quiet that ends there, joined up, at most QUIET_KEPT_S of it."""
        first = self._end - len(self._slabs) * self._slab_samples
        pieces: list[Samples] = []
        need = round(QUIET_KEPT_S * self.rate_hz)
        count = min(len(self._slabs), -(-(end - first) // self._slab_samples))
        for k in range(count - 1, -1, -1):
            begins = first + k * self._slab_samples
            # the slab of the onset itself was quiet up to there, unless something rang into it
            if self._quiet_flags[k] or (end - begins < self._slab_samples and self._free_flags[k]):
                pieces.append(self._slabs[k].samples[: max(0, end - begins)])
                need -= len(pieces[-1])
            if need <= 0:
                break
        return np.concatenate(pieces[::-1]) if pieces else np.zeros(0)

    def _sound(self, begin: int, end: int) -> Samples:
        """Return kept samples by position."""
        first = self._end - len(self._slabs) * self._slab_samples
        whole = np.concatenate([s.samples for s in self._slabs])
        return whole[max(0, begin - first) : max(0, end - first)]


def _loudness(powers: list[Samples]) -> Samples:
    """Return the mean log power of each slab."""
    out: Samples = np.log(np.stack([power.mean(axis=0) for power in powers])).mean(axis=1)
    return out


def _fades(powers: list[Samples]) -> bool:
    """Whether the sound is loudest at first."""
    loud = _loudness(powers)
    return bool(loud[0] - loud.min() > FADED and loud.argmin() > 0)
