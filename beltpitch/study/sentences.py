"""What a finding says, in sentences for the person at the machine."""

from __future__ import annotations

import numpy as np

from beltpitch.study.judgement import Finding


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
