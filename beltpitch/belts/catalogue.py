"""Belts by profile, construction and width; every figure carries its source.

The figures stand in ``catalogue.toml`` beside this file, in the units of the trade. Here they
become SI, scaled to a width as their source allows: proportional to width, by the source's own
exponent (GB/T 11362: 1.14), or between printed widths. A belt holds whole cords, so a load between
two printed widths is rounded down to a whole cord; outside the printed widths one cord is taken
off and the uncertainty doubled.

The uncertainty of a figure is itself doubtful by about a quarter, so it carries 8 degrees of
freedom (GUM G.4.2: dof = (1/2) (relative doubt of u)^-2).

Conventions: everything is SI; ``u`` is one standard uncertainty.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from beltpitch.belts.designation import (
    CONSTRUCTION_WORDS,
    FILLER_WORDS,
    Designation,
    Spelling,
    plain,
    read_name,
)
from beltpitch.errors import BeltNotFound, RequestError
from beltpitch.uncertainty import Estimate, Part, rectangular
from beltpitch.units import rounded

KNOWN = (
    "standard",
    "maker",
    "quoted",
    "common practice, no source",
    "from memory",
    "derived here",
    "measured by the user",
)
DOF_OF_A_FIGURE = 8.0  # GUM G.4.2 with a doubt of 25 % in u
JOINED_SHARE = 0.5  # Elatech: a joined belt (type V) may carry half of an open one (type M)
MIN_SPAN_PITCHES = 20  # from memory of belt makers' advice for tension by frequency
NARROWEST_M, WIDEST_M = 1e-3, 0.25  # beyond these a width is a slip of the pen
BEYOND_ROWS = 2  # times the doubt, outside the printed widths
BEYOND_USUAL = 1.5  # a bare number this much over the widest usual width is a length
SAME_WIDTH_M = 6e-5  # 19.05 and 19.1 mm are one width
WIDTH_EPSILON = 1e-9
SLIP = 3.0  # times the catalogue's linear mass, either way: makers differ by up to 1.5
NEAR_SLIP = 1.25  # how near a ratio must be to a slip's to be called by its name; a judgement
FAR_ABOVE = 3.0  # times the allowable tension where the breaking load is not known; a judgement
# Sections of V belts (ISO 4184) and ribbed belts (ISO 9982), with a number behind.
NO_TEETH = re.compile(
    r"(Z|A|B|C|D|E|[SX]P[ZABC]|[358]V|\d*P[HJKLM])[ -]?\d+(\.\d+)?\s*(mm)?$", re.IGNORECASE
)
INSIST = "if it truly is so, leave out the belt's name and give linear mass and width"

USUAL_CONSTRUCTIONS = (
    "rubber, glass cord",
    "rubber, steel cord",
    "rubber, aramid cord",
    "polyurethane, steel cord",
    "polyurethane, aramid cord",
)

# quantity -> (unit in the file, factor from it to SI for each metre of width)
UNITS: Mapping[str, tuple[str, float]] = {
    "linear_mass": ("g/m per mm", 1.0),
    "ea": ("kN per mm", 1e6),
    "ei": ("N mm2 per mm", 1e-3),
    "seating": ("N per mm", 1e3),
    "working_tension": ("N per mm", 1e3),
    "allowable": ("N per mm", 1e3),
    "break": ("N per mm", 1e3),
}


def told(source: str, known: str) -> str:
    """Return a source with how its figure is known, unless it begins by saying so."""
    return source if source.startswith(known) else f"{source} ({known})"


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a belt, and how far it can be trusted.

    Parameters
    ----------
    value, u
        The figure and its standard uncertainty; SI unless `unit` says otherwise.
    source
        Where it was read, with page or table.
    known
        How it is known: one of `KNOWN`.
    because
        Why this figure and not another, or how it was derived.
    also
        Other figures for the same thing.
    unit
        Unit in words.
    scaling
        How it was brought to this width.
    """

    value: float
    u: float
    source: str
    known: str
    because: str = ""
    also: tuple[Figure, ...] = ()
    unit: str = ""
    scaling: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0):
            raise ValueError(f"figure {self.value} with u {self.u} from {self.source}")
        if self.known not in KNOWN:
            raise ValueError(f"figure from {self.source} is known {self.known!r}, not in {KNOWN}")

    @property
    def told(self) -> str:
        """Where it was read and how it is known, in words."""
        return told(self.source, self.known)

    def estimate(self, name: str, key: str) -> Estimate:
        """Return the figure as an estimate of one part, with the dof of a catalogue figure."""
        return Estimate.single(self.value, self.u, name=name, key=key, dof=DOF_OF_A_FIGURE)

    def times(self, factor: float, unit: str = "", scaling: str = "") -> Figure:
        """Return the figure and its companions times an exact number."""
        return replace(
            self,
            value=self.value * factor,
            u=self.u * abs(factor),
            also=tuple(a.times(factor, unit) for a in self.also),
            unit=unit,
            scaling=scaling,
        )


