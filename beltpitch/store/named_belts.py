"""What a belt's name in the machine file stands for: belt, span, window, tensioner.

By the same rules and defaults as the command line's options (`beltpitch.parsing`). Two belts cut
from one roll share the error of its linear mass: so do belts of one catalogue name, unless `roll`
or a weighed figure of their own tells them apart. What the teeth of a parked pulley do to a span is
one belt's own at one park.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import radians

from beltpitch import parsing
from beltpitch import units as q
from beltpitch.advice.axis import Layout
from beltpitch.advice.duty import Demand, Motion, Pulley, Rotation, linear_demand, rotary_demand
from beltpitch.advice.limits import limits_of
from beltpitch.advice.tensioner import Tensioner, lead_m
from beltpitch.advice.window import OWN_TARGET, WITHIN, Windows, windows
from beltpitch.belts.catalogue import Belt
from beltpitch.belts.span import Span
from beltpitch.errors import RequestError
from beltpitch.setup.strung_belt import tension_given
from beltpitch.store.entries import USUAL_WRAP, BeltEntry, DutyEntry, TensionerEntry
from beltpitch.uncertainty import Estimate, Part


@dataclass(frozen=True, slots=True)
class NamedBelt:
    """What a belt's name stands for, ready to measure with.

    Parameters
    ----------
    entry
        As written.
    machine
        Name of the machine.
    belt, span, other_span
        What is plucked; a span is None where the file has none.
    windows
        The recommended preload with its reasons; ``windows.verdict`` judges a reading.
    demand
        What the axis asks; None where no duty is known.
    tensioner, loop_m
        What tightens it, and the length of belt under tension; None where not written.
    echoes
        Defaults that were taken, to be shown.
    """

    entry: BeltEntry
    machine: str
    belt: Belt
    span: Span | None
    other_span: Span | None
    windows: Windows
    demand: Demand | None
    tensioner: Tensioner | None
    loop_m: float | None
    echoes: tuple[str, ...]

    @property
    def name(self) -> str:
        """What the belt is called."""
        return self.entry.name


# --- from an entry to records -------------------------------------------------------------------


def named(entry: BeltEntry, machine: str, duty: DutyEntry | None = None) -> NamedBelt:
    """Return what an entry stands for.

    Parameters
    ----------
    entry
        As written.
    machine
        Name of the machine.
    duty
        Of its axis; None if unknown.

    Raises
    ------
    RequestError
        If its texts do not make a belt, a span or a window.
    """
    belt = belt_of(entry)
    demand = None if duty is None else _demand(duty, entry, belt)
    target = None
    if entry.target is not None:
        share = q.parse(entry.within or WITHIN, q.PERCENT, option="within").value
        target = (tension_given(entry.target, belt, "target"), share)
    limit = None if entry.limit is None else tension_given(entry.limit, belt, "limit")
    limits = limits_of(belt, joined=entry.joined)
    span = _span(machine, entry, belt)
    return NamedBelt(
        entry=entry,
        machine=machine,
        belt=belt,
        span=span,
        other_span=parsing.other_span(entry.second_span, span, belt, ends=entry.ends),
        windows=windows(
            limits,
            demand,
            target=target,
            own_limit_n=limit,
            target_source=entry.target_from or OWN_TARGET,
            default_tolerance=entry.within is None,
        ),
        demand=demand,
        tensioner=_tensioner(entry.tensioner),
        loop_m=_si(entry.loop, q.LENGTH, "loop"),
        echoes=(
            *parsing.echoes(entry.span, entry.linear_mass, entry.bending_stiffness, entry.target),
            *belt.notes,
        ),
    )


def belt_of(entry: BeltEntry) -> Belt:
    """Return the belt of an entry, its linear mass keyed by its roll.

    Raises
    ------
    RequestError
        If the texts do not make a belt.
    """
    if entry.belt is None and entry.linear_mass is None:
        raise RequestError(
            f'{entry.name} has no belt: write belt = "2GT 9 mm", or linear_mass = "12.6 g/m" '
            'with width = "9 mm"'
        )
    made = parsing.belt(
        entry.belt,
        width=entry.width,
        linear_mass=entry.linear_mass,
        construction=entry.construction,
        bending_stiffness=entry.bending_stiffness,
    )
    # one roll, one error; of belts with a figure of their own only like figures are one weighing
    roll = entry.roll or entry.linear_mass
    if roll is None:
        return made
    mass = made.linear_mass
    parts = tuple(Part(p.name, _roll_key(p.key, made.name, roll), p.u, p.dof) for p in mass.parts)
    return replace(made, linear_mass=Estimate(mass.value, parts))


def _roll_key(key: str, belt: str, roll: str) -> str:
    if not key.startswith("roll:"):
        return key
    return f"roll:{belt}, {roll}" + ("/width" if key.endswith("/width") else "")


def _span(machine: str, entry: BeltEntry, belt: Belt) -> Span | None:
    if entry.span is None:
        return None
    limit = parsing.strand_limit(
        entry.strand_limit,
        detent=entry.detent,
        teeth=entry.pulley_teeth,
        friction=entry.rail_friction,
        belt=belt,
    )
    key = f"contact:{machine}/{entry.name}/{entry.park or entry.span}"
    return parsing.span(entry.span, belt, ends=entry.ends, strand_limit=limit, contact_key=key)


def _tensioner(entry: TensionerEntry | None) -> Tensioner | None:

    if entry is None:
        return None
    return Tensioner(
        pull=entry.pull,
        lead_m=lead_m(entry.lead, option="lead"),
        wrap_rad=radians(q.positive(entry.wrap, q.ANGLE, option="wrap").value),
        frame_n_per_m=_si(entry.frame, q.STIFFNESS, "frame"),
    )


def _demand(duty: DutyEntry, entry: BeltEntry, belt: Belt) -> Demand:
    pulley = _pulley(duty, belt)
    if duty.drive == "rotary":
        if pulley is None:
            raise RequestError(f"the duty {duty.name} needs its pulley: write teeth = 20")
        return rotary_demand(_rotation(duty, belt), pulley)
    return linear_demand(
        duty.drive,
        _motion(duty),
        pulley=pulley,
        layout=layout_of(duty, entry),
        motor_torque_nm=_si(duty.torque, q.TORQUE, "torque"),
    )


def _pulley(duty: DutyEntry, belt: Belt) -> Pulley | None:

    if duty.teeth is None or belt.pitch_m is None:
        return None
    turn = duty.wrap or USUAL_WRAP
    return Pulley(
        teeth=duty.teeth,
        pitch_m=belt.pitch_m,
        wrap_rad=radians(q.positive(turn, q.ANGLE, option="wrap").value),
        in_mesh=duty.mesh,
        permitted_radial_n=_si(duty.radial, q.FORCE, "radial"),
    )


def _motion(duty: DutyEntry) -> Motion:

    return Motion(
        mass_kg=_si(duty.mass, q.MASS, "mass") or 0.0,
        acceleration_m_per_s2=_si(duty.acceleration, q.ACCELERATION, "acceleration") or 0.0,
        process_force_n=_si(duty.force, q.FORCE, "force") or 0.0,
        friction_n=_si(duty.friction, q.FORCE, "friction") or 0.0,
        slope_rad=radians(_si(duty.slope, q.ANGLE, "slope") or 0.0),
        belts=duty.belts,
        cross_mass_kg=_si(duty.cross_mass, q.MASS, "cross_mass"),
    )


def _rotation(duty: DutyEntry, belt: Belt) -> Rotation:
    return Rotation(
        torque_nm=_si(duty.torque, q.TORQUE, "torque"),
        power_w=_si(duty.power, q.POWER, "power"),
        turns_per_s=_si(duty.speed, q.ROTATION, "speed"),
        service_factor=duty.service_factor,
        linear_mass_kg_per_m=belt.linear_mass.value,
    )


def layout_of(duty: DutyEntry, entry: BeltEntry) -> Layout | None:
    """Return the belt's lengths; None where one of them is not written."""
    loop = _si(entry.loop, q.LENGTH, "loop")
    near, travel = _si(duty.near, q.LENGTH, "near"), _si(duty.travel, q.LENGTH, "travel")
    if loop is None or near is None or travel is None:
        return None
    return Layout(loop, near, travel)


def _si(text: str | None, kind: q.Kind, key: str) -> float | None:
    return None if text is None else q.parse(text, kind, option=key).value
