"""What would a half-width of 3 % take? More plucks, more pulley positions, two parks.

    python -m calibration.efforts [--each N]        the table, written into docs/coverage.md

The setups are those of `calibration.setups`: belts weighed (u 0.5 %), spans known to u 0.2 mm,
between pulleys, in every class and octave. No sound is made: each pluck's tone is that of the true
strand with the scatter of its belt, each pulley position has a last contact of its own. So every
setup is answered here, and what the hearing adds (some hundredths of a per cent) is left out.
"""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace

import numpy as np

from beltpitch import parsing
from beltpitch.belts.catalogue import Belt
from beltpitch.belts.span import Span, from_tape
from beltpitch.belts.strand_tension import Tone, strung
from beltpitch.errors import CannotTell
from beltpitch.reading import PluckReading, Reading, frequency_of, from_parks
from beltpitch.uncertainty import Estimate
from calibration import evidence, simulator
from calibration.coverage import WIDE, Result, Row, bands, row
from calibration.measures import COVERAGE, Share
from calibration.setups import CLASSES, FINE_U_M, OCTAVES_HZ, Setup, Wish, setup

SEED = 2026
EACH = 60  # of every class in every octave: 1,200 setups
FIT_U = 3e-4  # of one pluck's tone, relative: what the hearing is off by beside the scatter


@dataclass(frozen=True, slots=True)
class Effort:
    """What is done: plucks at each place, pulley positions a turn apart, whether at two parks."""

    words: str
    plucks: int
    positions: int = 1
    parks: bool = False


EFFORTS = (
    Effort("one pluck", 1),
    Effort("three plucks", 3),
    Effort("five plucks", 5),
    Effort("three plucks at each of four pulley positions", 3, positions=4),
    Effort("two parks, five plucks at each", 5, parks=True),
    Effort("two parks, ten plucks at each", 10, parks=True),
)


def setups(each: int, seed: int) -> Iterator[Setup]:
    """Return weighed belts between pulleys with a second park, of every class and octave."""
    for index in range(each):
        for kind in CLASSES:
            for octave in range(len(OCTAVES_HZ) - 1):
                table = f"efforts {kind} {octave}"
                yield setup(
                    Wish(table, index, kind, octave, weighed=True, clamped=False, parks=True), seed
                )


def measured(made: Setup, effort: Effort, rng: np.random.Generator) -> Result:
    """Return what the program makes of the tones that an effort gives."""
    belt = parsing.belt(made.name, construction=made.construction, linear_mass=made.linear_mass)
    found = None
    with contextlib.suppress(CannotTell):
        found = _parks(made, belt, effort, rng) if effort.parks else _one(made, belt, effort, rng)
    low, high = found.interval(COVERAGE) if found else (None, None)
    return Result(
        tension_n=made.case.tension_n,
        xi=made.xi,
        frequency_hz=made.case.frequency_hz,
        weighed=True,
        clamped=False,
        plucks=effort.plucks,
        answer_n=found.value if found else None,
        low_n=low,
        high_n=high,
        ruling=found.budget()[0].name if found else "",
    )


def _one(made: Setup, belt: Belt, effort: Effort, rng: np.random.Generator) -> Estimate:
    """Return the tension over one span, the mean of so many pulley positions."""
    assert belt.pitch_m is not None
    between = made.case.span_m
    tones: list[float] = []
    for contacts in rng.uniform(-0.5, 0.5, (effort.positions, 2)):
        case = replace(made.case, span_m=between + float(contacts.sum()) * belt.pitch_m)
        tones += _tones(case, effort.plucks, rng)
    taped = between + FINE_U_M * rng.standard_normal()
    span = from_tape(taped, FINE_U_M, pitch_m=belt.pitch_m, positions=effort.positions)
    tone = frequency_of(tones, [FIT_U * f for f in tones], "pluck")
    return strung(Tone(tone, glide=made.case.glide), belt, span).tension


def _parks(made: Setup, belt: Belt, effort: Effort, rng: np.random.Generator) -> Estimate:
    assert made.second is not None
    assert made.travel is not None
    span = parsing.span(made.span, belt, ends=made.ends)
    long, short = (
        _reading(belt, span, _tones(case, effort.plucks, rng), key)
        for case, key in ((made.case, "long"), (made.second, "short"))
    )
    found = from_parks(long, short, parsing.travel(made.travel)).tension
    assert found is not None
    return found


def _tones(case: simulator.Case, count: int, rng: np.random.Generator) -> list[float]:
    off = case.scatter * rng.standard_normal(count) + FIT_U * rng.standard_normal(count)
    return [case.frequency_hz * float(np.exp(x)) for x in off]


def _reading(belt: Belt, span: Span, tones: list[float], key: str) -> Reading:
    plucks = tuple(PluckReading(None, f, FIT_U * f, None, used=True, reason=None) for f in tones)
    tone = frequency_of(tones, [FIT_U * f for f in tones], f"pluck:{key}")
    return Reading(key, belt=belt, span=span, frequency=tone, plucks=plucks)


HEAD = (
    "| xi | what is done | cases | median half-width | at most {wide} % | truth in it % |\n"
    "|---|---|---|---|---|---|"
)


def table(each: int, seed: int) -> tuple[str, dict[str, Row], int]:
    """Return the table by band of xi and effort, its counts, and how many setups there were."""
    made = list(setups(each, seed))
    rng = np.random.default_rng(seed)
    found = {effort: [measured(one, effort, rng) for one in made] for effort in EFFORTS}
    lines, rows = [HEAD.format(wide=f"{100 * WIDE:g}")], {}
    for name, low, high in bands():
        for effort, results in found.items():
            got = row([r for r in results if low <= r.xi < high])
            if not got.answered:
                continue
            rows[f"{name}, {effort.words}"] = got
            within = Share(got.within, got.answered)
            lines.append(
                f"| {name} | {effort.words} | {got.answered} | {got.half:.1%} | {within} "
                f"| {got.share} |"
            )
    return "\n".join(lines), rows, len(made)


def main() -> None:
    """Print the table, and write it where it was made in full."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--each", type=int, default=EACH)
    parser.add_argument("--seed", type=int, default=SEED)
    given = parser.parse_args()
    text, rows, count = table(given.each, given.seed)
    print(text)
    if (given.each, given.seed) == (EACH, SEED):
        counts = {name: asdict(got) for name, got in rows.items()}
        record = {"seed": SEED, "count": count, "rows": counts}
        evidence.keep(evidence.COVERED, "efforts", text, record)


if __name__ == "__main__":
    main()