@dataclass(frozen=True, slots=True)
class Law:
    """A figure as printed, and how its source lets it scale with width.

    Parameters
    ----------
    quantity
        Key of `UNITS`.
    printed
        The figure in the file's own unit for each mm of width; of a table, its widest row.
    at_mm, exponent
        Printed for this width; other widths go with (b / at_mm) ^ exponent. None: proportional.
    narrower_only
        Whether only widths below `at_mm` go so, and wider ones in proportion.
    rows
        Pairs (width in mm, figure) of a table by width.
    cord
        What one cord carries, in the unit of the rows; None if rows are read along a line.
    """

    quantity: str
    printed: Figure
    at_mm: float | None = None
    exponent: float = 1.0
    narrower_only: bool = False
    rows: tuple[tuple[float, float], ...] = ()
    cord: float | None = None

    def at(self, width_m: float) -> Figure:
        """Return the figure in SI for a belt of this width in m."""
        factor = UNITS[self.quantity][1]
        width_mm = width_m * 1000
        unit = {"linear_mass": "kg/m", "ei": "N m2"}.get(self.quantity, "N")
        if not self.rows:
            scaled = self.printed.times(factor * width_m, unit, self.scaling)
            share = self._share(width_mm)
            return replace(scaled, value=share * scaled.value, u=share * scaled.u)
        value, within = self._read_rows(width_mm)
        doubt = self.printed.u / self.printed.value * (1 if within else BEYOND_ROWS)
        total = value * factor / 1000  # a row holds the whole belt's figure, for a width in mm
        return Figure(
            value=total,
            u=doubt * total,
            source=self.printed.source,
            known=self.printed.known,
            because=self.printed.because,
            also=self.printed.times(factor * width_m, unit).also,
            unit=unit,
            scaling=self.scaling if within else self._beyond,
        )

    def _share(self, width_mm: float) -> float:
        """Return by what a width departs from proportion."""
        if self.at_mm is None or (self.narrower_only and width_mm >= self.at_mm):
            return 1.0
        return float((width_mm / self.at_mm) ** (self.exponent - 1))

    @property
    def scaling(self) -> str:
        """How the figure goes with width, in words."""
        if self.rows:
            return "between printed widths" + (", whole cords" if self.cord else "")
        if self.at_mm is None:
            return "proportional to width"
        words = f"(b / {self.at_mm:g} mm)^{self.exponent:g}"
        return f"{words} for narrower belts" if self.narrower_only else words

    @property
    def _beyond(self) -> str:
        how = "one cord less" if self.cord else "in proportion"
        return f"beyond the printed widths, {how}"

    def _read_rows(self, width_mm: float) -> tuple[float, bool]:
        """Return (figure, whether the width lies within the table)."""
        close = SAME_WIDTH_M * 1000
        for (b0, v0), (b1, v1) in pairwise(self.rows):
            if b0 - close <= width_mm <= b1 + close:
                line = v0 + (v1 - v0) * (width_mm - b0) / (b1 - b0)
                return self._whole_cords(line, width_mm, v0), True
        edge_b, edge_v = self.rows[0] if width_mm < self.rows[0][0] else self.rows[-1]
        less = self.cord or 0.0
        value = self._whole_cords(edge_v * width_mm / edge_b - less, width_mm, less)
        return max(value, less), False

    def _whole_cords(self, value: float, width_mm: float, least: float) -> float:
        for b, v in self.rows:
            if abs(b - width_mm) <= SAME_WIDTH_M * 1000:
                return v
        if self.cord is None:
            return value
        return max(least, math.floor(value / self.cord + WIDTH_EPSILON) * self.cord)


