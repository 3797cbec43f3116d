"""A whole measurement drawn at random: a true belt, what its user says of it, and its sound.

What is true is drawn around what the program states, by the law it is stated with:

- linear mass and width: the catalogue's figure, Student's t with the degrees of freedom of each
  part, width rectangular; weighed belts are then stated with a normal error of 0.5 %;
- bending and axial stiffness: gamma of the catalogue's mean and uncertainty (never negative);
- air: normal, one third of ``rho pi b^2/4``, never negative;
- span: the tape's error normal (0.2 mm) or rectangular (1 mm), and on each toothed pulley a last
  contact up to half a pitch off;
- travel between two parks: normal (0.2 mm); by whole teeth, or else with the last contact shifted
  from where it was to where that travel takes it;
- ends: pulleys anywhere from pinned to clamped, the square of a uniform number (mean 1/3, standard
  deviation 0.30): a law the program does not know, and both ends alike; named clamps clamped, both
  or (a row of its own) one against a pulley;
- pluck to pluck: normal, its size such that 0.3 % with 4 degrees of freedom is right.

Tension, span and all of the sound come from `calibration.simulator`, which shares no number with
the program; tension is 1/3000 to 1/300 of the catalogue's axial stiffness.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np

from beltpitch.belts.catalogue import Belt, Figure, belt
from calibration import simulator

AIR_KG_PER_M3 = 1.204
WEIGHED_U, FINE_U_M, TAPE_LIMIT_M, TRAVEL_U_M = 0.005, 0.2e-3, 1e-3, 0.2e-3
SCATTER, SCATTER_DOF = 0.003, 4
STRAIN = (1 / 3000, 1 / 300)
CLAMPED_SHARE, WEIGHED_SHARE, SINGLE_SHARE = 0.15, 0.5, 0.7
ODD_SHARE = 0.3  # of travels that are no whole number of teeth
SHORTEST_PITCHES, SHORTEST_WIDTHS, SHORTEST_M, LONGEST_M = 15, 3.0, 0.06, 3.0
SNR_DB = (15.0, 35.0)
GAP_S, TAIL_S = 1.2, 1.2
TRIES = 2000
ENDS = ("clamp", "clamp,pulley", "pulley")  # by the number of pulleys among them

# class of belt: (profile, construction, widths in mm)
CLASSES: dict[str, tuple[tuple[str, str, tuple[float, ...]], ...]] = {
    "rubber, glass, 2 and 3 mm": (
        ("2GT", "rubber, glass cord", (6, 9, 15)),
        ("3GT", "rubber, glass cord", (6, 9, 15)),
        ("HTD 3M", "rubber, glass cord", (9, 15)),
    ),
    "rubber, glass, 5 mm": (
        ("5GT", "rubber, glass cord", (9, 15, 25)),
        ("HTD 5M", "rubber, glass cord", (9, 15, 25)),
        ("XL", "rubber, glass cord", (9.525,)),
    ),
    "rubber, glass, 8 mm": (
        ("HTD 8M", "rubber, glass cord", (20, 30)),
        ("RPP 8M", "rubber, glass cord", (15, 20, 30)),
    ),
    "polyurethane, steel": (
        ("T5", "polyurethane, steel cord", (10, 16, 25)),
        ("AT5", "polyurethane, steel cord", (10, 16, 25)),
        ("HTD 5M", "polyurethane, steel cord", (9, 15, 25)),
        ("T10", "polyurethane, steel cord", (16, 25)),
    ),
}
OCTAVES_HZ = (20.0, 40.0, 80.0, 160.0, 320.0, 640.0)


def catalogue_figures() -> list[float]:
    """Return all numbers that the catalogue states of the belts drawn here, sorted."""
    names = [
        belt(profile, width_m=width / 1000, construction=construction)
        for members in CLASSES.values()
        for profile, construction, widths in members
        for width in widths
    ]
    return sorted(_numbers([asdict(each) for each in names]))


def _numbers(value: object) -> Iterator[float]:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list | tuple):
        for each in value:
            yield from _numbers(each)
    elif isinstance(value, int | float):
        yield float(value)


@dataclass(frozen=True, slots=True)
class Wish:
    """What is held fixed of a setup; None is drawn.

    Parameters
    ----------
    table, index
        Which setup of which table; with the seed they tell everything.
    kind
        Class of belt.
    octave
        Index into `OCTAVES_HZ`.
    hold
        How both pulleys hold, 0 pinned to 1 clamped.
    clamped
        Whether both ends are named clamps.
    weighed
        Whether linear mass (u 0.5 %) and span (u 0.2 mm) are known well.
    plucks
        How many.
    parks
        Whether the carriage is moved to a second park.
    mixed
        Whether one end is a clamp and the other a pulley.
    """

    table: str
    index: int
    kind: str
    octave: int
    hold: float | None = None
    clamped: bool | None = None
    weighed: bool | None = None
    plucks: int | None = None
    parks: bool = False
    mixed: bool = False


@dataclass(frozen=True, slots=True)
class Setup:
    """A measurement to be made: texts as a user would give them, and what is true.

    ``xi`` is by the stiffness that the catalogue states: who sorts by the true one picks the belts
    that are stiffer than stated.
    ``second`` and ``travel`` are those of another park with a shorter span, None without.
    """

    wish: Wish
    name: str
    construction: str
    linear_mass: str | None
    span: str
    ends: str
    case: simulator.Case
    xi: float
    second: simulator.Case | None = None
    travel: str | None = None

    @property
    def weighed(self) -> bool:
        """Whether linear mass and span are known well."""
        return self.linear_mass is not None


def setup(wish: Wish, seed: int) -> Setup:
    """Return the setup of a wish; the same wish and seed give the same setup.

    Raises
    ------
    ValueError
        If no belt of that class sounds in that octave over a span of any use.
    """
    rng = np.random.default_rng([seed, zlib.crc32(wish.table.encode()), wish.index])
    weighed = bool(rng.uniform() < WEIGHED_SHARE) if wish.weighed is None else wish.weighed
    clamped = bool(rng.uniform() < CLAMPED_SHARE) if wish.clamped is None else wish.clamped
    single = rng.uniform() < SINGLE_SHARE
    plucks = wish.plucks or (1 if single else 3)
    hold = float(rng.uniform() ** 2) if wish.hold is None else wish.hold
    hold = 1.0 if clamped else hold
    known, slack, case = _string(rng, wish, hold, plucks)
    toothed = _toothed(wish, clamped)
    travel, second = _second(rng, case, known, toothed) if wish.parks else (None, None)
    return Setup(
        wish=wish,
        name=known.name,
        construction=known.construction or "",
        linear_mass=_mass_text(rng, slack) if weighed else None,
        span=_span_text(rng, case.span_m, known, toothed=toothed, fine=weighed),
        ends=ENDS[toothed],
        case=case,
        xi=_stated_xi(known, case),
        second=second,
        travel=travel,
    )


def _toothed(wish: Wish, clamped: bool) -> int:  # noqa: FBT001
    """Return how many of the ends are pulleys."""
    return 1 if wish.mixed else 0 if clamped else 2


def _stated_xi(known: Belt, case: simulator.Case) -> float:
    """Return ``L sqrt(T/EI)`` with the stiffness that the catalogue states, as a user has it."""
    assert known.ei_n_m2 is not None
    return case.span_m * math.sqrt(case.tension_n / known.ei_n_m2.value)


def _string(
    rng: np.random.Generator, wish: Wish, hold: float, plucks: int
) -> tuple[Belt, float, simulator.Case]:
    """Draw catalogue's belt, true slack linear mass, and the case, until its span is of use."""
    low, high = OCTAVES_HZ[wish.octave], OCTAVES_HZ[wish.octave + 1]
    for _ in range(TRIES):
        known = _catalogue(rng, CLASSES[wish.kind])
        assert known.ea_n is not None
        assert known.ei_n_m2 is not None
        assert known.width_m is not None
        assert known.pitch_m is not None
        tension = known.ea_n.value * _log_uniform(rng, *STRAIN)
        bending, stretch = _gamma(rng, known.ei_n_m2), _gamma(rng, known.ea_n)
        slack, air = _slack_mass(rng, known), _air(rng, known.width_m)
        mass = slack / (1 + tension / stretch) + air
        target = _log_uniform(rng, low, high)
        shortest = max(
            SHORTEST_PITCHES * known.pitch_m, SHORTEST_WIDTHS * known.width_m, SHORTEST_M
        )
        # of a string; a stiff span is longer. It spares the exact one where that cannot be.
        if not shortest / 2 <= math.sqrt(tension / mass) / (2 * target) <= LONGEST_M:
            continue
        far = 1.0 if wish.mixed else None
        span = simulator.span_for(target, tension, mass, bending, hold, far)
        if not shortest <= span <= LONGEST_M:
            continue
        sound = simulator.draw_sound(rng, target, span, SNR_DB)
        sound |= {"plucks": plucks, "gap_s": GAP_S, "tail_s": TAIL_S}
        case = simulator.Case(
            tension_n=tension,
            linear_mass_kg_m=mass,
            span_m=span,
            bending_n_m2=bending,
            hold=hold,
            far_hold=far,
            width_m=known.width_m,
            scatter=SCATTER / math.sqrt(rng.chisquare(SCATTER_DOF) / SCATTER_DOF),
            **sound,
        )
        return known, slack, case
    raise ValueError(f"no {wish.kind} sounds at {low:g} to {high:g} Hz over a span of any use")


