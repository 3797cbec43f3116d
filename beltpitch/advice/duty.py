"""What a duty asks of a belt: its pull, the least preload, the most preload.

Linear axes. Peripheral force ``F_U = m a + m g sin(slope) + process + friction`` (belt-makers'
calculation). The least preload keeps the slack strand taut at the worst place of the travel: of
F_U the slack strand loses the share L1/(L1 + L2) (two springs, derived in `axis`), so
``F_V >= share x F_U``; with the lengths unknown the share is one, which is the rule printed for
clamped open belts, ``F_V >= F_U`` (Elatech 2012, p. 54). Most preload: ``F_V + F_U <= F_allow``
(same page) and, at rest, two strands at the wrap angle on the shaft, ``2 F_V sin(wrap/2)`` at most
the motor's permitted radial load.

Closed loops and rotary drives. Both strands share the pull, so the slack one loses half of it:
``F_V >= F_U/2`` (derived; the printed rule for joined conveying belts on the same page, and half
the standard's shaft force ``F_Q = 1000 P/v``); a running belt spends ``mu v^2`` on its own bend.

Two belts sharing both axes. The carriage moves along x when both motors turn one way, along y when
they turn against each other, so ``F_A = (F_x + F_y)/2, F_B = (F_x - F_y)/2`` (virtual work,
derived): the worst is a diagonal.

Conventions: SI; forces are those on one belt unless named otherwise; tilt in radians.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, get_args

from beltpitch.advice.axis import Layout
from beltpitch.advice.bounds import Bound, Range, ReferenceValue, lowest
from beltpitch.belts.drives import DRIVE_NAMES, OTHER_NAMES
from beltpitch.errors import RequestError, check_not_negative, check_positive

STANDARD_GRAVITY = 9.80665  # m/s^2, ISO 80000-3

Drive = Literal["looped", "fixed", "crossed", "closed", "rotary"]

ELATECH = "Elatech polyurethane belts catalogue 2012, p. 54"
PRACTICE = "common practice, no source"
GB11362 = "GB/T 11362-2008 (adopts ISO 5295), as quoted"
DERIVED = "two springs, derived here"

HALF = 0.5  # both strands of a closed loop share the pull
FULL_MESH = 6  # teeth in mesh from which the full rating holds (SDP/SI D820; GB/T 11362)
LOSS_PER_TOOTH = 0.2  # of the rating, for each tooth below six (same sources)
# What the slack strand keeps under the whole pull, as a share of it: 10 to 30 % works best (common
# practice, no source). A rotary drive starts at 10 %, which with half the pull is 0.6 F; a linear
# axis, which must not lose motion, keeps 20 % (a judgement).
SLACK_OF_PULL = (0.10, 0.30)
LINEAR_REST = 0.20
WRAP_LIMIT = 2 * math.pi  # a belt cannot be wrapped further on one pulley
STEEPEST = math.pi / 2  # an axis that stands upright


@dataclass(frozen=True, slots=True)
class Pulley:
    """The driving pulley and the shaft it sits on.

    Parameters
    ----------
    teeth
        Of the pulley.
    pitch_m
        Tooth spacing of the belt.
    wrap_rad
        Angle over which the belt touches it; half a turn for a plain loop.
    in_mesh
        Teeth in mesh, where counted; else from the wrap angle, rounded down.
    permitted_radial_n
        Radial load the motor (or bearing) may carry at the pulley; None if unknown.

    Raises
    ------
    RequestError
        If teeth, spacing, wrap or load make no pulley.
    """

    teeth: int
    pitch_m: float
    wrap_rad: float = math.pi
    in_mesh: int | None = None
    permitted_radial_n: float | None = None

    def __post_init__(self) -> None:
        check_positive(self.teeth, "the number of pulley teeth", "teeth")
        check_positive(self.pitch_m, "the tooth spacing", "m")
        check_positive(self.in_mesh, "the number of teeth in mesh", "teeth")
        check_positive(self.permitted_radial_n, "the permitted radial load", "N")
        if not 0 < self.wrap_rad < WRAP_LIMIT:
            raise RequestError(
                f"a wrap angle of {math.degrees(self.wrap_rad):.4g} deg is none; give the angle "
                "over which the belt touches the pulley, as in 180 deg"
            )

    @property
    def radius_m(self) -> float:
        """Radius of the pitch circle, z p / (2 pi) (GB/T 11362)."""
        return self.teeth * self.pitch_m / (2 * math.pi)

    @property
    def mesh(self) -> int:
        """Teeth in mesh: as counted, or floor(z wrap / 2 pi) (GB/T 11362)."""
        counted = math.floor(self.teeth * self.wrap_rad / (2 * math.pi) + 1e-9)
        return self.in_mesh if self.in_mesh is not None else counted

    @property
    def mesh_factor(self) -> float:
        """Share of the working tension that so few teeth can carry: 1, 0.8, 0.6 for 6, 5, 4."""
        return max(0.0, 1 - LOSS_PER_TOOTH * max(0, FULL_MESH - self.mesh))

    @property
    def shaft_per_strand(self) -> float:
        """Shaft load for each newton of preload, two strands at the wrap angle."""
        return 2 * math.sin(self.wrap_rad / 2)


@dataclass(frozen=True, slots=True)
class Motion:
    """The duty of a linear axis or a conveying loop.

    Parameters
    ----------
    mass_kg, acceleration_m_per_s2
        Moving mass and its largest acceleration.
    process_force_n, friction_n
        Cutting or process force along the axis; friction of the rails.
    slope_rad
        Slope of the axis; pi/2 for upright.
    belts
        Equal belts that carry the mass side by side (2 for a gantry).
    cross_mass_kg
        Two belts sharing both axes: what moves along the other axis; None takes the same mass.

    Raises
    ------
    RequestError
        If a number is negative or no number says what moves.
    """

    mass_kg: float = 0.0
    acceleration_m_per_s2: float = 0.0
    process_force_n: float = 0.0
    friction_n: float = 0.0
    slope_rad: float = 0.0
    belts: int = 1
    cross_mass_kg: float | None = None

    def __post_init__(self) -> None:
        check_not_negative(self.mass_kg, "the moving mass", "kg")
        check_not_negative(self.acceleration_m_per_s2, "the acceleration", "m/s^2")
        check_not_negative(self.process_force_n, "the process force", "N")
        check_not_negative(self.friction_n, "the friction", "N")
        check_positive(self.belts, "the number of belts", "belts")
        check_positive(self.cross_mass_kg, "the mass on the other axis", "kg")
        if not abs(self.slope_rad) <= STEEPEST + 1e-9:
            raise RequestError(
                f"a slope of {math.degrees(self.slope_rad):.4g} deg is none; 0 is level, 90 deg "
                "upright"
            )

    def pull(self, drive: str) -> tuple[tuple[str, float], ...]:
        """Return the parts of the peripheral force on one belt, in N, by name."""
        weight = self.mass_kg * STANDARD_GRAVITY * abs(math.sin(self.slope_rad))
        share, mass = 1 / self.belts, self.mass_kg
        if drive == "crossed":
            # F_A = (F_x + F_y)/2: forces given once act on either axis, the weight on one
            share, weight = 1.0, weight / 2
            mass = (mass + (self.cross_mass_kg or mass)) / 2
        return (
            ("acceleration", share * mass * self.acceleration_m_per_s2),
            ("slope", share * weight),
            ("process force", share * self.process_force_n),
            ("friction", share * self.friction_n),
        )


@dataclass(frozen=True, slots=True)
class Rotation:
    """The duty of a rotary drive: a torque, or power at a speed.

    Parameters
    ----------
    torque_nm
        At the driving pulley; None if power is given.
    power_w, turns_per_s
        Power carried and the driving pulley's speed.
    service_factor
        For shock and hours; 1.5 to 2 for power drives (SDP/SI D790), 1 for moving only.
    linear_mass_kg_per_m
        Of the belt, for what the running belt spends on its own bend; 0 leaves it out.

    Raises
    ------
    RequestError
        If neither a torque nor power with speed is given, or a number is not positive.
    """

    torque_nm: float | None = None
    power_w: float | None = None
    turns_per_s: float | None = None
    service_factor: float = 1.0
    linear_mass_kg_per_m: float = 0.0

    def __post_init__(self) -> None:
        check_positive(self.torque_nm, "the torque", "N m")
        check_positive(self.power_w, "the power", "W")
        check_positive(self.turns_per_s, "the speed", "turns/s")
        check_positive(self.service_factor, "the service factor", "")
        check_not_negative(self.linear_mass_kg_per_m, "the linear mass", "kg/m")
        if self.torque_nm is None and (self.power_w is None or self.turns_per_s is None):
            raise RequestError(
                "a rotary drive needs its torque, or its power and speed; "
                'as in --torque "0.5 N m", or --power "60 W" --speed "1400 rpm"'
            )

    def speed_m_per_s(self, pulley: Pulley) -> float:
        """Return the belt's speed, or 0 where none was given."""
        return (self.turns_per_s or 0.0) * pulley.teeth * pulley.pitch_m

    def pull(self, pulley: Pulley) -> tuple[tuple[str, float], ...]:
        """Return the parts of the peripheral force: F_U = 2 M/d = P/v, times the factor."""
        if self.torque_nm is not None:
            force = self.torque_nm / pulley.radius_m
        else:
            force = (self.power_w or 0.0) / self.speed_m_per_s(pulley)
        return (
            ("torque" if self.torque_nm is not None else "power", force),
            ("service factor", (self.service_factor - 1) * force),
        )