@dataclass(frozen=True, slots=True)
class SetPoint:
    """A tension that makers or users of machines set; a mark on the ruler, never its end."""

    low_n: float
    high_n: float
    note: str
    source: str
    known: str


@dataclass(frozen=True, slots=True)
class Construction:
    """The figures of one profile in one construction; None where nothing was found."""

    name: str
    linear_mass: Law
    ea: Law | None
    ei: Law | None
    seating: Law | None
    working_tension: Law | None
    allowable: Law | None
    breaking: Law | None

    @property
    def laws(self) -> tuple[Law, ...]:
        """All figures there are, in the order of the file."""
        every = (self.linear_mass, self.ea, self.ei, self.seating, self.working_tension)
        return tuple(law for law in (*every, self.allowable, self.breaking) if law)

    @property
    def elastomer(self) -> str:
        """Rubber or polyurethane."""
        return self.name.split(",")[0]

    @property
    def cord(self) -> str:
        """Glass, steel or aramid."""
        return self.name.split()[-2]


@dataclass(frozen=True, slots=True)
class Profile:
    """One tooth profile with all its constructions.

    Parameters
    ----------
    name, title
        The catalogue's name, and the profile in words.
    pitch_m
        Tooth spacing.
    widths_m
        Usual widths.
    pitch_line_m
        Pitch line differential: radius of the pitch circle less that of the pulley; None if
        not known.
    constructions
        The first one is taken where none is named.
    set_points
        Per metre of width here; a `Belt` has them for its own width.
    spellings
        Other ways to write the name.
    """

    name: str
    title: str
    pitch_m: float
    widths_m: tuple[float, ...]
    pitch_line_m: Figure | None
    constructions: tuple[Construction, ...]
    set_points: tuple[SetPoint, ...]
    spellings: tuple[str, ...]

    @property
    def default(self) -> Construction:
        """The construction taken where none is named."""
        return self.constructions[0]


