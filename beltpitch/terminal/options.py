"""The options that commands share, and the records that are made of them.

Heavy rooms are imported inside the functions, so that ``--help`` loads none of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from beltpitch import units
from beltpitch.advice.window import WORDS
from beltpitch.errors import QuantityError, RequestError
from beltpitch.units import several

if TYPE_CHECKING:
    from beltpitch.session.verdict import Verdict

FORCE_UNITS = ("N", "lbf", "kgf")
FREQUENCY = ("--frequency", "-f")

BeltOption = Annotated[
    str | None,
    typer.Option("--belt", "-b", help='The belt, as printed or said: "2GT 9 mm", "HTD5M-15".'),
]
WidthOption = Annotated[
    str | None, typer.Option("--width", help='Width of the belt; a bare number is in mm: "9 mm".')
]
LinearMassOption = Annotated[
    str | None,
    typer.Option(
        "--linear-mass",
        help='Mass per length of your own belt; a bare number is in g/m: "12.6 +/- 0.1 g/m".',
    ),
]
ConstructionOption = Annotated[
    str | None,
    typer.Option("--construction", help='Such as "polyurethane, steel cord"; default: the usual.'),
]
SpanOption = Annotated[
    str | None,
    typer.Option(
        "--span",
        "-s",
        help='Free span between the last contacts; a bare number is in mm: "412 +/- 1 mm".',
    ),
]
SpansOption = Annotated[
    list[str] | None,
    typer.Option(
        "--span",
        "-s",
        help='Free span between the last contacts; a bare number is in mm: "412 +/- 1 mm". For '
        'both strands twice, in their order; "equal" the second time if they are.',
    ),
]
LoopSidesOption = Annotated[
    str | None,
    typer.Option(
        "--loop-sides",
        help="All of the loop that stands at each strand's tension, the strand and what runs on "
        'from it: "412 mm, 1210 mm".',
    ),
]
StrandLimitOption = Annotated[
    str | None,
    typer.Option("--strand-limit", help='How far the two strands can differ at most: "2 N".'),
]
DetentOption = Annotated[
    str | None,
    typer.Option(
        "--detent",
        help='The same by what the motor holds without current, with --pulley-teeth: "20 N mm".',
    ),
]
PulleyTeethOption = Annotated[
    int | None, typer.Option("--pulley-teeth", min=1, help="Teeth of the motor's pulley.")
]
RailFrictionOption = Annotated[
    str | None,
    typer.Option(
        "--rail-friction", help='The same by what moves the carriage along its rails: "4 N".'
    ),
]
EndsOption = Annotated[
    str | None,
    typer.Option(
        "--ends",
        help="What holds the ends (pulley, idler, clamp, pinned), pulley by default: "
        '"pulley,clamp".',
    ),
]
FromOption = Annotated[
    str | None, typer.Option("--from", help='Lowest frequency to look for: "40 Hz".')
]
ToOption = Annotated[
    str | None, typer.Option("--to", help='Highest frequency to look for: "120 Hz".')
]
TargetOption = Annotated[
    str | None, typer.Option("--target", help='Your own wanted tension: "30 N".')
]
WithinOption = Annotated[
    str | None,
    typer.Option("--within", help='How far from the target is still right, 10% by default: "15%".'),
]
StrandOption = Annotated[
    list[str] | None,
    typer.Option(
        "--strand",
        help="Name of the strand. Given twice, in the order of the readings: both strands, or with "
        "the same name one strand after arriving from either side; gives the preload.",
    ),
]
ParksOption = Annotated[
    bool,
    typer.Option("--parks", help="The readings are of one strand with the carriage at two parks."),
]
TravelOption = Annotated[
    str | None,
    typer.Option(
        "--travel",
        help='How far the carriage was moved: "160.0 +/- 0.2 mm"; further parks, each from the '
        'first, after a comma and a space: "160.0 mm, 250.0 mm" (recordings and typed tones).',
    ),
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print JSON on standard output and nothing else there.")
]
FailUnlessOption = Annotated[
    str | None,
    typer.Option(
        "--fail-unless",
        help="For scripts: end with exit code 3 unless every verdict is this word, as in within.",
    ),
]
DetailsOption = Annotated[
    bool,
    typer.Option(
        "--details", help="Show everything: each pluck, corrections, budget, sources, cautions."
    ),
]
UnitOption = Annotated[
    str,
    typer.Option(
        "--unit", envvar="BELTPITCH_UNIT", help="Unit of force that is shown: N, lbf or kgf."
    ),
]


def bare_numbers(given: Iterable[tuple[str, str | None, str]]) -> tuple[str, ...]:
    """Return an echo for each option whose unit was not given, or was read as another one.

    Parameters
    ----------
    given
        Triples of option, text and the name of its kind in `beltpitch.units`.
    """
    said = []
    for option, text, kind in given:
        if text is None:
            continue
        read = units.parse(text, getattr(units, kind), option=option)
        if read.assumed:
            said.append(f"{option} {read.assumed}")
        elif not any(c.isalpha() or c == "%" for c in text):
            said.append(f"{option} {text.strip()} taken as {read.text}")
    return tuple(said)


EXAMPLES = {
    "belt": '--belt "2GT 9 mm"',
    "span": '--span "412 mm"',
    "frequency": '--frequency "66.3 Hz"',
    "target": '--target "30 N"',
    "reading": '--reading "26 N"',
}


def needed(what: str, given: Mapping[str, object]) -> None:
    """Refuse a request that lacks something, naming all of it at once.

    Parameters
    ----------
    what
        What was asked for, such as "a tension".
    given
        What is there, by a key of `EXAMPLES`; None or empty where it is missing.

    Raises
    ------
    RequestError
        If something is missing.
    """
    missing = [name for name, value in given.items() if value is None or value == []]
    if missing:
        names = " and ".join([", ".join(missing[:-1]), missing[-1]] if missing[1:] else missing)
        options = " ".join(EXAMPLES[name] for name in missing)
        raise RequestError(f"{what} needs {names}: add {options}")


UNWANTED = 3  # exit code: a verdict that --fail-unless does not allow


def checked_word(word: str | None) -> None:
    """Refuse what is no word of a verdict.

    Raises
    ------
    RequestError
        If it is none.
    """
    if word is not None and word not in WORDS:
        raise RequestError(f"--fail-unless {word!r} is none of {', '.join(WORDS)}")


def code_for(word: str | None, verdicts: Sequence[Verdict], code: int) -> int:
    """Return the exit code: `code`, or `UNWANTED` where a verdict is not the word asked for."""
    missed = word is not None and any(v.word != word for v in verdicts)
    return UNWANTED if missed and code == 0 else code


def checked_unit(unit: str) -> str:
    """Return the unit of force to show.

    Raises
    ------
    QuantityError
        If it is none of N, lbf, kgf.
    """
    if unit not in FORCE_UNITS:
        raise QuantityError(f"--unit {unit!r} is no unit of force here; use N, lbf or kgf")
    return unit


def two_groups(count: int, names: list[str] | None, what: str) -> int:
    """Return how many readings belong to each of two groups given one after the other.

    Raises
    ------
    RequestError
        If they cannot be shared out evenly.
    """
    if count < 2 or count % 2:  # noqa: PLR2004
        named = " and ".join(names) if names else "the two parks"
        raise RequestError(
            f"{named}: give --{what} as many times for the first as for the second, in that order; "
            f"got {count}"
        )
    return count // 2


def even_groups(count: int, groups: int, what: str) -> int:
    """Return how many readings belong to each of several parks given one after the other.

    Raises
    ------
    RequestError
        If they cannot be shared out evenly.
    """
    if count < groups or count % groups:
        raise RequestError(
            f"{groups} parks: give each the same number of readings (--{what}), that of the "
            f"longest span first, then in the order of the travels; got {count}"
        )
    return count // groups


def wanted(way: str, travel: str | None) -> int:
    """Return how many recordings a way of reading wants: one, two, or one for each park."""
    if way == "one":
        return 1

    return len(several(travel or "")) + 1 if way == "parks" else 2


def grouping(
    strand: list[str] | None, *, parks: bool, travel: str | None
) -> Literal["one", "strands", "sides", "parks"]:
    """Return how readings belong together.

    Alone, as two strands, as one strand after either arrival, or as two parks.

    Raises
    ------
    RequestError
        If the options contradict each other.
    """
    if parks != (travel is not None):
        raise RequestError('two parks need both: --parks --travel "160.0 +/- 0.2 mm"')
    if parks and strand and len(strand) > 1:
        raise RequestError("two parks are read on one strand: give --strand once or not at all")
    if strand and len(strand) > 2:  # noqa: PLR2004
        raise RequestError("--strand names one strand, or the two whose mean is the preload")
    if parks:
        return "parks"
    if not strand or len(strand) == 1:
        return "one"
    return "sides" if strand[0] == strand[1] else "strands"