@dataclass(frozen=True, slots=True)
class Demand:
    """What a duty asks of one belt.

    Parameters
    ----------
    drive
        One of `DRIVE_NAMES`.
    parts
        Peripheral force by name, N; their sum is `peripheral_n`.
    slack_share
        Share of it that the slack strand loses, at the worst place.
    share_rule, share_source
        That share in words, and where it is from.
    running_n
        mu v^2, spent on the bend of a running belt.
    friction_n
        Friction of the whole carriage.
    mass_kg
        Moving mass of the whole carriage; None for a rotary drive.
    motor_n
        What the motor can pull on one belt; None if unknown.
    pulley
        The driving pulley; None if unknown.
    acceleration_m_per_s2
        As asked; what to lower if the range is empty.
    belts
        Belts that carry the load side by side.
    """

    drive: str
    parts: tuple[tuple[str, float], ...]
    slack_share: float
    share_rule: str
    share_source: str
    running_n: float = 0.0
    friction_n: float = 0.0
    mass_kg: float | None = None
    motor_n: float | None = None
    pulley: Pulley | None = None
    acceleration_m_per_s2: float = 0.0
    belts: int = 1

    @property
    def peripheral_n(self) -> float:
        """Peripheral force on one belt: the sum of its parts."""
        return sum(n for _, n in self.parts)

    @property
    def least_n(self) -> float:
        """Preload below which the slack strand goes slack."""
        return self.slack_share * self.peripheral_n + self.running_n

    @property
    def rest_share(self) -> float:
        """Share of the pull that the slack strand is to keep."""
        return SLACK_OF_PULL[0] if self.drive == "rotary" else LINEAR_REST

    @property
    def rest_n(self) -> float:
        """What the slack strand is to keep under the whole pull."""
        return self.rest_share * self.peripheral_n

    @property
    def shaft_peak_n(self) -> float | None:
        """Shaft load at the least preload with the whole pull on one strand; None if unknown."""
        return None if self.pulley is None else self.shaft_load(self.least_n)

    def shaft_load(self, preload_n: float) -> float | None:
        """Return the shaft load at full pull, tight strand T + F, slack T, at the wrap angle.

        Law of cosines; the slack strand is taken to lose nothing, which errs high.
        """
        if self.pulley is None:
            return None
        tight, slack = preload_n + self.peripheral_n, preload_n
        cosine = math.cos(self.pulley.wrap_rad)
        return math.sqrt(tight**2 + slack**2 - 2 * tight * slack * cosine)


