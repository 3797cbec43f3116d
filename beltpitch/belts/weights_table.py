"""The table of hung weights: which to hang, and how it is written down.

A table is CSV with a header of named columns and units, such as ``mass [kg], frequency [Hz]``.
Every cell is read as `beltpitch.units` reads it, so ``1.02 +/- 0.01`` is a weight with its
doubt. Lines that begin with ``#`` are remarks.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from beltpitch.belts.catalogue import INSIST, Belt
from beltpitch.belts.corrections import air_carried, hung_tension
from beltpitch.belts.gravity import STANDARD
from beltpitch.belts.hung_weights import CLAMP_HOLDING, HIGHEST_MODE, LIGHTEST_FOOT, Row
from beltpitch.belts.mechanics import frequency
from beltpitch.belts.strand import Strand
from beltpitch.errors import RequestError, check_positive
from beltpitch.uncertainty import PLUCK_SCATTER, rectangular
from beltpitch.units import FORCE, FREQUENCY, LENGTH, MASS, Kind, Quantity
from beltpitch.units import positive as read_positive

HALF = 0.5  # of the allowable strand tension: the most to hang
FAR_ABOVE = 5.0  # times the most to hang: a slip; a judgement
STEPS = 5  # weights, each half of the one before
FEWEST = 2  # weights that a fit needs
LOWEST = 15.0  # Hz: nothing lower is listened for
WELL_HEARD = 35.0  # Hz, with its partials, by a laptop's microphone; a judgement
FREQUENCY_LIMIT = 0.002  # the design's default for a typed frequency
TAPE_LIMIT_M = 0.001  # the design's default for a tape
MOST_ROWS = 10_000  # more is another kind of file

COLUMNS: Mapping[str, Kind | None] = {
    "mass": MASS,
    "force": FORCE,
    "frequency": FREQUENCY,
    "length": LENGTH,
    "mode": None,
    "label": None,
    "recording": None,
}
EXAMPLE = "mass [kg], frequency [Hz], length [mm]"
_HEADING = re.compile(r"([a-z]+)\s*(?:\[([^\[\]]+)\])?", re.ASCII)
_PAIR = re.compile(r"\s*(.+?)\s*:\s*(.+?)\s*", re.ASCII)


@dataclass(frozen=True, slots=True)
class HungWeight:
    """One line of the table before its tone is known.

    Parameters
    ----------
    mass_kg, mass_u_kg, length_m, length_u_m, mode_n, label
        As in `Row`.
    tone
        As typed, or None where it is to be heard in `recording`.
    recording
        Name of a sound file as written, or None.
    """

    mass_kg: float
    mass_u_kg: float
    length_m: float
    length_u_m: float
    mode_n: int = 1
    label: str = ""
    tone: Quantity | None = None
    recording: str | None = None

    def sounding(
        self,
        frequency_hz: float,
        frequency_u_hz: float,
        partials: tuple[float, float, int] | None = None,
    ) -> Row:
        """Return the row with its tone.

        Parameters
        ----------
        frequency_hz, frequency_u_hz
            Of its mode.
        partials
            B of the stiff series, its standard uncertainty, and the highest partial it rests on.
        """
        b, b_u, top = partials or (None, 0.0, 1)
        return Row(
            self.mass_kg,
            self.mass_u_kg,
            frequency_hz,
            frequency_u_hz,
            self.length_m,
            self.length_u_m,
            self.mode_n,
            self.label,
            b,
            b_u,
            top,
        )

    def typed(self) -> Row:
        """Return the row with the tone that was typed; one pluck scatters as usual.

        Raises
        ------
        RequestError
            If no tone was typed.
        """
        tone = self.tone
        if tone is None:
            raise RequestError(f"{self.label}: no frequency was given")
        limit = max(tone.half_digit, FREQUENCY_LIMIT * tone.value)
        borrowed = math.hypot(rectangular(limit), PLUCK_SCATTER * tone.value)
        return self.sounding(tone.value, borrowed if tone.u is None else tone.u or borrowed)


def read_table(
    lines: Iterable[str], *, length: Quantity | None = None, gravity_m_s2: float = STANDARD
) -> tuple[HungWeight, ...]:
    """Return the lines of a table of weights.

    Parameters
    ----------
    lines
        Of a CSV file: a header with ``mass [kg]`` or ``force [N]``, ``frequency [Hz]`` or
        ``recording``, and where wanted ``length [mm]``, ``mode`` and ``label``.
    length
        Of the strand, where the table has no such column.
    gravity_m_s2
        Turns a force into the mass that makes it.

    Raises
    ------
    RequestError
        If a column, a unit or a cell is not what it must be; the line is named.
    """
    kept = [(k, line) for k, line in enumerate(lines, 1) if line.strip() and line[0] != "#"]
    if not kept:
        raise RequestError(f"the table is empty: its first line must be a header such as {EXAMPLE}")
    if len(kept) > MOST_ROWS:
        raise RequestError(f"the table has {len(kept)} lines, at most {MOST_ROWS} are read")
    (_, head), *body = kept
    columns = _header(next(csv.reader([head.removeprefix("\N{BYTE ORDER MARK}")])))
    if not body:
        raise RequestError("the table has a header but no rows")
    return tuple(_line(columns, number, line, length, gravity_m_s2) for number, line in body)


def _header(cells: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Return (column, unit) of each heading."""
    found: list[tuple[str, str]] = []
    for cell in cells:
        match = _HEADING.fullmatch(cell.strip().lower())
        name = match[1] if match else ""
        if name not in COLUMNS:
            raise RequestError(
                f"column {cell.strip()!r} is not known: the header names columns with their units, "
                f"separated by commas, such as {EXAMPLE}; known are {', '.join(COLUMNS)}"
            )
        kind, unit = COLUMNS[name], _unit_as_written(cell)
        if kind is not None and not unit:
            raise RequestError(f'column "{name}" needs its unit, such as {name} [{kind.bare}]')
        if name in dict(found):
            raise RequestError(f'column "{name}" stands twice in the header')
        found.append((name, unit))
    return _complete(tuple(found))