@dataclass(frozen=True, slots=True)
class Belt:
    """One belt: what the mechanics and the advice need to know of it.

    Parameters
    ----------
    name
        Such as "2GT 9 mm"; `profile` and `construction` likewise, None for a belt of the user's.
    width_m, width_u_m
        Nominal width and its standard uncertainty (the tolerance as a rectangular limit).
    pitch_m
        Tooth spacing.
    linear_mass
        kg/m, with the parts of its uncertainty keyed ``roll:<belt>`` and ``roll:<belt>/width``.
    linear_mass_per_width
        kg/m for each metre of width (the same number as g/m for each mm).
    ea_n, ei_n_m2
        Axial and bending stiffness of the whole belt.
    seating_n, working_tension_n, allowable_n, break_n
        Minimum for tooth engagement; tension a strand bears for life; strand tension the steel
        cords of an open belt may see; what tears a new belt. `allowable_joined_n` is that of a
        joined belt.
    set_points
        What machines are set to, for this width.
    min_span_m
        Shortest span advised.
    pitch_line_m
        Pitch line differential.
    cord_expansion_per_k
        Thermal expansion of the cord.
    length_m, teeth
        Of the loop, where they were printed.
    notes
        How the name was read and what was assumed, in words to be shown.
    """

    name: str
    linear_mass: Estimate
    profile: str | None = None
    construction: str | None = None
    width_m: float | None = None
    width_u_m: float | None = None
    pitch_m: float | None = None
    linear_mass_per_width: Figure | None = None
    ea_n: Figure | None = None
    ei_n_m2: Figure | None = None
    seating_n: Figure | None = None
    working_tension_n: Figure | None = None
    allowable_n: Figure | None = None
    allowable_joined_n: Figure | None = None
    break_n: Figure | None = None
    set_points: tuple[SetPoint, ...] = ()
    min_span_m: Figure | None = None
    pitch_line_m: Figure | None = None
    cord_expansion_per_k: Figure | None = None
    length_m: float | None = None
    teeth: int | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.linear_mass.value > 0:
            raise RequestError(
                f"linear mass of {self.name} is {self.linear_mass.value:g} kg/m, "
                "must be above zero: weigh a piece of it"
            )

    def __str__(self) -> str:
        """Return what it is, and its linear mass and stiffness with their standard doubts."""
        kind = f", {self.construction}" if self.construction else ""
        known = [_figure_words("linear mass", self.linear_mass, 1e3, "g/m")]
        for what, figure, factor, unit in (
            ("EA", self.ea_n, 1e-3, "kN"),
            ("EI", self.ei_n_m2, 1e6, "N mm^2"),
        ):
            if figure is not None:
                known.append(_figure_words(what, figure, factor, unit))
        return f"{self.name}{kind}\n{', '.join(known)}"

    @property
    def figures(self) -> tuple[tuple[str, Figure], ...]:
        """Pairs (what, figure) of all that is known, in a fixed order."""
        every = (
            ("linear mass per width", self.linear_mass_per_width),
            ("axial stiffness EA", self.ea_n),
            ("bending stiffness EI", self.ei_n_m2),
            ("minimum for tooth engagement", self.seating_n),
            ("working tension", self.working_tension_n),
            ("allowable strand tension", self.allowable_n),
            ("allowable strand tension, joined", self.allowable_joined_n),
            ("breaking load", self.break_n),
            ("shortest span", self.min_span_m),
            ("pitch line differential", self.pitch_line_m),
            ("cord expansion", self.cord_expansion_per_k),
        )
        return tuple((what, figure) for what, figure in every if figure is not None)

    @property
    def sources(self) -> tuple[str, ...]:
        """Every source used, each once."""
        found = [f"{what}: {figure.told}" for what, figure in self.figures]
        found += [f"set point: {told(p.source, p.known)}" for p in self.set_points]
        return tuple(dict.fromkeys(found))

    def weighed(self, linear_mass: Estimate) -> Belt:
        """Return this belt with its linear mass replaced by one that was weighed or typed.

        Raises
        ------
        RequestError
            If it is more than three times the catalogue's figure, or less than a third of it.
        """
        ratio = linear_mass.value / self.linear_mass.value
        if self.profile is not None and not 1 / SLIP <= ratio <= SLIP:
            raise RequestError(
                f"{linear_mass.value * 1e3:.4g} g/m is {_times(ratio)} the "
                f"{self.linear_mass.value * 1e3:.3g} g/m that the catalogue has for {self.name}: "
                f"{self._slip(ratio)}; {INSIST}"
            )
        return replace(self, linear_mass=linear_mass, linear_mass_per_width=None)

    def _slip(self, ratio: float) -> str:
        """Return the likely cause of a linear mass that is so far off."""
        per_mm = 1e-3 / (self.width_m or 1.0)
        tenfold = max(ratio, 1 / ratio)
        for found, slip, words in (
            (ratio, per_mm, "likely the figure for 1 mm of width"),
            (tenfold, 10.0, "likely the decimal point, or cm for mm"),
            (tenfold, 100.0, "likely a wrong unit, as cm for m"),
            (tenfold, 1000.0, "likely a wrong unit, as mm for m, or g for kg"),
        ):
            if 1 / NEAR_SLIP <= found / slip <= NEAR_SLIP:
                return words
        return "check unit, decimal point and width, and that it is the mass of 1 m, not of all"

    @property
    def unbearable(self) -> tuple[float, str] | None:
        """The strand tension in N that a slip is told by, and its rule; None if unknown."""
        if self.break_n is not None:
            return self.break_n.value, "its breaking load"
        if self.allowable_n is not None:
            return FAR_ABOVE * self.allowable_n.value, f"{FAR_ABOVE:g} times its allowable tension"
        return None

    def check_bears(self, tension_n: float, what: str) -> None:
        """Refuse a strand tension that breaks the belt.

        Parameters
        ----------
        tension_n
            In N.
        what
            What was given, for the message.

        Raises
        ------
        RequestError
            If it is beyond `unbearable`.
        """
        limit = self.unbearable
        if limit is not None and tension_n > limit[0]:
            raise RequestError(
                f"{what}: {tension_n:.0f} N would break a {self.name} ({limit[1]}: "
                f"{limit[0]:.0f} N); check the number and its unit"
            )


