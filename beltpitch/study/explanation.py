"""What the mechanics of the axis expect of a trial, to stand beside what the trials show.

Where the slack strand goes slack at full pull (`duty`), how stiff the axis is and what a reversal
loses to the friction of the rails (`axis`), and how far the carriage gives under the full pull:
F/k while both strands are taut, then only the tight strand pulls. So above the tension where the
slack strand stays taut the belt's own share of an error does not change with tension; what changes
there comes from elsewhere: teeth that seat, bearings that drag, a frame that gives, a screw that is
loose.

Conventions: newtons, metres; one tension for each belt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beltpitch.advice.axis import Layout, along_travel, lost_motion, stiffness, stretch
from beltpitch.advice.axis import Load as AxisLoad
from beltpitch.advice.duty import Demand
from beltpitch.study.judgement import Finding
from beltpitch.study.trials import Field

POINTS = 41
# Words in a measure's name that mean the axis lags at a reversal.
REVERSAL_WORDS = ("lost motion", "reversal", "backlash", "hysteresis")
METRES = {"um": 1e-6, "µm": 1e-6, "mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254}
MUCH = 2.0  # times what the belt alone explains: something else adds to it
NEAR = 0.15  # of the window: two tensions that are as good as one


@dataclass(frozen=True, slots=True)
class Expectation:
    """What the mechanics expect.

    Parameters
    ----------
    slack_n
        Preload below which a strand goes slack at full pull.
    pull_n
        That pull, on one belt.
    stiffness_n_per_m
        Of the axis at its softest place, and at its stiffest; None without lengths and EA.
    lost_m
        Lost motion at a reversal at the softest place; None without friction.
    give_m
        Table of (tension, how far the carriage gives under full pull at the softest place).
    missing
        What is not known and would tell more, in words.
    """

    slack_n: float
    pull_n: float
    stiffness_n_per_m: tuple[float, float] | None
    lost_m: float | None
    give_m: tuple[tuple[float, float], ...]
    missing: tuple[str, ...]


def expectation(
    demand: Demand | None, layout: Layout | None, ea_n: float | None, field: Field
) -> Expectation | None:
    """Return what the mechanics expect over a window; None where no duty is known."""
    if demand is None:
        return None
    missing = []
    if layout is None:
        missing.append("the belt's lengths (loop, near, travel)")
    if ea_n is None:
        missing.append("the belt's stiffness EA")
    if not demand.friction_n:
        missing.append("the friction of the rails")
    if layout is None or ea_n is None:
        return Expectation(demand.least_n, demand.peripheral_n, None, None, (), tuple(missing))
    load = AxisLoad(demand.peripheral_n * demand.belts, demand.friction_n or None, demand.mass_kg)
    points = along_travel(layout, ea_n, field.low_n, load, belts=demand.belts)
    soft = min(points, key=lambda p: p.stiffness_n_per_m)
    hard = max(points, key=lambda p: p.stiffness_n_per_m)
    k = stiffness(ea_n, soft.strands_m, demand.belts)
    give = tuple(
        (float(t), stretch(demand.peripheral_n, float(t), ea_n, soft.strands_m))
        for t in np.linspace(field.low_n, field.high_n, POINTS)
    )
    return Expectation(
        slack_n=demand.least_n,
        pull_n=demand.peripheral_n,
        stiffness_n_per_m=(soft.stiffness_n_per_m, hard.stiffness_n_per_m),
        lost_m=lost_motion(demand.friction_n, k) if demand.friction_n else None,
        give_m=give,
        missing=tuple(missing),
    )


def expected_words(expected: Expectation, field: Field) -> tuple[str, ...]:
    """Return the expectation in sentences."""
    taut = expected.slack_n <= field.low_n
    said = [
        f"at the full pull of {expected.pull_n:.3g} N a strand goes slack below "
        f"{expected.slack_n:.3g} N"
        + (": both strands stay taut over the whole window" if taut else "")
    ]
    if expected.stiffness_n_per_m is not None:
        soft, hard = (k / 1e3 for k in expected.stiffness_n_per_m)
        said.append(
            f"while both are taut the axis is as stiff at every tension: {_three(soft)} N/mm where "
            f"it is softest, {_three(hard)} where stiffest"
        )
    if expected.lost_m is not None:
        said.append(
            f"a reversal loses {expected.lost_m * 1e6:.3g} um to the friction of the rails, at "
            "every tension while both strands are taut; drag that grows with tension adds to it"
        )
    if expected.missing:
        said.append(f"more could be said with {', '.join(expected.missing)}")
    return tuple(said)


def _three(value: float) -> str:
    """Return a number to three figures, without a power of ten."""
    return f"{float(f'{value:.3g}'):g}"


def compared(expected: Expectation, finding: Finding, field: Field) -> tuple[str, ...]:
    """Return whether the machine behaves as belts do, in sentences."""
    return tuple(w for w in (_shape(expected, finding, field), _size(expected, finding)) if w)


def _shape(expected: Expectation, finding: Finding, field: Field) -> str:
    name, slack = finding.measure.name, expected.slack_n
    inside = field.low_n < slack < field.high_n
    if finding.word == "flat":
        if inside and finding.range_n[0] < slack:
            return (
                f"{name} does not change where the slack strand should go slack ({slack:.3g} N): "
                "the real pull is smaller than the duty says, or this measure does not feel it"
            )
        return f"{name} does not change with tension, as belts do while both strands stay taut"
    if finding.word in ("optimum", "upper edge") and inside:
        near = finding.best_n >= slack - NEAR * field.width_n
        if near:
            return (
                f"{name} is worse below about {slack:.3g} N, where the slack strand goes slack: "
                "as belts do"
            )
        return (
            f"{name} is best at {finding.best_n:.1f} N although a strand goes slack below "
            f"{slack:.3g} N at full pull: the cuts tried may pull less than the duty says"
        )
    if finding.word in ("optimum", "upper edge"):
        return (
            f"{name} is worse at low tension although both strands stay taut there: not the "
            "belt's stretch; look for teeth that do not seat, a loose pulley screw, a pull larger "
            "than the duty says"
        )
    if finding.word == "lower edge":
        return (
            f"{name} grows worse with tension: belts do that by dragging their bearings; look at "
            "bearings and shafts if it is much"
        )
    return ""


def _size(expected: Expectation, finding: Finding) -> str:
    """Compare the size of a lost motion in a unit of length with what the belt explains."""
    unit = METRES.get(finding.measure.unit)
    name = finding.measure.name.casefold()
    if unit is None or expected.lost_m is None or not any(w in name for w in REVERSAL_WORDS):
        return ""
    best = float(finding.curve(np.array([finding.best_n]))[0]) * unit
    if best > MUCH * expected.lost_m:
        return (
            f"{finding.measure.name} at its best is {best * 1e6:.3g} um, the belt explains "
            f"{expected.lost_m * 1e6:.2g} um: most of it is something else, such as a loose pulley "
            "screw, rails with play, a nut or bearing"
        )
    return (
        f"{finding.measure.name} at its best is {best * 1e6:.3g} um, about what the belt explains "
        f"({expected.lost_m * 1e6:.2g} um)"
    )


def sentence(found: Finding) -> str:
    """Return what was found in one sentence, and what to do."""
    said = {
        "optimum": _optimum,
        "upper edge": _edge,
        "lower edge": _edge,
        "hump": _hump,
        "flat": _flat,
        "noisy": _noisy,
    }
    return said[found.word](found)


def _at(found: Finding, tension_n: float) -> str:
    return found.measure.value(float(found.curve(np.array([tension_n]))[0]))


def _optimum(found: Finding) -> str:
    assert found.interval_n is not None
    low, high = found.interval_n
    first, last = found.range_n
    return (
        f"{found.measure.name} is best at {found.best_n:.1f} N (95 %: {low:.1f} to {high:.1f} N): "
        f"{_at(found, found.best_n)} there, {_at(found, first)} at {first:.1f} N and "
        f"{_at(found, last)} at {last:.1f} N"
    )


def _edge(found: Finding) -> str:
    upper = found.word == "upper edge"
    edge = found.range_n[1 if upper else 0]
    rule, kind = found.end_rules[1 if upper else 0], found.end_kinds[1 if upper else 0]
    where = "upper" if upper else "lower"
    moves = {"smaller": "falling", "larger": "rising", "target": "nearing its target"}
    still = f"{found.measure.name} is still {moves[found.measure.goal]} at the"
    if kind == "tried":
        turn = "goes on: try beyond it" if upper else "goes on below: try there"
        return f"{still} {where} end of what was tried, {edge:.1f} N; the window {turn}"
    if found.best_n != edge:
        return (
            f"{found.measure.name} is surest at about {found.best_n:.1f} N so far, but the trials "
            f"do not rule out that it goes on getting better to the {where} edge, {edge:.1f} N"
        )
    ends = {"allowable": "which is the allowable", "seating": "which seats the teeth"}
    why = ends.get(kind, rule or "the end of the range")
    return f"{still} {where} edge, {edge:.1f} N, {why}: {'stop' if upper else 'stay'} here"


def _hump(found: Finding) -> str:
    return (
        f"{found.measure.name} is worst in the middle of the range: no best tension inside; of "
        f"the two ends {found.best_n:.1f} N is the better"
    )


def _flat(found: Finding) -> str:
    low, high = found.range_n
    return (
        f"{found.measure.name} is flat between {low:.1f} and {high:.1f} N, as far as these trials "
        f"tell (a difference of {found.measure.value(found.seen, 2)} would have shown): take the "
        "lower for the bearings' sake"
    )


def _noisy(found: Finding) -> str:
    return (
        f"{found.measure.name} is too noisy to tell (scatter {_scatter(found)}): {found.more} more "
        f"at {found.best_n:.1f} N would"
    )


def _scatter(found: Finding) -> str:
    return found.measure.value(found.quadratic.scatter, 2)


def method_words(found: Finding) -> str:
    """Return which curve was used and why."""
    return found.why


def shared_words(found: Finding) -> str:
    """Return what the shared error does to the optimum; empty where there is none."""
    whole = found.whole_interval_n
    if not found.shared.u:
        return ""
    names = ", ".join(found.shared.names)
    share = f"all tensions of this study share an error of {found.shared.u:.1%} (u; {names})"
    if whole is None:
        return f"{share}: it shifts the whole axis, and does not matter while you set by the same"
    return (
        f"{share}: it shifts the whole axis; as an absolute tension the best lies between "
        f"{whole[0]:.1f} and {whole[1]:.1f} N, but set by the same belt, span and tape it does "
        "not matter"
    )


def doubts(found: Finding, without: Finding | None) -> tuple[str, ...]:
    """Return what is to be said beside the finding: method, shared error, outliers, scatter.

    Parameters
    ----------
    found
        What was found.
    without
        What would be found without the outliers; None if there are none or nothing then.
    """
    said = [found.why]
    shared = shared_words(found)
    if shared:
        said.append(shared)
    for one in found.outliers:
        said.append(
            f"trial {one.number} ({found.measure.value(one.result)} at {one.tension_n:.1f} N) "
            f"stands {one.off:.1f} of its errors off the others; it was left in: look at it, and "
            'write "yes" under "leave out" if something went wrong with it'
        )
    if without is not None:
        said.append(f"without it: {sentence(without)}")
    return tuple(said)
