"""Maximum likelihood fit of damped partials, with the glide of a large pluck.

The model of the sound from its start on is a sum of

    Re[ c_n exp(-a_n t + 2 pi i f_n s_n(t)) ],  s_n(t) = t + k_n (g / 2) (1 - exp(-2 d t)) / (2 d),

where s_n is time warped by the glide: f_n^2(t) = f_n^2 (1 + k_n g exp(-2 d t)) to first order
(Kirchhoff-Carrier with several modes, physics.md section 3; d stands for the decays of the few
modes that carry the motion, in their shares of it; k_n > 1 for these modes, which stretch the belt
in step with themselves). Amplitudes are linear and solved along (variable projection: Golub &
Pereyra, SIAM J. Numer. Anal. 10, 413, 1973), the rest by Gauss-Newton. The noise is coloured: each
partial is weighted by the noise where it stands, which is exact for narrow partials. The f_n are
free; the stiff series is laid through them afterwards with their full covariance, which is as
efficient and does not break where a real belt's partials lie off the series.

It is fast because each partial is written as (slow, one value a block) x (fast, within a block):
model, residual and normal matrix are then small matrix products.

Conventions: time from the first sample given; u from the inverse Fisher matrix with the noise, or
with the residual about each partial where that is larger.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from beltpitch.audio.block import Samples
from beltpitch.pitch.likelihood import DECAY_MEAN, DECAY_SCATTER, DECAY_SD
from beltpitch.pitch.noise import Noise

Complex = NDArray[np.complex128]

MOST_PARTIALS = 12
LEAST_INFORMATION = 1e-5  # of the most informative partial: below it a partial is left out
DECAYS_USED = 4.5  # record length in decay times (physics.md, section 4)
LEAST_USED_S = 0.05
BLOCK_S = 0.004  # a glide of 5 % at 1 kHz turns by a third of a radian from its middle to its end
STEPS = 14
AMPLITUDE_PASSES = 2  # see `_amplitudes`
TRUSTING = 2  # steps before the residual is believed to be the attack's, not the fit's
CLOSE_ENOUGH = 0.2  # of a standard uncertainty; half of it is left once the last step is taken
GLIDE_U = 0.02  # prior: f^2 of a hard pluck begins this much high, or more
MOST_GLIDE = 0.15
# A triangle plucked at 0.28 of the span has n^2 a_n^2 in these shares; own modes count half more.
GLIDE_SHARE = (0.70, 0.28, 0.03)
GLIDE_OWN = (1.35, 1.14, 1.02)
SMOOTH_BLOCKS = 7  # 28 ms: the residual's power is known to a quarter
CHANCE_EXCESS = 1.5  # it goes this far above the noise by chance
COHERENT = 3  # blocks
BAND_BINS = 3  # residual about a partial: this many bins of 1/T either side
# Priors that keep a partial at its line: in widths of the line and in bins; and at its decay.
NEAR_WIDTHS = 1.0
NEAR_BINS = 0.3
DECAY_FACTOR = 1.0
MOST_TONES = 10
TONE_REACH_HZ = 60.0
TONE_APART_HZ = 0.7
TONE_HZ = 0.15  # a fan wanders
TONE_DECAY = 0.02
DECAY_LIMITS = (0.05, 400.0)
SERIES_NEEDS = 2  # partials that place the others
# A partial left out is sought so near its place, relative; it stands this far above the noise
# (by chance once in e^16 looks) and above what is left from so many half widths beside it on.
LEFT_OUT_CROWDED = 40.0  # half widths from line to line; farther apart they do not feel each other
LEFT_OUT_NEAR = 0.004
LEFT_OUT_GAIN = 16.0
LEFT_OUT_BESIDE = (8, 28)


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """Where the fit begins: numbers, frequencies, decays, amplitudes; shape (partials,)."""

    number: Samples
    frequency_hz: Samples
    decay_per_s: Samples
    amplitude: Samples


@dataclass(frozen=True, slots=True, eq=False)
class DampedFit:
    """The fitted partials.

    ``covariance`` is that of ``frequency_hz``; ``glide`` is the relative rise of f at the start;
    ``excess`` is residual over noise about each partial (1: the model explains the sound);
    ``explained`` is the share of the sound's energy that the model explains.
    """

    number: Samples
    frequency_hz: Samples
    covariance: Samples
    decay_per_s: Samples
    amplitude: Samples
    glide: float
    glide_u: float
    excess: Samples
    explained: float
    used_s: float


@dataclass(slots=True, eq=False)
class _State:
    """The parameters while they move, and what the last look at the sound gave."""

    f: Samples
    a: Samples
    glide: float
    c: Complex
    normal: Samples
    down: Samples  # what the step solves the normal matrix for
    slow: Complex  # of the model, as c is: see the head of this file
    fast: Complex
    seen: Complex  # the residual about each partial, one value a block
    inflation: Samples  # residual over noise in the band that decides


@dataclass(frozen=True, slots=True, eq=False)
class _Priors:
    """What is known beforehand: see the constants of this file.

    ``near`` limits a frequency's step, ``own`` is k_n; ``carrying`` and ``share`` are the decays of
    the modes that carry the glide and their shares of it; ``centre`` and ``weight`` (inverse
    variance) are of f_1.., a_1.., glide.
    """

    near: Samples
    own: Samples
    carrying: Samples
    share: Samples
    centre: Samples
    weight: Samples


def chosen(start: Start, noise: Noise) -> Start:
    """Return the partials that say most about the fundamental."""
    decay = np.maximum(start.decay_per_s, 0.5)
    information = (start.number * start.amplitude) ** 2 / (decay**3 * noise.at(start.frequency_hz))
    order = np.argsort(information)[::-1][:MOST_PARTIALS]
    order = np.sort(order[information[order] > LEAST_INFORMATION * information[order[0]]])
    return Start(
        start.number[order], start.frequency_hz[order], decay[order], start.amplitude[order]
    )


def fit(sound: Samples, rate_hz: float, noise: Noise, start: Start) -> DampedFit | None:
    """Fit damped partials to a sound that begins at once; None if the fit does not settle."""
    blocks = _blocks(sound, rate_hz, start)
    state = _settled(blocks, rate_hz, noise, start)
    if state is None:
        return None
    residual = _residual(blocks, state)
    more = _left_out(state, residual, rate_hz, noise, start.number)
    if more is not None:
        again = _settled(blocks, rate_hz, noise, more)
        if again is not None:
            start, state, residual = more, again, _residual(blocks, again)
    k = len(start.number)
    inverse = np.linalg.inv(state.normal)
    covariance: Samples = np.asarray(inverse[:k, :k], np.float64)
    glide_u = float(np.sqrt(inverse[-1, -1]))
    return DampedFit(
        number=start.number[:k],
        frequency_hz=state.f[:k],
        covariance=covariance,
        decay_per_s=state.a[:k],
        amplitude=np.abs(state.c[:k]),
        glide=0.5 * state.glide,
        glide_u=0.5 * glide_u,
        excess=state.inflation[:k],
        explained=1.0 - float((residual**2).sum() / (blocks**2).sum()),
        used_s=blocks.size / rate_hz,
    )


def _settled(blocks: Samples, rate_hz: float, noise: Noise, start: Start) -> _State | None:
    """Fit partials and steady tones; the partials come first in the state."""
    start = _with_tones(start, noise)
    power: Samples = np.maximum(noise.at(start.frequency_hz), 1e-16)
    return _settle(blocks, rate_hz, start, power)


def _left_out(
    state: _State,
    residual: Samples,
    rate_hz: float,
    noise: Noise,
    number: Samples,
) -> Start | None:
    """Return the partials with those that stand in the residual where the series has a place.

    A faint partial, or one beside a steady tone, has no line of its own in the spectrum, where
    louder ones stand about it; left in the sound it pulls at its neighbours, if the lines are wide
    for their distance. It must stand out of the noise and of what is left beside it, which after
    a hard attack is more than noise.
    """
    k = len(number)
    f, a = state.f[:k], state.a[:k]
    missing = np.setdiff1d(np.arange(1.0, number.max()), number)
    apart = (f / number).min() > LEFT_OUT_CROWDED * float(np.median(a)) / (2 * np.pi)
    if k < SERIES_NEEDS or apart or not len(missing):
        return None
    weight = np.abs(state.c[:k]) / f
    slope, level = np.polyfit(number**2, (f / number) ** 2, 1, w=weight)
    found = []
    for n in missing[:MOST_PARTIALS]:
        place = n * math.sqrt(max(level + slope * n**2, 0.25 * level))
        decay = float(np.interp(n, number, a))
        at = _standing(residual, rate_hz, noise, place, decay)
        if at is not None:
            found.append((n, at[0], decay, at[1]))
    if not found:
        return None
    extra = np.array(found).T
    order = np.argsort(np.concatenate([number, extra[0]]))
    return Start(
        np.concatenate([number, extra[0]])[order],
        np.concatenate([f, extra[1]])[order],
        np.concatenate([a, extra[2]])[order],
        np.concatenate([np.abs(state.c[:k]), extra[3]])[order],
    )


def _standing(
    residual: Samples, rate_hz: float, noise: Noise, place_hz: float, decay: float
) -> tuple[float, float] | None:
    """Return frequency and amplitude of what decays so in the residual near a place, if anything.

    Matched filters side by side, half a width apart; the middle ones may hold the partial.
    """
    count, size = residual.shape
    half = max(decay / (2 * np.pi), 0.5 * rate_hz / residual.size)  # half of a line's width
    reach = math.ceil(LEFT_OUT_NEAR * place_hz / half) + 2
    nearest, farthest = LEFT_OUT_BESIDE
    steps = np.arange(-reach - farthest + 1, reach + farthest)
    tried: Samples = place_hz + half * steps.astype(np.float64)
    inner, outer = np.arange(size) / rate_hz, np.arange(count) * (size / rate_hz)
    seen = _seen(residual, _side_by_side(inner, decay, tried))
    match = (seen * _side_by_side(outer, decay, tried).conj()).sum(axis=0)
    energy = float(np.exp(-2 * decay * outer).sum() * np.exp(-2 * decay * inner).sum())
    power = (match.real**2 + match.imag**2) / energy
    around = float(np.median(power[np.abs(steps) >= reach + nearest]))
    best = int(np.argmax(np.where(np.abs(steps) <= reach, power, 0.0)))
    if power[best] < LEFT_OUT_GAIN * max(float(noise.at(tried[best : best + 1])[0]), around):
        return None
    return float(tried[best]), 2.0 * math.sqrt(power[best] / energy)


def _side_by_side(time: Samples, decay: float, hz: Samples) -> Complex:
    """Return partials of equally spaced frequencies, shape (time, frequencies).

    Each comes from the one before by the same turn, which spares the exponentials.
    """
    out = np.empty((len(hz), len(time)), dtype=np.complex128)
    out[0] = np.exp((-decay + 2j * np.pi * hz[0]) * time)
    out[1:] = np.exp(2j * np.pi * (hz[1] - hz[0]) * time)
    return np.ascontiguousarray(np.multiply.accumulate(out, axis=0).T)


def _with_tones(start: Start, noise: Noise) -> Start:
    """Add the steady tones that matter, as partials numbered 0 that hardly decay."""
    beyond_chance = np.isin(noise.line_hz, noise.tones_hz)
    hz, power = noise.line_hz[beyond_chance], noise.line_power[beyond_chance]
    top = float(start.frequency_hz.max()) + TONE_REACH_HZ
    low = float(start.frequency_hz.min()) - TONE_REACH_HZ
    order = np.argsort(power)[::-1]
    order = order[(hz[order] < top) & (hz[order] > low)][:MOST_TONES]
    clear = [i for i in order if np.abs(start.frequency_hz - hz[i]).min() > TONE_APART_HZ]
    size = len(clear)
    return Start(
        np.concatenate([start.number, np.zeros(size)]),
        np.concatenate([start.frequency_hz, hz[clear]]),
        np.concatenate([start.decay_per_s, np.full(size, DECAY_LIMITS[0])]),
        np.concatenate([start.amplitude, np.sqrt(2 * power[clear])]),
    )


def _blocks(sound: Samples, rate_hz: float, start: Start) -> Samples:
    """Cut the record to its useful length; shape (blocks, samples in a block)."""
    slowest = float(start.decay_per_s[np.argmax(start.amplitude**2 / start.decay_per_s)])
    seconds = max(LEAST_USED_S, DECAYS_USED / max(slowest, 0.5))
    size = max(8, round(BLOCK_S * rate_hz))
    count = max(2, min(round(seconds * rate_hz), len(sound)) // size)
    out: Samples = sound[: count * size].reshape(count, size)
    return out


def _settle(blocks: Samples, rate: float, start: Start, power: Samples) -> _State | None:
    """Gauss-Newton until the steps of the frequencies are a small part of their uncertainty.

    The weights follow the residual; each is the mean of its new and its last value (of their
    logarithms), since weights and parameters would else swing against each other for ever.
    """
    priors = _priors(start, blocks.size / rate)
    f, a, glide = start.frequency_hz.copy(), start.decay_per_s.copy(), 0.0
    k = len(f)
    played = start.number > 0
    excess = np.ones((len(blocks), k))
    last: _State | None = None
    for turn in range(STEPS):
        state = _look(blocks, rate, f, a, glide, priors, power * excess)
        state.inflation = _inflation(state, power)
        excess = _weighed(state, power, excess, turn)
        step = _pulled(state, priors, np.concatenate([f, a, [glide]]))
        if not np.isfinite(step).all():
            return None
        f = f + np.clip(step[:k], -priors.near, priors.near)
        a = np.clip(a + np.clip(step[k : 2 * k], -0.5 * a, a), *DECAY_LIMITS)
        glide = min(max(glide + step[2 * k], 0.0), MOST_GLIDE)
        state.f, state.a, state.glide = f, a, glide
        last = state
        close = np.abs(step[:k]) * np.sqrt(np.diag(state.normal)[:k]) < CLOSE_ENOUGH
        if turn > TRUSTING and close[played].all():
            break
    return last


def _weighed(state: _State, power: Samples, before: Samples, turn: int) -> Samples:
    """Return residual over noise as the next step is to weigh it; shape (blocks, partials)."""
    if turn < TRUSTING:
        return np.ones_like(before) * state.inflation
    now = _excess(state, power * state.inflation) * state.inflation
    return now if turn == TRUSTING else np.sqrt(now * before)


def _priors(start: Start, seconds: float) -> _Priors:
    """Return what keeps the partials at their lines, and how the glide acts on each."""
    tone = start.number == 0
    near = np.hypot(
        NEAR_WIDTHS * start.decay_per_s / (2 * np.pi), np.full(len(tone), NEAR_BINS / seconds)
    )
    near[tone] = TONE_HZ
    decay = np.where(tone, TONE_DECAY, DECAY_FACTOR) * start.decay_per_s
    own = np.where(tone, 0.0, 1.0)
    for n, k_n in enumerate(GLIDE_OWN, start=1):
        own[start.number == n] = k_n
    carrying, share = _carrying(start.number[~tone], start.decay_per_s[~tone])
    centre = np.concatenate([start.frequency_hz, start.decay_per_s, [0.0]])
    weight = np.concatenate([near, decay, [GLIDE_U]]) ** -2.0
    return _Priors(near, own, carrying, share, centre, weight)


def _carrying(number: Samples, decay: Samples) -> tuple[Samples, Samples]:
    """Return decays and shares of the modes that carry the glide: mode 1, and 2 and 3 if heard.

    Mode 1 moves the belt most, heard or not. Where it is not, its decay is told by the others:
    ln(decay) is a straight line in octaves, its slope known beforehand (likelihood.py).
    """
    octave, log = np.log2(number), np.log(decay)
    level, slope, scatter = log.mean(), DECAY_MEAN[1], DECAY_SCATTER
    away = octave - octave.mean()
    known = (scatter / DECAY_SD[1]) ** 2
    slope = (known * slope + (away * log).sum()) / (known + (away**2).sum())
    modes = {1: math.exp(level - slope * octave.mean())}
    modes |= {int(n): a for n, a in zip(number, decay, strict=True) if n <= len(GLIDE_SHARE)}
    share = np.array([GLIDE_SHARE[n - 1] for n in modes])
    return np.array(list(modes.values())), share / share.sum()


def _pulled(state: _State, priors: _Priors, here: Samples) -> Samples:
    """Return the step with the priors in it; the information of the state gains theirs."""
    glide = float(here[-1])
    pull = state.down - priors.weight * (here - priors.centre)
    state.normal = state.normal + np.diag(priors.weight)
    step: Samples = np.asarray(np.linalg.solve(state.normal, pull), np.float64)
    if glide + step[-1] < 0:  # a pluck never begins flat: the glide stays at its bound
        pull = pull + state.normal[:, -1] * glide
        step = np.append(np.linalg.solve(state.normal[:-1, :-1], pull[:-1]), -glide)
    return step


def _look(
    blocks: Samples,
    rate: float,
    f: Samples,
    a: Samples,
    glide: float,
    priors: _Priors,
    power: Samples,
) -> _State:
    """Compare the model with the sound: what is left of it, information, Gauss-Newton step.

    Parameters run f_1.., a_1.., glide; the amplitudes, last, go by a Schur complement.
    """
    count, size = blocks.shape
    k = len(f)
    middle = (np.arange(count) * size + 0.5 * (size - 1)) / rate
    inner = (np.arange(size) - 0.5 * (size - 1)) / rate
    decay = priors.carrying
    bend = -np.expm1(-2 * np.outer(middle, decay)) @ (priors.share / (4 * decay))
    warped = middle[:, None] + np.outer(bend, glide * priors.own)
    turn = np.exp(2j * np.pi * f * warped)
    slow = np.exp(-np.outer(middle, a)) * turn
    fast = np.exp(np.outer(inner, -a + 2j * np.pi * f))
    root = 1.0 / np.sqrt(power)
    weighted = slow * root
    kinds = np.stack([np.ones(count), middle, bend])
    base = np.concatenate([one[:, None] * weighted for one in kinds], axis=1)
    within, across = fast.conj().T @ fast, fast.T @ fast
    straight, mirrored = _gram(base, within, across)
    solver = _amplitude_solver(straight, mirrored, k)
    mixing = _mixing(within, across)
    c, seen = np.zeros(k, dtype=np.complex128), _seen(blocks, fast)
    for _ in range(AMPLITUDE_PASSES):
        more = _amplitudes(seen, weighted, root, solver)
        c, seen = c + more, seen - _mixed(slow * more, mixing)
    made = _combined(f, c, glide, priors.own)
    information = 0.5 * (made.conj().T @ straight @ made + made.T @ mirrored @ made).real
    heard = (kinds @ (weighted.conj() * seen * root).view(np.float64)).view(np.complex128)
    right = (made.conj().T @ heard.ravel()).real
    normal, down = _without_amplitudes(information, right, solver)
    return _State(f, a, 0.0, c, normal, down, slow, fast, seen * turn.conj(), np.ones(k))


def _combined(f: Samples, c: Complex, glide: float, own: Samples) -> Complex:
    """How each parameter moves the model, as a combination of the basis (see `_gram`).

    Shape (3 partials, 4 partials + 1): frequencies, decays, glide, the amplitudes' two parts.
    """
    k = len(f)
    each = np.arange(k)
    out = np.zeros((3 * k, 4 * k + 1), dtype=np.complex128)
    out[k + each, each] = 2j * np.pi * c
    out[2 * k + each, each] = 2j * np.pi * c * (glide * own)
    out[k + each, k + each] = -c
    out[2 * k :, 2 * k] = 2j * np.pi * (own * f) * c
    out[each, 2 * k + 1 + each] = 1.0
    out[each, 3 * k + 1 + each] = 1j
    return out


def _amplitude_solver(straight: Complex, mirrored: Complex, k: int) -> Samples:
    """Return the inverse of the inner products of the partials' real and imaginary parts.

    Shape (2 partials, 2 partials).
    """
    one, two = straight[:k, :k], mirrored[:k, :k]
    both, apart = 0.5 * (one + two), 0.5 * (one - two)
    gram = np.empty((2 * k, 2 * k))
    gram[:k, :k], gram[:k, k:] = both.real, -both.imag
    gram[k:, :k], gram[k:, k:] = apart.imag, apart.real
    scale = 1.0 / np.sqrt(np.diag(gram))
    scale = scale[:, None] * scale
    out: Samples = np.asarray(np.linalg.inv(_firm(gram * scale)), np.float64) * scale
    return out


def _amplitudes(seen: Complex, weighted: Complex, root: Samples, solver: Samples) -> Complex:
    """Least squares amplitudes, all partials together.

    Where lines that overlap are weighted differently this is not yet the solution, as each weight
    is meant for its own partial alone; what is left of the sound then gives the correction.
    """
    k = seen.shape[1]
    right = (weighted.conj() * seen * root).sum(axis=0)
    solution = solver @ np.concatenate([right.real, right.imag])
    out: Complex = solution[:k] + 1j * solution[k:]
    return out


def _gram(base: Complex, within: Complex, across: Complex) -> tuple[Complex, Complex]:
    """Inner products u* v and u v of the basis signals (column x fast part), all pairs.

    The basis is each partial as it is, times time, and times the glide's bend. The product of the
    real parts, Re(u) Re(v), sums to Re(u* v + u v) / 2. The columns are multiplied as real ones.
    """
    parts = base.view(np.float64)
    product = parts.T @ parts
    rr, ri, ii = product[::2, ::2], product[::2, 1::2], product[1::2, 1::2]
    straight = (rr + ii) + 1j * (ri - ri.T)
    mirrored = (rr - ii) + 1j * (ri + ri.T)
    k = len(within)
    kinds = base.shape[1] // k
    straight.reshape(kinds, k, kinds, k)[:] *= within[:, None]
    mirrored.reshape(kinds, k, kinds, k)[:] *= across[:, None]
    return straight, mirrored


def _seen(sound: Samples, fast: Complex) -> Complex:
    """Return what each partial's fast part sees in each block; shape (blocks, partials)."""
    out: Complex = (sound @ fast.conj().view(np.float64)).view(np.complex128)
    return out