def _unit_as_written(cell: str) -> str:
    _, _, rest = cell.partition("[")
    return rest.partition("]")[0].strip()


def _complete(columns: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    names = dict(columns)
    if ("mass" in names) == ("force" in names):
        raise RequestError('the header needs a column "mass [kg]" or "force [N]", one of them')
    if "frequency" not in names and "recording" not in names:
        raise RequestError('the header needs a column "frequency [Hz]" or "recording"')
    return columns


def _line(
    columns: Sequence[tuple[str, str]],
    number: int,
    line: str,
    length: Quantity | None,
    gravity_m_s2: float,
) -> HungWeight:
    where = f"line {number}"
    cells = [cell.strip() for cell in next(csv.reader([line], skipinitialspace=True))]
    if len(cells) != len(columns):
        raise RequestError(f"{where} has {len(cells)} cells, the header {len(columns)}")
    texts = {name: cell for (name, _), cell in zip(columns, cells, strict=True)}
    read = {
        name: read_positive(f"{texts[name]} {unit}", kind, option=f"{where}, {name}")
        for name, unit in columns
        if (kind := COLUMNS[name]) is not None and (texts[name] or name != "frequency")
    }
    tone, recording = read.get("frequency"), texts.get("recording") or None
    if tone is None and recording is None:
        raise RequestError(f"{where} has neither a frequency nor a recording")
    kg = 1.0 if "mass" in read else 1 / gravity_m_s2
    return _hung(
        read.get("mass") or read["force"],
        kg,
        read.get("length") or length,
        mode=_mode(texts.get("mode", "1"), where),
        label=texts.get("label") or where,
        tone=tone,
        recording=recording,
    )


def _mode(text: str, where: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= HIGHEST_MODE):
        raise RequestError(
            f'{where}: mode "{text}" is no partial number from 1 (the fundamental) to '
            f"{HIGHEST_MODE}"
        )
    return int(text)


def _hung(
    load: Quantity,
    kg: float,
    length: Quantity | None,
    *,
    mode: int = 1,
    label: str,
    tone: Quantity | None,
    recording: str | None = None,
) -> HungWeight:
    if length is None:
        raise RequestError(
            'the length of the strand is missing: give --length "500 +/- 1 mm", or a column '
            '"length [mm]"'
        )
    load_u = rectangular(load.half_digit) if load.u is None else load.u
    tape = rectangular(max(TAPE_LIMIT_M, length.half_digit)) if length.u is None else length.u
    return HungWeight(
        load.value * kg, load_u * kg, length.value, tape, mode, label, tone, recording
    )


def read_pair(text: str, length: Quantity) -> HungWeight:
    """Return a typed pair of weight and tone, such as ``2.04 kg: 61.3 Hz``.

    Raises
    ------
    RequestError
        If it is no such pair.
    """
    match = _PAIR.fullmatch(text)
    if match is None:
        raise RequestError(f'{text!r} is no weight with its tone; write "2.04 kg: 61.3 Hz"')
    mass = read_positive(match[1], MASS, option="weight")
    tone = read_positive(match[2], FREQUENCY, option="frequency")
    return _hung(mass, 1.0, length, label=text.strip(), tone=tone)


@dataclass(frozen=True, slots=True)
class PlannedWeight:
    """A weight worth hanging, and about what it will sound."""

    mass_kg: float
    tension_n: float
    frequency_hz: float


def heaviest_pull_n(belt: Belt) -> tuple[float, str] | None:
    """Return the most a strand of this belt should carry here in N, and why; None if unknown.

    Half the allowable strand tension; where that is not known, the working tension.
    """
    if belt.allowable_n is not None:
        return HALF * belt.allowable_n.value, "half the allowable strand tension"
    if belt.working_tension_n is not None:
        return belt.working_tension_n.value, "its working tension"
    return None


def check_loads(
    hung: Sequence[HungWeight], belt: Belt | None, gravity_m_s2: float = STANDARD
) -> None:
    """Refuse a weight far above what the belt, where it is known, should carry.

    Raises
    ------
    RequestError
        If there is one: it is likely a slip, as kg for g.
    """
    limit = heaviest_pull_n(belt) if belt else None
    if belt is None or limit is None:
        return
    for one in hung:
        tension = hung_tension(one.mass_kg, 0.0, gravity_m_s2)
        if tension > FAR_ABOVE * limit[0]:
            raise RequestError(
                f"{one.label}: {tension:.0f} N is more than {FAR_ABOVE:g} times the "
                f"{limit[0]:.0f} N that a {belt.name} should carry here ({limit[1]}); check number "
                f"and unit (g or kg); {INSIST}"
            )


def plan_for(
    belt: Belt, length_m: float, heaviest_n: float, gravity_m_s2: float = STANDARD
) -> tuple[PlannedWeight, ...]:
    """Return the weights worth hanging on a belt clamped at both ends; see `plan_weights`."""
    strand = Strand(
        span_m=length_m,
        linear_mass_kg_per_m=belt.linear_mass.value,
        stiffness_n_m2=belt.ei_n_m2.value if belt.ei_n_m2 else 0.0,
        hold_a=CLAMP_HOLDING,
        hold_b=CLAMP_HOLDING,
        air_kg_per_m=air_carried(belt.width_m) if belt.width_m else 0.0,
    )
    return plan_weights(strand, heaviest_n, gravity_m_s2)


def expected_hz(hung: HungWeight, linear_mass_kg_per_m: float, gravity_m_s2: float) -> float:
    """Return about what a weight sounds by the string law, for where to listen."""
    tension = hung_tension(hung.mass_kg, linear_mass_kg_per_m * hung.length_m, gravity_m_s2)
    return frequency(Strand(hung.length_m, linear_mass_kg_per_m), tension, hung.mode_n)


def plan_weights(
    strand: Strand, heaviest_n: float, gravity_m_s2: float = STANDARD
) -> tuple[PlannedWeight, ...]:
    """Return weights from the heaviest down, each half of the one before.

    Halving spreads them evenly over sqrt T, which is what tells stiffness from mass. None is so
    light that the hung belt moves it, or sounds too low to be heard.

    Raises
    ------
    RequestError
        If even the heaviest is too light for so long a strand.
    """
    check_positive(heaviest_n, "heaviest pull", "N")
    hung = strand.linear_mass_kg_per_m * strand.span_m
    heaviest = heaviest_n / gravity_m_s2 - hung / 2
    masses = [heaviest / 2**k for k in range(STEPS)]
    kept = [m for m in masses if m >= LIGHTEST_FOOT * hung]
    tensions = [hung_tension(m, hung, gravity_m_s2) for m in kept]
    tones = [frequency(strand, t) for t in tensions]
    plan = tuple(
        PlannedWeight(*one) for one in zip(kept, tensions, tones, strict=True) if one[2] >= LOWEST
    )
    if len(plan) < FEWEST:
        raise RequestError(
            f"{heaviest_n:.0f} N is too little for {strand.span_m:.2g} m of this belt: hang a "
            "shorter strand"
        )
    return plan


def easier_length_m(plan: Sequence[PlannedWeight], length_m: float) -> float | None:
    """Return a length at which the lightest weight is well heard; None if it is already."""
    lightest = min(w.frequency_hz for w in plan)
    return None if lightest >= WELL_HEARD else length_m * lightest / WELL_HEARD