def linear_demand(
    drive: str,
    motion: Motion,
    *,
    pulley: Pulley | None = None,
    layout: Layout | None = None,
    motor_torque_nm: float | None = None,
) -> Demand:
    """Return what a linear axis or a conveying loop asks of each belt.

    Parameters
    ----------
    drive
        One of `DRIVE_NAMES` but ``rotary``.
    motion
        Mass, acceleration, forces. If it holds none of them, the motor's torque is the duty.
    pulley
        Driving pulley.
    layout
        The belt's lengths; without them the printed rule F_V >= F_U is used.
    motor_torque_nm
        Largest torque of one motor.

    Raises
    ------
    RequestError
        If the drive is unknown or rotary, or nothing says how hard it pulls.
    """
    drive = drive_named(drive)
    if drive == "rotary":
        raise RequestError("a rotary drive has no moving mass: give its torque, or power and speed")
    check_positive(motor_torque_nm, "the motor's torque", "N m")
    motor = _motor_pull(motor_torque_nm, pulley)
    parts = motion.pull(drive)
    if not any(n for _, n in parts):
        if motor is None:
            raise RequestError(
                "nothing says how hard this axis pulls: give its mass and acceleration, a process "
                "force, or the motor's torque and pulley"
            )
        parts = (("all the motor can pull", motor),)
    share, rule, source = _slack_share(drive, layout)
    return Demand(
        drive=drive,
        parts=parts,
        slack_share=share,
        share_rule=rule,
        share_source=source,
        friction_n=motion.friction_n,
        mass_kg=motion.mass_kg or None,
        motor_n=motor,
        pulley=pulley,
        acceleration_m_per_s2=motion.acceleration_m_per_s2,
        belts=2 if drive == "crossed" else motion.belts,
    )