def _catalogue(
    rng: np.random.Generator, members: Sequence[tuple[str, str, tuple[float, ...]]]
) -> Belt:
    profile, construction, widths = members[int(rng.integers(len(members)))]
    width_m = float(rng.choice(widths)) / 1000
    return belt(profile, width_m=width_m, construction=construction)


def _slack_mass(rng: np.random.Generator, known: Belt) -> float:
    """Draw the true linear mass of a belt that the catalogue describes, in kg/m."""
    for _ in range(TRIES):
        mass = known.linear_mass.value
        for part in known.linear_mass.parts:
            if part.name == "width":
                mass += part.u * math.sqrt(3) * rng.uniform(-1, 1)
            else:
                mass += part.u * rng.standard_t(part.dof)
        if mass > 0:
            return float(mass)
    raise ValueError(f"no mass can be drawn for {known.name}")


def _gamma(rng: np.random.Generator, figure: Figure) -> float:
    shape = (figure.value / figure.u) ** 2
    return float(figure.value * rng.gamma(shape) / shape)


def _air(rng: np.random.Generator, width_m: float) -> float:
    return AIR_KG_PER_M3 * math.pi * width_m**2 / 4 * max(0.0, 1 + rng.standard_normal() / 3)


def _mass_text(rng: np.random.Generator, slack: float) -> str:
    stated = slack * (1 + WEIGHED_U * rng.standard_normal()) * 1e3
    return f"{stated:.4f}({WEIGHED_U * stated * 1e4:.0f}) g/m"


