"""The golden cases: recordings from seeds, real plucks, typed tones, positions, wrong requests.

A case follows from its index alone and from `calibration.simulator`, which shares nothing with the
program. Belts are given as texts, so what the program knows of them is part of the answer.
"""

from __future__ import annotations

import functools
import math
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from calibration import short, simulator
from calibration.short import RATE_HZ, sound

Array = NDArray[np.float64]
DATA = Path(__file__).resolve().parent.parent / "data"
SEED = 20261201
SIMULATED, TYPED, POSITIONS = 400, 60, 20
# As printed, and about how many g/m: a simulated string gets the belt nearest to it.
BELTS = {
    "2GT 6 mm": 8.0,
    "2GT 9 mm": 12.0,
    "2GT 15 mm": 20.0,
    "3GT 9 mm": 24.0,
    "3GT 15 mm": 40.0,
    "HTD 5M 15 mm": 62.0,
    "T5 16 mm": 38.0,
    "AT5 25 mm": 85.0,
    "HTD 8M 20 mm": 120.0,
}


@dataclass(frozen=True, slots=True)
class Case:
    """What is asked for. A word ``{0}`` of a command stands for the first of the sounds.

    Without words the sound is read, or the tones taken, through ``import beltpitch``. ``seen``
    is a wish of the page, which is shown the sounds as recordings or, if ``live``, hears the first.
    """

    name: str
    words: tuple[str, ...] = ()
    sounds: tuple[Callable[[], Array], ...] = ()
    files: tuple[Path, ...] = ()
    belt: dict[str, str] | None = None
    span: str | None = None
    ends: str = "pulley"
    tones: tuple[str, ...] = ()
    seen: dict[str, Any] = field(default_factory=dict)
    live: bool = False


def write(made: Array, path: Path) -> int:
    """Write a sound as 16 bits; return a checksum of its samples."""
    samples = np.round(np.clip(made, -1, 1) * 32767).astype("<i2")
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_16")
    return zlib.crc32(samples.tobytes())


@functools.cache
def _drawn(index: int) -> simulator.Case:
    return short.drawn(SEED, index)


def _belt_of(case: simulator.Case) -> str:
    wanted = math.log(1e3 * case.linear_mass_kg_m)
    return min(BELTS, key=lambda name: abs(math.log(BELTS[name]) - wanted))


def simulated(index: int) -> Case:
    """Return a simulated recording, through the command line and through Python in turn."""
    case = _drawn(index)
    sounds = (sound(case, room=short.is_room(index)),)
    belt = {"name": _belt_of(case)}
    span = f"{1e3 * case.span_m:.1f} +/- 1 mm" if index % 7 else None
    ends = ("pulley", "clamp", "pulley,clamp")[index % 3]
    if index % 5 == 0:
        belt["linear_mass"] = f"{1e3 * case.linear_mass_kg_m:.2f} +/- 0.1 g/m"
    name = f"simulated {index}"
    if index % 2:
        return Case(name, sounds=sounds, belt=belt if span else None, span=span, ends=ends)
    words = ["recording", "{0}"]
    if span:
        words += ["--belt", belt["name"], "--span", span, "--ends", ends]
        words += ["--linear-mass", belt["linear_mass"]] if "linear_mass" in belt else []
    if index % 9 == 0:
        about = case.frequency_hz
        words += ["--from", f"{0.8 * about:.0f} Hz", "--to", f"{1.3 * about:.0f} Hz"]
    return Case(name, tuple(words), sounds)


def real() -> Iterator[Case]:
    """Yield the real plucks of the project."""
    for path in sorted((DATA / "plucks").glob("*.flac")):
        yield Case(f"real {path.stem}", ("recording", "{0}"), files=(path,))