def rotary_demand(rotation: Rotation, pulley: Pulley) -> Demand:
    """Return what a rotary drive asks of its belt."""
    return Demand(
        drive="rotary",
        parts=rotation.pull(pulley),
        slack_share=HALF,
        share_rule="half the pull, as both strands share it",
        share_source=f"{DERIVED}; shaft force F_Q = 1000 P/v of {GB11362}",
        running_n=rotation.linear_mass_kg_per_m * rotation.speed_m_per_s(pulley) ** 2,
        pulley=pulley,
    )


def drive_named(name: str) -> str:
    """Return one of `DRIVE_NAMES` for what people call it.

    Raises
    ------
    RequestError
        If there is none of that name.
    """
    asked = " ".join(name.casefold().split())
    wanted = OTHER_NAMES.get(asked, asked)
    if wanted not in get_args(Drive):
        raise RequestError(f"no drive is called {name!r}; choose one of: {', '.join(DRIVE_NAMES)}")
    return wanted


def _motor_pull(torque_nm: float | None, pulley: Pulley | None) -> float | None:
    if torque_nm is None:
        return None
    if pulley is None:
        raise RequestError(
            "the motor's torque becomes a pull only with its pulley: give its number of teeth"
        )
    return torque_nm / pulley.radius_m


def _slack_share(drive: str, layout: Layout | None) -> tuple[float, str, str]:
    if drive == "closed":
        return HALF, "half the pull, as both strands share it", f"joined belts, {ELATECH}"
    if layout is None:
        return 1.0, "the whole pull, as the belt's lengths are not given", ELATECH
    share = layout.slack_share()
    return share, f"{share:.0%} of the pull, at an end of the travel", DERIVED


def slack_limit(demand: Demand) -> Bound:
    """Return the preload below which the slack strand goes slack under the whole pull."""
    return Bound(
        demand.least_n,
        "slack strand",
        f"the slack strand loses {demand.share_rule}; the pull is {demand.peripheral_n:.4g} N",
        demand.share_source,
    )


def range_by_duty(demand: Demand, allowable: Bound | None, seating: Bound | None = None) -> Range:
    """Return the preload this duty permits, with the rule that binds at each end.

    The least preload is what the slack strand loses under the whole pull, and what it is to keep:
    the minimum for tooth engagement or its share of the pull, whichever is more.

    Parameters
    ----------
    demand
        What is asked of one belt.
    allowable
        Allowable strand tension with its source; None if unknown.
    seating
        Minimum for tooth engagement; None if unknown.
    """
    rest_n = demand.rest_n
    rest = f"{rest_n / (demand.peripheral_n or 1.0):.0%} of it"
    if seating is not None and seating.newtons > rest_n:
        rest_n, rest = seating.newtons, "the minimum for tooth engagement"
    low = Bound(
        demand.least_n + rest_n,
        "slack strand",
        f"of the pull of {demand.peripheral_n:.4g} N the slack strand loses "
        f"{demand.share_rule}, and keeps {rest}",
        f"{demand.share_source}; the rest: {PRACTICE}",
    )
    high = lowest((_strand_limit(demand, allowable), _shaft_limit(demand)))
    bounds = Range(low, high)
    return replace(bounds, opens=openers(bounds, demand, allowable))


def _strand_limit(demand: Demand, allowable: Bound | None) -> Bound | None:
    if allowable is None:
        return None
    return Bound(
        allowable.newtons - demand.peripheral_n,
        "allowable",
        f"allowable strand tension {allowable.newtons:.4g} N less the pull of "
        f"{demand.peripheral_n:.4g} N",
        f"{allowable.source}; F_V + F_U <= allowable: {ELATECH}",
    )


def _shaft_limit(demand: Demand) -> Bound | None:
    pulley = demand.pulley
    if pulley is None or pulley.permitted_radial_n is None:
        return None
    return Bound(
        pulley.permitted_radial_n / pulley.shaft_per_strand,
        "shaft",
        f"permitted radial load {pulley.permitted_radial_n:.4g} N of the shaft, two strands at "
        f"{math.degrees(pulley.wrap_rad):.0f} deg of wrap",
        "the motor's or bearing's own figure",
    )