def _span_text(
    rng: np.random.Generator, span_m: float, known: Belt, *, toothed: int, fine: bool
) -> str:
    assert known.pitch_m is not None
    if toothed:
        span_m += float(rng.uniform(-0.5, 0.5, toothed).sum()) * known.pitch_m
    if fine:
        return f"{(span_m + FINE_U_M * rng.standard_normal()) * 1e3:.2f}(20) mm"
    return f"{(span_m + TAPE_LIMIT_M * rng.uniform(-1, 1)) * 1e3:.2f} +/- 1 mm"


def _second(
    rng: np.random.Generator, case: simulator.Case, known: Belt, toothed: int
) -> tuple[str, simulator.Case]:
    """Return a travel as its user measures it, and the case at the park of the shorter span.

    Most users move by whole teeth, as they are told; else the last tooth touches elsewhere.
    """
    pitch = known.pitch_m
    assert pitch is not None
    travel = case.span_m * rng.uniform(0.35, 0.6)
    if rng.uniform() >= ODD_SHARE:
        travel = round(travel / pitch) * pitch
    place = rng.uniform(0, pitch)  # of a tooth at the first park
    shift = (place + travel) % pitch - place if toothed else 0.0
    short = case.span_m - travel + shift
    stated = travel + TRAVEL_U_M * rng.standard_normal()
    other = replace(
        case,
        seed=int(rng.integers(2**62)),
        span_m=short,
        finger_m=min(case.finger_m, 0.3 * short),
        quality_1=case.quality_1 * case.span_m / short,  # the same time constant
    )
    return f"{stated * 1e3:.2f}(20) mm", other


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))