def _times(ratio: float) -> str:
    size = max(ratio, 1 / ratio)
    shown = f"{size:.3g}" if size < 999 else f"{size:.0f}"  # noqa: PLR2004 - not 1e+03
    return f"{shown} times" if ratio > 1 else f"1/{shown} of"


def _figure_words(what: str, figure: Figure | Estimate, factor: float, unit: str) -> str:
    value, u = figure.value * factor, figure.u * factor
    return f"{what} {rounded(value, u)} {unit} (u {rounded(u, u)} {unit})"


def belt(name: str, *, width_m: float | None = None, construction: str | None = None) -> Belt:
    """Return a belt of the catalogue.

    Parameters
    ----------
    name
        What is printed or said, such as "2GT 9 mm", "HTD5M-15", "210-3GT-6", "XL 037".
    width_m
        Width in m, where the name does not hold it.
    construction
        Such as "polyurethane, steel cord" or just "steel"; by default the usual one.

    Raises
    ------
    BeltNotFound
        If no profile of that name is known.
    RequestError
        If width or construction are missing, contradictory or unknown.
    """
    book = _book()
    name, read = _read(name, book)
    made = book.profiles[read.profile]
    width = _width(name, read, made, width_m)
    words = _construction_words(construction) if construction else read.construction_words
    built, notes = _construction(made, words, construction or name)
    return _built(made, built, width, read, (*read.notes, *notes), book)


def own_belt(linear_mass: Estimate, width_m: float | None = None, name: str = "own belt") -> Belt:
    """Return a belt of which only the linear mass (and perhaps the width) is known.

    Parameters
    ----------
    linear_mass
        kg/m, with the parts of its uncertainty as weighing or typing gave them.
    width_m
        Width in m.
    name
        How to call it.

    Raises
    ------
    RequestError
        If linear mass or width are not above zero.
    """
    if width_m is not None:
        _check_width(width_m, name)
    return Belt(name=name, linear_mass=linear_mass, width_m=width_m)


def profiles() -> tuple[Profile, ...]:
    """Return every profile of the catalogue, in its order."""
    return tuple(_book().profiles.values())


def profile(name: str) -> Profile:
    """Return one profile with all its constructions and figures.

    Raises
    ------
    BeltNotFound
        If no profile of that name is known.
    """
    book = _book()
    return book.profiles[_read(name, book)[1].profile]


# --- from a name to a belt ----------------------------------------------------------------------


def _read(name: str, book: _Book) -> tuple[str, Designation]:
    """Return the name on one line, and what it says."""
    line = " ".join(name.split())
    read = read_name(line, book.spellings)
    if read is None:
        raise BeltNotFound(_not_found(line, book))
    return line, read


def _not_found(name: str, book: _Book) -> str:
    if NO_TEETH.match(name):
        return (
            f'"{name}" is a V belt or a ribbed belt, which the catalogue has no rule for: weigh a '
            "piece, give --linear-mass and --width, and set it by the machine's manual"
        )
    nearest = _nearest(name, book)
    near = f"nearest: {', '.join(nearest)}" if nearest else "no name looks like it"
    return (
        f'no belt "{name}" in the catalogue; {near}. '
        "Or weigh a piece and give its linear mass and width instead"
    )


def _nearest(name: str, book: _Book, most: int = 3) -> list[str]:
    """Return the names of profiles that look most like this one."""
    flat = re.sub(r" \d+(\.\d+)?( ?MM)?$", "", plain(name)).replace(" ", "")
    by_look = {written.replace(" ", ""): s.profile for written, s in book.spellings.items()}
    found = difflib.get_close_matches(flat, by_look, n=3 * most, cutoff=0.3)
    return list(dict.fromkeys(by_look[f] for f in found))[:most]