def openers(bounds: Range, demand: Demand | None, allowable: Bound | None) -> tuple[str, ...]:
    """Return what would open an empty range, in words with numbers; nothing if it is open."""
    low, high = bounds.low, bounds.high
    if not bounds.empty or low is None or high is None:
        return ()
    if high.kind == "own limit":
        return (f"a limit of your own above {low.newtons:.4g} N",)
    ways: list[str] = []
    if high.kind == "shaft" and demand is not None and demand.pulley is not None:
        needed = low.newtons * demand.pulley.shaft_per_strand
        ways.append(
            f"a motor that permits {needed:.4g} N of radial load, or a bearing beyond the pulley"
        )
    if high.kind == "allowable" and allowable is not None:
        ways += _stronger_belt(low, demand, allowable)
    if low.kind == "seating":
        return (*ways, "less width to seat: a finer profile")
    return (*ways, *_less_pull(high, demand, allowable))


def _stronger_belt(low: Bound, demand: Demand | None, allowable: Bound) -> list[str]:
    """Say how much wider a belt must be; its seating minimum grows with it."""
    pull = 0.0 if demand is None else demand.peripheral_n
    if low.kind == "seating":
        spare = allowable.newtons - low.newtons
        times = pull / spare if spare > 0 else math.inf
    else:
        times = (low.newtons + pull) / allowable.newtons
    wider = f"a belt {times:.3g} times as wide, or " if math.isfinite(times) else ""
    return [f"{wider}a stronger profile or cord"]


def _less_pull(high: Bound, demand: Demand | None, allowable: Bound | None) -> tuple[str, ...]:
    """Name the acceleration below which the range opens, if less of it can open it."""
    if demand is None:
        return ()
    inertia = dict(demand.parts).get("acceleration", 0.0)
    if not inertia:
        process = dict(demand.parts).get("process force", 0.0)
        less = "process force" if process else "torque, or a larger pulley for the same torque"
        return (f"less {less}",)
    share = demand.slack_share + demand.rest_share
    if high.kind == "allowable" and allowable is not None:
        bearable = (allowable.newtons - demand.running_n) / (1 + share)
    else:
        bearable = (high.newtons - demand.running_n) / share
    kept = inertia - (demand.peripheral_n - bearable)
    if kept <= 0:
        return ("less process force or friction: less acceleration alone does not open it",)
    lower = demand.acceleration_m_per_s2 * kept / inertia
    return (f"less acceleration: below {lower:.3g} m/s^2",)


def duty_marks(demand: Demand) -> tuple[ReferenceValue, ...]:
    """Return what stands on the ruler for this duty: the printed rules and the motor's pull."""
    pull = demand.peripheral_n
    marks = []
    if demand.drive == "rotary":
        marks += [
            ReferenceValue(
                f"slack strand at {share:.0%} of the pull",
                (HALF + share) * pull + demand.running_n,
                PRACTICE,
                PRACTICE,
            )
            for share in SLACK_OF_PULL
        ]
    elif demand.drive != "closed":
        marks.append(
            ReferenceValue("printed rule: preload equal to the pull", pull, ELATECH, "maker")
        )
    if demand.motor_n is not None:
        marks.append(
            ReferenceValue(
                "all the motor can pull", demand.motor_n, "torque over pulley radius", "derived"
            )
        )
    return tuple(marks)


def duty_warnings(demand: Demand, working_tension_n: float | None) -> tuple[str, ...]:
    """Return what is wrong with a duty beside its range: life, mesh, motor, shaft."""
    found = []
    pull, pulley = demand.peripheral_n, demand.pulley
    factor = 1.0 if pulley is None else pulley.mesh_factor
    if pulley is not None and pulley.mesh < FULL_MESH:
        found.append(
            f"only {pulley.mesh} teeth are in mesh: the belt carries {factor:.0%} of its rating"
        )
    if working_tension_n is not None and pull > factor * working_tension_n:
        found.append(
            f"the pull of {pull:.4g} N is above the {factor * working_tension_n:.4g} N this belt "
            "carries for life: it will wear sooner"
        )
    if demand.motor_n is not None and pull > demand.motor_n * (1 + 1e-9):
        found.append(
            f"the motor can pull {demand.motor_n:.4g} N on a belt and the duty asks "
            f"{pull:.4g} N: it would stall or lose steps"
        )
    peak = demand.shaft_peak_n
    permitted = None if pulley is None else pulley.permitted_radial_n
    if permitted is not None and peak is not None and peak > permitted:
        found.append(
            f"at full pull the shaft carries {peak:.4g} N for a moment, above the permitted "
            f"{permitted:.4g} N; the range counts the load at rest"
        )
    return tuple(found)