def _residual(blocks: Samples, state: _State) -> Samples:
    """Return the sound less the model: the real part of slow x fast, in real matrices."""
    slow = state.slow * state.c
    out: Samples = blocks - slow.view(np.float64) @ state.fast.conj().view(np.float64).T
    return out


def _mixing(within: Complex, across: Complex) -> Samples:
    """Return what the fast parts see of each other, as a matrix for `_mixed`."""
    each = np.stack([0.5 * (within + across).conj(), 0.5j * (within - across).conj()], axis=1)
    return each.reshape(2 * len(within), -1).view(np.float64)


def _mixed(slow: Complex, mixing: Samples) -> Complex:
    """Return what the fast parts see of the real part of slow x fast; shape (blocks, partials)."""
    out: Complex = (slow.view(np.float64) @ mixing).view(np.complex128)
    return out


def _without_amplitudes(
    information: Samples, right: Samples, solver: Samples
) -> tuple[Samples, Samples]:
    """Leave the amplitudes, which come last, out of matrix and right side (Schur complement)."""
    rest = len(right) - len(solver)
    keep, drop = slice(0, rest), slice(rest, None)
    cross = information[drop, keep]
    across = solver @ cross
    normal = _firm(information[keep, keep] - cross.T @ across)
    down: Samples = right[keep] - across.T @ right[drop]
    return normal, down


