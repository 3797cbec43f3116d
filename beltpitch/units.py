"""Text <-> SI numbers: the only file that knows pint.

A user's number never reaches pint's own parser, which evaluates expressions and drops commas.
One strict pattern splits the text into number, optional doubt and unit; the unit must stand in a
short list for its quantity; pint supplies the factor, from an empty registry because the default
one alone costs more than the start-up limit.

Conventions: ``412 +/- 1 mm`` is a limit the user is sure of (rectangular, u = a / sqrt 3), which
may have a unit of its own (``41.2 cm +/- 1 mm``); ``412(1) mm`` gives a standard uncertainty; a
bare number takes the documented unit of its option. A fraction, ``11 13/16 in``, needs its unit. A
comma between digits is never read: it may separate decimals, thousands or values.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal

from beltpitch.errors import QuantityError
from beltpitch.uncertainty import rectangular

if TYPE_CHECKING:
    from pint import UnitRegistry

TOO_LARGE = 1e12  # in any unit listed here; keeps every SI value and square finite

Doubt = Literal["limit", "standard", "none"]

_DECIMAL = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,2})?"
_FRACTION = r"[+-]?(?:\d{1,6}[ -])?\d{1,6}/\d{1,6}"
_NUMBER = rf"(?:{_FRACTION}|{_DECIMAL})"
_UNIT = r"(?:1/)?[A-Za-z%°/^²*][A-Za-z0-9 %°/^²*]*"
_PATTERN = re.compile(
    rf"(?P<number>{_NUMBER})(?:\((?P<concise>\d+)\))?\s*(?P<inner>{_UNIT}?)?\s*"
    rf"(?:(?:\+/-|\+-|±)\s*(?P<limit>{_NUMBER})\s*(?P<unit>{_UNIT})?)?",
    re.ASCII,
)
_COMMA = re.compile(r"(?<=\d),(?=\d)")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}(?!\d)", re.ASCII)
_BETWEEN = re.compile(r"\s*;\s*|,\s+|(?<=[A-Za-z)%]),")
_INCH_MARK = re.compile("''|[\"\u2033\u201d]")

# Units in words, in any case. None of them is the sign of another unit.
_WORDS = {
    word: unit
    for unit, words in {
        "mm": "millimetre millimetres millimeter millimeters",
        "cm": "centimetre centimetres centimeter centimeters",
        "m": "metre metres meter meters",
        "in": "inch inches",
        "ft": "foot feet",
        "Hz": "hz hertz",
        "N": "newton newtons",
        "g": "gram grams gramme grammes",
        "kg": "kgs kilogram kilograms kilogramme kilogrammes",
        "oz": "ounce ounces",
        "lb": "lbs pound pounds",
        "s": "sec second seconds",
        "min": "minute minutes",
        "h": "hour hours",
        "d": "day days",
        "deg": "degree degrees",
        "%": "percent",
        "flats": "flat",
        "turns": "turn",
    }.items()
    for word in words.split()
}

# Definitions of the units that may be written, in the language of pint. kgf, lb, ft and in are
# exact by definition (ISO 80000-4, NIST SP 811 appendix B); g is standard gravity, 9.80665 m/s^2.
# In groups, because each line costs a millisecond or two: only what is asked for is defined.
_DEFINITIONS = {
    "length": """
        metre = [length] = m
        centi- = 0.01 = c
        milli- = 0.001 = m
        inch = 0.0254 metre = in
        foot = 0.3048 metre = ft
        """,
    "mass": """
        gram = [mass] = g
        kilo- = 1000 = k
        pound = 453.59237 gram = lb
        ounce = pound / 16 = oz
        """,
    "time": """
        second = [time] = s
        minute = 60 * second = min
        hour = 3600 * second = h
        day = 24 * hour = d
        """,
    "force": """
        newton = kilogram * metre / second ** 2 = N
        standard_gravity = 9.80665 metre / second ** 2
        pound_force = pound * standard_gravity = lbf
        ounce_force = ounce * standard_gravity = ozf
        kilogram_force = kilogram * standard_gravity = kgf
        watt = newton * metre / second = W
        """,
    "temperature": """
        kelvin = [temperature]; offset: 0 = K
        degree_Celsius = kelvin; offset: 273.15 = degC
        degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = degF
        """,
}
_NEWTON = ("length", "mass", "time", "force")


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity.

    Parameters
    ----------
    name
        In words.
    si
        Unit of the value inside.
    units
        Pairs: as written, as pint reads it; of a bare share, the number it is.
    bare
        Unit that a bare number takes; empty where a unit must be written.
    example
        For the messages.
    needs
        Groups of definitions that its units rest on.
    weights
        Pairs: unit of mass, unit of force that it is read as where a force is meant.
    fractions
        Whether a fraction needs no unit.
    """

    name: str
    si: str
    units: tuple[tuple[str, str], ...]
    bare: str
    example: str
    needs: tuple[str, ...]
    weights: tuple[tuple[str, str], ...] = ()
    fractions: bool = False

    def accepted(self) -> str:
        """Return the accepted units as a list in words."""
        return ", ".join(written for written, _ in self.units)