def _check_width(width_m: float, name: str) -> None:
    if not NARROWEST_M <= width_m <= WIDEST_M:
        raise RequestError(
            f"width of {name} is {width_m * 1000:g} mm, must lie between "
            f"{NARROWEST_M * 1000:g} and {WIDEST_M * 1000:g} mm"
        )


def _width(name: str, read: Designation, made: Profile, width_m: float | None) -> float:
    """Return the one width that name and option agree on, in m."""
    usual = ", ".join(f"{b * 1000:g}" for b in made.widths_m)
    printed = read.width_m
    if printed is None and width_m is None:
        raise RequestError(
            f'"{name}" has no width: add it, as in "{made.name} '
            f'{made.widths_m[len(made.widths_m) // 2] * 1000:g} mm"; usual are {usual} mm'
        )
    if printed is not None and width_m is not None and abs(printed - width_m) > SAME_WIDTH_M:
        raise RequestError(
            f'"{name}" is {printed * 1000:g} mm wide by its name, but {width_m * 1000:g} mm '
            "was given as width: leave one of them out"
        )
    _check_pitch(name, (width_m or printed or 0.0), made, usual)
    if width_m is not None:
        _check_width(width_m, made.name)
        return width_m
    assert printed is not None
    if printed > BEYOND_USUAL * made.widths_m[-1]:
        raise RequestError(
            f'"{name}" reads as {printed * 1000:g} mm wide, but {made.name} is usually {usual} mm; '
            f"if {printed * 1000:g} mm is its length, give the width as well"
        )
    _check_width(printed, made.name)
    return printed


def _check_pitch(name: str, width_m: float, made: Profile, usual: str) -> None:
    """Refuse a width that is the tooth pitch, unless the profile is made so narrow.

    Only pitches of whole millimetres are written on belts and taken for a width.
    """
    narrow = any(abs(width_m - b) <= SAME_WIDTH_M for b in made.widths_m)
    written = math.isclose(made.pitch_m * 1000, round(made.pitch_m * 1000), abs_tol=1e-6)
    if written and abs(width_m - made.pitch_m) <= SAME_WIDTH_M and not narrow:
        raise RequestError(
            f'"{name}": {width_m * 1000:g} mm is the tooth pitch of {made.name}; how wide is the '
            f"belt? Usual are {usual} mm; {INSIST}"
        )


def _construction_words(text: str) -> tuple[str, ...]:
    """Return the known words in a construction's name, such as ("rubber", "steel cord")."""
    words = re.findall(r"[A-Z]+", text.upper())
    strange = [w for w in words if w not in CONSTRUCTION_WORDS and w not in FILLER_WORDS]
    if strange or not words:
        raise RequestError(
            f'no construction "{text}": choose from {"; ".join(USUAL_CONSTRUCTIONS)}'
        )
    return tuple(CONSTRUCTION_WORDS[w] for w in words if w in CONSTRUCTION_WORDS)


def _construction(
    made: Profile, words: Sequence[str], asked: str
) -> tuple[Construction, tuple[str, ...]]:
    """Return the construction that has all the words, and what to say about the choice."""
    fits = [c for c in made.constructions if all(w in c.name.split(", ") for w in words)]
    names = [c.name for c in made.constructions]
    if not fits:
        raise RequestError(
            f'no figures for {made.name} as "{asked}": the catalogue has {"; ".join(names)}; '
            "weigh a piece and give its linear mass instead"
        )
    if len(fits) == 1:
        return fits[0], ()
    others = "; ".join(c.name for c in fits[1:])
    return fits[0], (f"taken as {fits[0].name}; say so if it is {others}",)


