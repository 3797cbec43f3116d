"""The usual belt drives by name: which strand to pluck, and where its tape measure runs.

Each drive has its own drawing in plain text. ``T`` marks the two ends of the tape, ``~~~`` the
strand to pluck. Source: common practice of machine builders, drawn here.

Conventions: drawings are at most `DRAWING_COLUMNS` wide and plain ASCII, so that every terminal
shows them.
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches

from beltpitch.errors import RequestError

DRAWING_COLUMNS = 76


@dataclass(frozen=True, slots=True)
class Drive:
    """One way to drive an axis by a belt.

    Parameters
    ----------
    name
        Short name, for the command line.
    title
        In words.
    drawing
        Lines of plain text.
    pluck
        Which strand to pluck, and how.
    tape
        The two points the tape runs between.
    park
        Where the carriage or pulley should stand.
    uncover
        What has to be taken off or opened.
    ends
        Kinds of the two ends of that strand, as in `beltpitch.belts.end_conditions`.
    strands
        Names of the strands that share the preload.
    cautions
        What is special about it.
    doubling
        How much belt one millimetre of the usual tensioner takes up: 2 for a pulley that is
        moved with the belt wrapped half round it, 1 for a clamp that is pulled straight.
    """

    name: str
    title: str
    drawing: str
    pluck: str
    tape: tuple[str, str]
    park: str
    uncover: str
    ends: tuple[str, str]
    strands: tuple[str, ...]
    cautions: tuple[str, ...]
    doubling: int


LOOPED = Drive(
    name="looped",
    title="motor on the carriage, belt clamped at both ends of the axis",
    drawing=r"""
   clamp                         .-.                         clamp
    ##                          ( O ) motor pulley             ##
    ##                          | - |                          ##
    ##                idler .-. |   | .-. idler                ##
    ##                     ( o )|   |( o )                     ##
    ##T~~~~ pluck here ~~~~T'-'-'   '-'-'----------------------##
    ===================== axis ==================================
                        <-- carriage -->
         strand "left"                      strand "right"
""",
    pluck="the longer of the two strands, between the clamp and the nearer idler, at its middle",
    tape=(
        "the edge of the clamp plate where the belt comes out",
        "the lowest point of the idler on the same side, where the belt first touches it",
    ),
    park="the carriage a little off the middle, so that the two strands do not sound alike",
    uncover="the cover or bellows over the belt; the belt must not rub on a channel it lies in",
    ends=("clamp", "idler"),
    strands=("left", "right"),
    cautions=(
        "the strand must hang free of the rail: lift it a little, or it slaps and sounds dull",
        "a holding motor keeps the strands unequal: switch it off before plucking",
    ),
    doubling=1,
)

FIXED = Drive(
    name="fixed",
    title="fixed motor and idler, carriage clamped to one strand",
    drawing=r"""
    motor                  strand "free"                   idler
     .-.T~~~~~~~~~~~~~~~~~~ pluck here ~~~~~~~~~~~~~~~~~~~T.-.
    ( O )                                                 ( o )
     '-'--------------[## carriage ##]---------------------'-'
                       holds this strand
""",
    pluck="the long strand that the carriage does not hold, at its middle",
    tape=(
        "the point above the motor shaft's centre where the belt leaves the pulley",
        "the point above the idler's centre where the belt meets it",
    ),
    park="anywhere for the long strand; far from the motor if only a near strand can be reached",
    uncover="the belt cover along the axis, and the end caps if the pulleys are hidden",
    ends=("pulley", "pulley"),
    strands=("free", "carriage"),
    cautions=(
        "if the free strand is too long to be heard, pluck the strand between carriage and idler: "
        "its ends are then clamp and pulley",
        "with equal pulleys the span is the centre distance: give it to `beltpitch span`",
    ),
    doubling=2,
)

CROSSED = Drive(
    name="crossed",
    title="two long belts sharing both axes, fixed motors (crossed or stacked)",
    drawing=r"""
   idler o-------------------------------------------o idler
        T|                                           |
         ~                                           |   belt A alone:
  pluck  ~  strand "long"                            |   belt B is its
  here   ~                                           |   mirror image,
         ~     o-------[## carriage ##]--------------o   crossing it or
         ~     |              gantry                     one level above
        T|     |
       ( O )---'  strand "short"
      motor A                                     (motor B)
""",
    pluck="on both belts the same strand: the long one from the motor to the far idler",
    tape=(
        "the point where the belt leaves the motor pulley",
        "the point where it first touches the far idler, on the same side of the machine",
    ),
    park="the gantry near the motors and the carriage in the middle, the same for both belts",
    uncover="the side covers over both long strands; of stacked belts the upper hides the lower",
    ends=("pulley", "idler"),
    strands=("long", "short"),
    cautions=(
        "both belts must match: each of them moves both axes, and unequal ones pull the gantry "
        "out of square",
        "either screw moves both tensions: re-pluck both belts after every turn",
        "crossed belts must not touch where they pass, or both sound",
    ),
    doubling=2,
)

ROTARY = Drive(
    name="rotary",
    title="plain rotary drive, two pulleys",
    drawing=r"""
     motor               strand "upper"               driven
      .-.T~~~~~~~~~~~~~~~ pluck here ~~~~~~~~~~~~~~~~T.-----.
     ( O )                                           (   O   )
      '-'---------------------------------------------'-----'
       |<-------------- centre distance ----------------->|
""",
    pluck="the strand that is easier to reach, at its middle; both carry the same at rest",
    tape=(
        "the point where the strand leaves the small pulley, square below its centre line",
        "the point where it meets the large pulley",
    ),
    park="turn the pulley by a quarter between readings, always the same way, and take four",
    uncover="the belt guard: motor off, plug pulled",
    ends=("pulley", "pulley"),
    strands=("upper", "lower"),
    cautions=(
        "from centre distance and teeth the span is exact: give them to `beltpitch span`",
        "an eccentric pulley changes the tension as it turns: the lowest reading is the one to set",
    ),
    doubling=2,
)

DRIVES = (LOOPED, FIXED, CROSSED, ROTARY)

# What else people call them.
OTHER_NAMES = {
    "moving motor": "looped",
    "rack": "looped",
    "idler": "fixed",
    "gantry": "fixed",
    "stacked": "crossed",
    "plain": "rotary",
}


def drive(name: str) -> Drive:
    """Return the drive of that name.

    Raises
    ------
    RequestError
        If there is none; the message lists them.
    """
    asked = " ".join(name.casefold().split())
    wanted = OTHER_NAMES.get(asked, asked)
    for one in DRIVES:
        if one.name == wanted:
            return one

    names = [one.name for one in DRIVES]
    near = get_close_matches(asked, [*names, *OTHER_NAMES], n=1)
    hint = f"; did you mean {near[0]}?" if near else ""
    raise RequestError(f'no drive "{name}": choose from {", ".join(names)}{hint}')


# What a duty may name: the drives above, and a loop that carries its load on one strand.
DRIVE_NAMES: dict[str, str] = {
    "looped": "belt clamped at both ends, looped over a motor on the carriage",
    "fixed": "fixed motor and idler, the carriage clamped to one strand",
    "crossed": "two long belts sharing both axes, crossed or stacked",
    "closed": "closed loop that carries its load towards the pulley driving it",
    "rotary": "plain rotary drive between two shafts",
}