def _kind(
    name: str, si: str, units: str, bare: str, example: str, *needs: str, **as_pint: str
) -> Kind:
    pairs = tuple((u, as_pint.get(u, u)) for u in units.split("|"))
    return Kind(name, si, pairs, bare, example, needs)


LENGTH = _kind("length", "m", "mm|cm|m|in|ft", "mm", "412 mm", "length")
FREQUENCY = _kind("frequency", "Hz", "Hz", "Hz", "66.3 Hz")
FORCE = Kind(
    "force",
    "N",
    (("N", "N"), ("kN", "kN"), ("lbf", "lbf"), ("kgf", "kgf")),
    "N",
    "30 N",
    _NEWTON,
    weights=(("lb", "lbf"), ("kg", "kgf")),
)
MASS = _kind("mass", "kg", "g|kg|oz|lb", "g", "25.2 g", "mass")
LINEAR_MASS = _kind(
    "linear mass", "kg/m", "g/m|kg/m|oz/ft|lb/ft", "g/m", "12.6 g/m", "length", "mass"
)
ACCELERATION = _kind(
    "acceleration", "m/s^2", "m/s^2|mm/s^2|g", "mm/s^2", "3000 mm/s^2", *_NEWTON,
    g="standard_gravity",
)  # fmt: skip
TEMPERATURE = _kind("temperature", "K", "degC|degF", "degC", "21 degC", "temperature")
TIME = _kind("time", "s", "s|min|h|d", "s", "60 s", "time")
INTERVAL = _kind("interval", "s", "min|h|d", "", "90 d", "time")  # 300 alone could be any of them
TORQUE = Kind(
    "torque",
    "N*m",
    (("N m", "N*m"), ("N mm", "N*mm"), ("oz in", "ozf*inch"), ("lbf in", "lbf*inch")),
    "N m",
    "0.45 N m",
    _NEWTON,
)
POWER = _kind("power", "W", "W|kW", "W", "60 W", *_NEWTON)
SPEED = _kind("speed", "m/s", "m/s|mm/s|mm/min|m/min", "mm/min", "3000 mm/min", "length", "time")
ROTATION = _kind("rotational speed", "1/s", "rpm|1/min", "rpm", "1400 rpm", "time", rpm="1/min")
ANGLE = _kind("angle", "deg", "deg", "deg", "90 deg")
TURN = Kind(  # of a hex screw, which has six flats
    "turn",
    "",
    (("turns", "1"), ("flats", repr(1 / 6)), ("deg", repr(1 / 360))),
    "turns",
    "0.5",
    (),
    fractions=True,
)
BENDING = Kind(
    "bending stiffness",
    "N*m^2",
    (("N mm^2", "N*mm^2"), ("N m^2", "N*m^2")),
    "N mm^2",
    "117 N mm^2",
    _NEWTON,
)
STIFFNESS = _kind("stiffness", "N/m", "N/mm|N/m", "N/mm", "55 N/mm", *_NEWTON)
PERCENT = Kind("percentage", "", (("%", "1e-2"),), "%", "10 %", ())
CLOCK = Kind("rate error", "", (("ppm", "1e-6"), ("%", "1e-2")), "ppm", "+35 +/- 5 ppm", ())


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number as the user gave it, in SI.

    Parameters
    ----------
    value
        In the SI unit of its kind (a percentage or ppm as a fraction).
    u
        Standard uncertainty in SI; None where the user gave none.
    half_digit
        Half of the last digit written, in SI: the limit a bare figure implies.
    said
        How the doubt was given.
    text
        The number with its unit, as understood, for the echo.
    assumed
        What was assumed to read it, in words to be shown; empty if nothing was.
    """

    value: float
    u: float | None
    half_digit: float
    said: Doubt
    text: str
    assumed: str = ""


def parse(text: str, kind: Kind, *, option: str = "") -> Quantity:
    """Read a quantity such as ``412 +/- 1 mm``, ``412(1) mm``, ``16.25 in`` or ``412``.

    Parameters
    ----------
    text
        What the user typed.
    kind
        What it should be.
    option
        Name of the option, for the message.

    Raises
    ------
    QuantityError
        If number or unit cannot be read: what was given, what was wanted, an example.
    """
    given = f"{option} {text!r}" if option else repr(text)
    wanted = f'give a {kind.name} such as "{kind.example}" (units: {kind.accepted()})'
    if _COMMA.search(text):
        raise QuantityError(f"{given}: a comma in a number is not read; {_without_comma(text)}")
    match = _PATTERN.fullmatch(_INCH_MARK.sub(" in", text.replace("\N{MINUS SIGN}", "-")).strip())
    if match is None:
        raise QuantityError(f"{given} is no {kind.name}; {wanted}")
    inner, outer = _plain(match["inner"]), _plain(match["unit"])
    written = inner or outer or _bare(match["number"], kind, given)
    unit = dict(kind.weights).get(written, written)
    factor, offset = _factor(unit, kind, given, wanted)
    number, digit = _number(match["number"], given)
    value = number * factor + offset
    if not abs(number) < TOO_LARGE:
        raise QuantityError(f"{given} is too large to be a {kind.name}; {wanted}")
    if kind is TEMPERATURE and value < 0:
        raise QuantityError(f"{given} is below absolute zero, -273.15 degC: check number and sign")
    one = _limit_unit(inner, outer, factor, value, kind, given)
    u, said = _doubt(match, digit * factor, one, given)
    return Quantity(
        value=value,
        u=u,
        half_digit=0.5 * digit * factor,
        said=said,
        text=_echo(match, unit, outer),
        assumed="" if unit == written else f"{match['number']} {written} as a weight, in {unit}",
    )


def positive(text: str, kind: Kind, *, option: str = "") -> Quantity:
    """Read a quantity that must be greater than zero.

    Raises
    ------
    QuantityError
        As `parse`, and if the value is zero or negative.
    """
    quantity = parse(text, kind, option=option)
    if not quantity.value > 0:
        given = f"{option} {text!r}" if option else repr(text)
        raise QuantityError(
            f'{given}: a {kind.name} must be greater than zero, as in "{kind.example}"'
        )
    return quantity


def several(text: str) -> tuple[str, ...]:
    """Return the values of a text such as ``110, 111, 109 Hz``, each as a text with its unit.

    A comma with a space after it, a comma after a unit and a semicolon separate. Where only some
    have a unit, and all the same, it is that of all. A comma between digits separates nothing:
    `parse` refuses it.
    """
    found = [(each, _PATTERN.fullmatch(each)) for each in _BETWEEN.split(text.strip())]
    units = {m["inner"] or m["unit"] for _, m in found if m and (m["inner"] or m["unit"])}
    one = f" {units.pop()}" if len(units) == 1 else ""
    return tuple(each + one if m and not (m["inner"] or m["unit"]) else each for each, m in found)


def _without_comma(text: str) -> str:
    """Return how to write a text that has a comma between digits."""
    given = text.strip()
    whole = _COMMA.sub("", given)
    if len(_COMMA.findall(given)) > 1:
        apart = _COMMA.sub(", ", given)
        return f'write one number as "{whole}" or, where several may stand, "{apart}"'
    thousand = f' or, for a thousand, "{whole}"' if _THOUSANDS.match(given) else ""
    return f'write a decimal point: "{_COMMA.sub(".", given)}"{thousand}'


def _plain(unit: str | None) -> str:
    sign = " ".join((unit or "").replace("²", "^2").replace("°", "deg").split())
    return _WORDS.get(sign.lower(), sign)


def _bare(number: str, kind: Kind, given: str) -> str:
    """Return the unit of a number that was written without one."""
    if not kind.bare:
        raise QuantityError(
            f'{given} has no unit (units: {kind.accepted()}): write for instance "{number} d"'
        )
    if "/" in number and not kind.fractions:
        unit = "in" if kind is LENGTH else kind.bare
        raise QuantityError(f'{given} is a fraction without a unit: write "{number} {unit}"')
    return kind.bare


def _number(text: str, given: str) -> tuple[float, float]:
    """Return a number and the worth of its last digit, of a fraction one part."""
    if "/" not in text:
        return float(text), _last_digit(text)
    whole, _, fraction = text.lstrip("+-").replace("-", " ").rpartition(" ")
    above, below = (int(part) for part in fraction.split("/"))
    if below == 0 or (whole and above >= below):
        raise QuantityError(f'{given} is no fraction; write for instance "11 13/16 in"')
    return (-1 if text[0] == "-" else 1) * (int(whole or 0) + above / below), 1 / below


def _factor(written: str, kind: Kind, given: str, wanted: str) -> tuple[float, float]:
    known = dict(kind.units)
    if written not in known:
        close = next((u for u in known if u.lower() == written.lower()), None)
        hint = f" (did you mean {close}?)" if close else ""
        raise QuantityError(f"{given}: {written!r} is no unit of {kind.name}{hint}; {wanted}")
    if not kind.si:  # a share by itself: its units are numbers
        return float(known[written]), 0.0
    return (1.0, 0.0) if known[written] == kind.si else _si_factor(known[written], kind)


@cache
def _si_factor(unit: str, kind: Kind) -> tuple[float, float]:
    """Return (factor, offset) from `unit` to the SI unit of its kind."""
    registry = _registry()
    for group in kind.needs:
        _define(group)
    zero, one = (registry.Quantity(x, registry.parse_units(unit)) for x in (0.0, 1.0))
    offset = float(zero.to(kind.si).magnitude)
    return float(one.to(kind.si).magnitude) - offset, offset


@cache
def _registry() -> UnitRegistry[float]:
    from pint import UnitRegistry

    return UnitRegistry(None)


@cache
def _define(group: str) -> None:
    """Add a group of definitions to the registry, once."""
    for line in _DEFINITIONS[group].split("\n"):
        if line.strip():
            _registry().define(line.strip())


def _last_digit(number: str) -> float:
    mantissa, _, exponent = number.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return float(10.0 ** (int(exponent or 0) - decimals))


def _limit_unit(
    inner: str, outer: str, factor: float, value: float, kind: Kind, given: str
) -> float:
    """Return what one of the limit is in SI: it may have its own unit, or be a share."""
    if not inner or outer in ("", inner):
        return factor
    if outer == "%" and kind.si and kind is not TEMPERATURE:
        return abs(value) / 100
    return _factor(dict(kind.weights).get(outer, outer), kind, given, "write one unit for both")[0]


def _doubt(
    match: re.Match[str], digit: float, one: float, given: str
) -> tuple[float | None, Doubt]:
    """Return the standard uncertainty and how it was given.

    ``digit`` and ``one`` are what a last digit and a limit of 1 are in SI.
    """
    concise = match["concise"]
    if concise and match["limit"]:
        raise QuantityError(
            f"{given} gives its doubt twice; write 412 +/- 1 mm for a limit, or "
            "412(1) mm for a standard uncertainty"
        )
    if concise:
        return int(concise) * digit, "standard"
    if match["limit"] is None:
        return None, "none"
    limit = _number(match["limit"], given)[0]
    if not (math.isfinite(limit) and limit >= 0):
        raise QuantityError(f"{given}: what stands after +/- must be zero or more")
    return rectangular(limit) * one, "limit"


def _echo(match: re.Match[str], unit: str, outer: str) -> str:
    number = match["number"] + (f"({match['concise']})" if match["concise"] else "")
    if match["limit"] is None:
        return f"{number} {unit}"
    if match["inner"] and outer and outer != _plain(match["inner"]):
        return f"{number} {unit} +/- {match['limit']} {outer}"
    return f"{number} +/- {match['limit']} {unit}"


def in_unit(value: float, unit: str, kind: Kind) -> float:
    """Return an SI value in one of the units of its kind.

    Raises
    ------
    QuantityError
        If the unit is not in the list.
    """
    factor, offset = _factor(unit, kind, repr(unit), f"units: {kind.accepted()}")
    return (value - offset) / factor


def rounded(value: float, u: float) -> str:
    """Return a value written to the digit where its uncertainty has two figures.

    At most six decimals; 412.0 with u 0.57 gives ``412.0``, 37.52 with u 2.2 gives ``37.5``.
    """
    if u <= 0 or not math.isfinite(u):
        return f"{value:.6g}"
    decimals = min(6, max(0, 1 - math.floor(math.log10(u))))
    return f"{value:.{decimals}f}"