def _built(
    made: Profile,
    built: Construction,
    width_m: float,
    read: Designation,
    notes: tuple[str, ...],
    book: _Book,
) -> Belt:
    name = f"{made.name} {width_m * 1000:g} mm"
    width_u = rectangular(book.tolerance_m(built.elastomer, width_m, made.pitch_m))
    per_width = _per_metre(built.linear_mass)
    roll = f"roll:{name}, {built.name}"
    mass = Estimate(
        per_width.value * width_m,
        (
            Part("linear mass", roll, per_width.u * width_m, DOF_OF_A_FIGURE),
            Part("width", f"{roll}/width", per_width.value * width_u),
        ),
    )
    allowable = _at(built.allowable, width_m)
    teeth, more = _teeth(read.length_m, made)
    return Belt(
        name=name,
        linear_mass=mass,
        profile=made.name,
        construction=built.name,
        width_m=width_m,
        width_u_m=width_u,
        pitch_m=made.pitch_m,
        linear_mass_per_width=per_width,
        ea_n=_at(built.ea, width_m),
        ei_n_m2=_at(built.ei, width_m),
        seating_n=_seating(made, built, width_m),
        working_tension_n=_at(built.working_tension, width_m),
        allowable_n=allowable,
        allowable_joined_n=_joined(allowable),
        break_n=_at(built.breaking, width_m),
        set_points=tuple(
            replace(p, low_n=p.low_n * width_m, high_n=p.high_n * width_m) for p in made.set_points
        ),
        min_span_m=_min_span(made.pitch_m),
        pitch_line_m=made.pitch_line_m,
        cord_expansion_per_k=book.cord_expansion[built.cord],
        length_m=teeth * made.pitch_m if teeth else read.length_m,
        teeth=teeth,
        notes=(*notes, *more),
    )


def _seating(made: Profile, built: Construction, width_m: float) -> Figure | None:
    """Return the minimum for tooth engagement: the teeth's own, in whichever construction."""
    if built.seating is not None or made.default.seating is None:
        return _at(built.seating, width_m)
    figure = made.default.seating.at(width_m)
    source = f"the same teeth in {made.default.name}: {figure.source}"
    return replace(figure, source=source, known="derived here")


def _per_metre(law: Law) -> Figure:
    """Return the linear mass for each metre of width in SI; it is always proportional."""
    return law.printed.times(UNITS[law.quantity][1], "kg/m per m of width", law.scaling)


def _at(law: Law | None, width_m: float) -> Figure | None:
    return None if law is None else law.at(width_m)


def _joined(open_ended: Figure | None) -> Figure | None:
    if open_ended is None:
        return None
    return replace(
        open_ended.times(JOINED_SHARE, open_ended.unit, open_ended.scaling),
        because="half of the open-ended belt's: the maker's type V against type M",
    )


def _min_span(pitch_m: float) -> Figure:
    return Figure(
        value=MIN_SPAN_PITCHES * pitch_m,
        u=MIN_SPAN_PITCHES * pitch_m * 0.25,
        source="from memory of belt makers' published tables, not read again",
        known="from memory",
        because="20 tooth pitches; robot makers use 14 to 23",
        unit="m",
    )


WHOLE_TOOTH = 0.15  # inch length codes are rounded to 1/10 in: up to 0.13 tooth off


def _teeth(length_m: float | None, made: Profile) -> tuple[int | None, tuple[str, ...]]:
    """Return the number of teeth of a loop, or a note that the length has no whole number."""
    if length_m is None:
        return None, ()
    exact = length_m / made.pitch_m
    if round(exact) > 0 and abs(exact - round(exact)) <= WHOLE_TOOTH:
        return round(exact), ()
    return None, (
        f"a length of {length_m * 1000:g} mm is no whole number of {made.pitch_m * 1000:g} mm "
        "teeth: check it",
    )


# --- the file -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Tolerance:
    elastomer: str
    up_to_width_m: float
    up_to_pitch_m: float
    plus_minus_m: float


@dataclass(frozen=True, slots=True)
class _Book:
    profiles: Mapping[str, Profile]
    spellings: Mapping[str, Spelling]
    tolerances: tuple[_Tolerance, ...]
    cord_expansion: Mapping[str, Figure]

    def tolerance_m(self, elastomer: str, width_m: float, pitch_m: float) -> float:
        """Return the limit of the width either way; the first rule that fits stands."""
        return next(
            t.plus_minus_m
            for t in self.tolerances
            if t.elastomer == elastomer
            and width_m <= t.up_to_width_m + SAME_WIDTH_M
            and pitch_m <= t.up_to_pitch_m + SAME_WIDTH_M
        )