def _firm(matrix: Samples) -> Samples:
    """Add a trifle to the diagonal, so that it can be solved for."""
    out = matrix.copy()
    out.flat[:: len(out) + 1] *= 1 + 1e-7
    return out


def _excess(state: _State, power: Samples) -> Samples:
    """Residual over noise about each partial and in time, at least 1; shape (blocks, partials).

    The finger leaving the belt and the knock of the frame are loud for some ten milliseconds.
    """
    count, size = len(state.seen), len(state.fast)
    seen = state.seen
    if count > COHERENT:  # summed, a band of some 80 Hz is left: no neighbour lies in it
        ring = np.concatenate([seen[-1:], seen, seen[:1]])
        seen = (ring[:-2] + seen + ring[2:]) / math.sqrt(COHERENT)
    over = (seen.real**2 + seen.imag**2) / (power * size)
    half = min(SMOOTH_BLOCKS // 2, (count - 1) // 2)
    ends = np.clip(np.arange(-half - 1, count + half), 0, count - 1)
    total = np.cumsum(over[ends], axis=0)
    smooth = (total[2 * half + 1 :] - total[: -2 * half - 1]) / (2 * half + 1)
    out: Samples = np.maximum(1.0, smooth / CHANCE_EXCESS)
    return out


def _inflation(state: _State, power: Samples) -> Samples:
    """Residual over noise in the narrow band that decides about each partial, at least 1."""
    count, size = len(state.seen), len(state.fast)
    spectrum = _band(count) @ (state.seen / np.sqrt(power * size))
    density = (spectrum.real**2 + spectrum.imag**2).mean(axis=0) / (0.375 * count)
    return np.maximum(1.0, np.asarray(density, np.float64) / CHANCE_EXCESS)


@lru_cache(maxsize=4)
def _band(count: int) -> Complex:
    """Return the rows of the Fourier matrix of a Hann frame that lie in the band."""
    near = np.arange(-BAND_BINS, BAND_BINS + 1) if count > 2 * BAND_BINS else np.arange(count)
    turn = np.exp(-2j * np.pi / count * np.outer(near, np.arange(count)))
    return np.asarray(turn * np.hanning(count + 2)[1:-1], np.complex128)