def typed() -> Iterator[Case]:
    """Yield typed frequencies, with what may be said beside them."""
    rng = np.random.default_rng([SEED, 1])
    names = list(BELTS)
    for index in range(TYPED):
        belt, tone = names[index % len(names)], rng.uniform(25, 250)
        span = f"{rng.uniform(150, 900):.0f} +/- {rng.choice((0.5, 1, 2))} mm"
        count = 1 + index % 4
        tones = [f"{tone * (1 + 0.003 * rng.standard_normal()):.2f}" for _ in range(count)]
        tones = [f"{each} +/- 0.2 Hz" if index % 3 else f"{each} Hz" for each in tones]
        if index % 4 == 3:
            yield Case(f"typed {index}", tones=tuple(tones), belt={"name": belt}, span=span)
            continue
        words = ["tension", "--belt", belt, "--span", span]
        words += [word for each in tones for word in ("--frequency", each)]
        words += ["--ends", ("pulley", "clamp", "idler", "pulley,clamp", "pinned")[index % 5]]
        if index % 6 == 0:
            words += ["--target", f"{rng.uniform(10, 90):.0f} N", "--within", "12%"]
        if index % 8 == 1:
            words += ["--span", "equal", "--strand", "a", "--strand", "b"]
        yield Case(f"typed {index}", tuple(words))


def positions() -> Iterator[Case]:
    """Yield tones, and some recordings, of one strand at two and at three positions."""
    rng = np.random.default_rng([SEED, 2])
    names = list(BELTS)
    for index in range(POSITIONS):
        belt = names[index % len(names)]
        span_m, tension_n = rng.uniform(0.5, 1.0), rng.uniform(20, 80)
        travels = [f * span_m for f in ((0.4,), (0.25, 0.45))[index % 2]]
        wave = math.sqrt(tension_n / (1e-3 * BELTS[belt]))
        lengths = [span_m, *(span_m - each for each in travels)]
        told = ", ".join(f"{1e3 * each:.1f} +/- 0.2 mm" for each in travels)
        words = ["--parks", "--travel", told, "--belt", belt]
        if index % 5 == 4:
            made = replace(_drawn(index), linear_mass_kg_m=1e-3 * BELTS[belt], bending_n_m2=1e-4)
            made = replace(made, tension_n=tension_n, scatter=0.0, snr_db=35.0, plucks=1)
            cases = [replace(made, span_m=length, seed=n) for n, length in enumerate(lengths)]
            files = [f"{{{n}}}" for n in range(len(cases))]
            sounds = tuple(map(sound, cases))
            yield Case(f"positions {index}", ("recording", *files, *words), sounds)
            continue
        for length in lengths:
            words += ["--frequency", f"{wave / 2 / length:.3f} +/- 0.1 Hz"]
        yield Case(f"positions {index}", ("tension", *words))


BELT, SPAN = ("--belt", "2GT 9 mm"), ("--span", "286 mm")
REFUSED = (
    ("tension",),
    ("tension", "--frequency", "66 kg", *BELT, *SPAN),
    ("tension", "--frequency", "-66 Hz", *BELT, *SPAN),
    ("tension", "--frequency", "many", *BELT, *SPAN),
    ("tension", "--frequency", "66 Hz", "--belt", "9GT 9 mm", *SPAN),
    ("tension", "--frequency", "66 Hz", "--belt", "2GT", *SPAN),
    ("tension", "--frequency", "66 Hz", *BELT, "--span", "286 Hz"),
    ("tension", "--frequency", "66 Hz", *BELT, "--span", "0 mm"),
    ("tension", "--frequency", "3 Hz", *BELT, "--span", "60 mm"),
    ("tension", "--frequency", "66 Hz", *BELT, *SPAN, "--ends", "glue"),
    ("tension", "--frequency", "66 Hz", *BELT, *SPAN, "--ends", "pulley,clamp,pulley"),
    ("tension", "--frequency", "66 Hz", *BELT, *SPAN, "--target", "30 Hz"),
    ("tension", "--frequency", "66 Hz", *BELT, *SPAN, "--within", "300%", "--target", "30 N"),
    ("tension", "--frequency", "66 Hz", *BELT, *SPAN, "--linear-mass", "0 g/m"),
    ("tension", "--frequency", "66 Hz", *BELT, *SPAN, "--unit", "stone"),
    (
        "tension",
        "--frequency",
        "66 Hz",
        *BELT,
        *SPAN,
        "--span",
        "equal",
        "--strand",
        "a",
        "--strand",
        "b",
    ),
    ("tension", "--frequency", "66 Hz", "--frequency", "90 Hz", *BELT, "--parks"),
    ("tension", "--frequency", "66 Hz", "--frequency", "66 Hz", *BELT, "--travel", "9 mm"),
    ("tension", "x-left", "--frequency", "66 Hz"),
    ("tension", "--frequency", "66 Hz", *BELT, *SPAN, "--taken", "yesterday", "--keep"),
    ("recording",),
    ("recording", "nowhere.wav"),
    ("recording", "{0}", "--from", "90 Hz", "--to", "60 Hz"),
    ("recording", "{0}", "--clock", "9%"),
    ("recording", "{0}", *BELT, "--parks", "--travel", "90 mm"),
    ("pair", "--first", "66 Hz", *BELT, *SPAN),
    ("pair", "--first", "66 Hz", "--second", "64 Hz", *BELT, *SPAN, "--within", "0%"),
    ("frequency", "--tension", "30 N", *BELT),
    ("frequency", "--tension", "0 N", *BELT, *SPAN),
    ("window", "--belt", "AT5 25 mm", "--drive", "magic"),
    ("window", "--belt", "T5 16 mm", "--teeth", "0", "--mass", "1 kg"),
    ("adjust", *BELT, "--drive", "fixed"),
    ("adjust", *BELT, "--target", "60 N", "--drive", "fixed", "--thread", "M99"),
    ("belts", "nothing like it"),
    ("span", "--pulley", "20 teeth", "--pulley", "40 teeth", *BELT),
    ("span", "--pulley", "20 teeth", "--pulley", "40 teeth", "--centre", "9 mm", *BELT),
    ("weigh", "--belt", "wire 9 mm", "--length", "1 m", "--mass", "12 g"),
    ("weigh", *BELT, "--length", "1 m", "--mass", "1 m"),
    ("hang", *BELT, "--length", "300 mm", "--weight", "0.5 kg"),
    ("machine", "check", "nowhere.toml"),
    ("machine", "show"),
    ("history", "show", "7"),
    ("history", "trend", "x"),
    ("report",),
    ("study", "learn", "x"),
    ("unheard-of",),
)