@cache
def _book() -> _Book:
    """Read the catalogue, once."""
    text = Path(__file__).with_name("catalogue.toml").read_text("utf-8")
    raw = tomllib.loads(text)
    sources: dict[str, str] = raw["sources"]
    made = {name: _profile(name, table, sources) for name, table in raw["profile"].items()}
    spellings: dict[str, Spelling] = {}
    for name, table in raw["profile"].items():
        inch, tenths = "inch" in table["title"], "S profile" in table["title"]
        for other, remark in {name: "", **table.get("aliases", {})}.items():
            spellings[other.upper()] = Spelling(
                name, table["pitch_mm"], remark, inch=inch, tenths=tenths
            )
    return _Book(
        profiles=made,
        spellings=spellings,
        tolerances=tuple(_tolerance(t) for t in raw["width_tolerance"]),
        cord_expansion={
            cord: _figure(t, sources, "1/K") for cord, t in raw["cord_expansion"].items()
        },
    )


def _tolerance(table: dict[str, Any]) -> _Tolerance:
    return _Tolerance(
        elastomer=table["elastomer"],
        up_to_width_m=table.get("up_to_mm", math.inf) / 1000,
        up_to_pitch_m=table.get("up_to_pitch_mm", math.inf) / 1000,
        plus_minus_m=table["plus_minus_mm"] / 1000,
    )


def _profile(name: str, table: dict[str, Any], sources: dict[str, str]) -> Profile:
    line = table.get("pitch_line")
    return Profile(
        name=name,
        title=table["title"],
        pitch_m=table["pitch_mm"] / 1000,
        widths_m=tuple(b / 1000 for b in table["widths_mm"]),
        pitch_line_m=None if line is None else _figure(line, sources, "mm").times(1e-3, "m"),
        constructions=tuple(
            _made(key, value, sources) for key, value in table.items() if key.endswith(" cord")
        ),
        set_points=tuple(
            SetPoint(
                low_n=p["low"] * 1000,
                high_n=p["high"] * 1000,
                note=p["note"],
                source=_source(p["source"], sources),
                known=p["known"],
            )
            for p in table.get("set_points", ())
        ),
        spellings=tuple(table.get("aliases", {})),
    )


def _made(name: str, table: dict[str, Any], sources: dict[str, str]) -> Construction:
    laws = {key: _law(key, table[key], sources) if key in table else None for key in UNITS}
    mass = laws["linear_mass"]
    if mass is None:
        raise ValueError(f"catalogue: {name} has no linear mass")
    return Construction(
        name=name,
        linear_mass=mass,
        ea=laws["ea"],
        ei=laws["ei"],
        seating=laws["seating"],
        working_tension=laws["working_tension"],
        allowable=laws["allowable"],
        breaking=laws["break"],
    )


def _law(quantity: str, table: dict[str, Any], sources: dict[str, str]) -> Law:
    unit = UNITS[quantity][0]
    rows = tuple((float(b), float(v)) for b, v in table.get("rows", ()))
    at_mm, below_mm = table.get("at_mm"), table.get("below_mm")
    value = table["value"] if not rows else rows[-1][1] / rows[-1][0]
    if at_mm is not None:
        value = value / at_mm
    return Law(
        quantity=quantity,
        printed=_figure({**table, "value": value}, sources, unit),
        at_mm=at_mm if below_mm is None else below_mm,
        narrower_only=below_mm is not None,
        exponent=table.get("exponent", 1.0),
        rows=rows,
        cord=table.get("cord_n"),
    )


def _figure(table: dict[str, Any], sources: dict[str, str], unit: str) -> Figure:
    value = float(table["value"])
    return Figure(
        value=value,
        u=float(table.get("u", table.get("u_rel", 0.0) * abs(value))),
        source=_source(table["source"], sources),
        known=table["known"],
        because=table.get("because", ""),
        also=tuple(_figure(a, sources, unit) for a in table.get("also", ())),
        unit=unit,
    )


def _source(text: str, sources: dict[str, str]) -> str:
    """Spell out a source: "elatech: p. 8" becomes its title and the page."""
    key, _, where = text.partition(": ")
    return f"{sources[key]}, {where}" if where else sources[key]