def refused() -> Iterator[Case]:
    """Yield requests that cannot be met."""
    for index, words in enumerate(REFUSED):
        sounds = (sound(_drawn(0)),) if "{0}" in words else ()
        yield Case(f"refused {index}: {' '.join(words)}", words, sounds)


def shown() -> Iterator[Case]:
    """Yield what the page is shown: recordings, live sound, a pair, both strands, positions."""
    long = replace(_drawn(0), plucks=60, gap_s=1.0, scatter=0.002, snr_db=30.0, seed=60)
    one = replace(long, plucks=3)
    other = replace(one, tension_n=1.1 * one.tension_n, seed=61)
    belt = {"belt": _belt_of(one), "span": f"{1e3 * one.span_m:.1f} +/- 1 mm"}
    both = {"way": "strands", "strand": "upper", "other": "lower", "second_span": "equal"}
    goal = {**belt, "target": "30 N", "within": "15%"}
    words = ("recording", "{0}", "--belt", belt["belt"], "--span", belt["span"])
    yield Case("sixty plucks, command", words, (sound(long),))
    yield Case("page: sixty plucks", sounds=(sound(long),), seen=belt)
    yield Case("page: sixty plucks live", sounds=(sound(long),), seen=belt, live=True)
    yield Case("page: no belt", sounds=(sound(one),), seen={"belt": ""})
    yield Case("page: target", sounds=(sound(one),), seen=goal)
    yield Case("page: target live", sounds=(sound(one),), seen=goal, live=True)
    pair = {**belt, "pair": "1"}
    yield Case("page: pair", sounds=(sound(one), sound(other)), seen=pair)
    yield Case("page: strands", sounds=(sound(one), sound(other)), seen={**belt, **both})
    short = replace(one, span_m=0.6 * one.span_m, seed=62)
    parks = {"belt": belt["belt"], "way": "parks", "travel": f"{400 * one.span_m:.1f} +/- 0.2 mm"}
    yield Case("page: positions", sounds=(sound(one), sound(short)), seen=parks)


Maker = Callable[[], Case]


def every() -> dict[str, Maker]:
    """Return what makes each case, by its name, in a fixed order: to draw all takes a while."""
    made: dict[str, Maker] = {
        f"simulated {index}": functools.partial(simulated, index) for index in range(SIMULATED)
    }
    for group in (real, typed, positions, refused, shown):
        made |= {case.name: functools.partial(replace, case) for case in group()}
    return made
