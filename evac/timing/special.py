"""Passengers who need more time or other kit than the usual one (rule 19)."""

from __future__ import annotations

from collections.abc import Sequence

from evac.facts.finding import Finding, Severity
from evac.facts.lift import Kit, Lift, StepTime, Technique
from evac.facts.work import Option, SpecialPassenger
from evac.gear import technique_of
from evac.timing.steps import adds_for_child, adds_for_incapacitated, day_factor

HEAVY_KG = 130.0
"""A very heavy passenger with clothing (common practice, no source)."""

CANNOT_HELP = ("unconscious", "infant", "sit_ski")
"""These are picked off by a rescuer at the carrier; nobody hangs waiting."""

HEAVY = "very_heavy"
NEEDS_CALM = ("child_alone", HEAVY, "deaf", "blind")
"""These take the table's time for a child or a nervous or bulky passenger."""

NEEDS_NOTHING = ("no_skis",)
"""These are lowered as usual and need somebody on the ground."""


def special_passengers(
    lift: Lift, options: Sequence[Option]
) -> tuple[SpecialPassenger, ...]:
    """Every category with the seconds it adds and the options that serve it.

    Parameters
    ----------
    lift : Lift
        Its step times: rows "add for an incapacitated passenger" and "add for a child
        or a nervous or bulky passenger". A technique without the row takes that of
        the technique that states the longest.
    options : sequence of Option
        From :func:`evac.gear.options`.
    """
    found = []
    for key in (*CANNOT_HELP, *NEEDS_CALM, *NEEDS_NOTHING):
        fit = [o for o in options if _serves(lift, o, key)]
        techniques = dict.fromkeys(option.technique for option in fit)
        found.append(
            SpecialPassenger(
                key=key,
                extra_s={
                    name: _extra_s(lift, technique_of(lift, name), key)
                    for name in techniques
                },
                options=tuple(option.index for option in fit),
            )
        )
    return tuple(found)


def special_doubts(lift: Lift, options: Sequence[Option]) -> tuple[Finding, ...]:
    """Kinds of passengers that nobody at all can serve, those who cannot help in one.

    Without any option nobody can be served, which the findings on gear say. Kits that
    state no rated load are named: nobody knows what they hold.
    """
    if not options:
        return ()
    unserved = {p.key for p in special_passengers(lift, options) if not p.options}
    findings = []
    if unserved & set(CANNOT_HELP):
        findings.append(Finding(key="timing.nobody_lifts", severity=Severity.WARN))
    if HEAVY in unserved:
        findings.append(
            Finding(
                key="timing.nobody_heavy",
                severity=Severity.WARN,
                values={"mass_kg": HEAVY_KG},
            )
        )
    used = {option.kit for option in options}
    unrated = [k.id for k in lift.kits if k.id in used and k.rated_most_kg is None]
    if unrated:
        findings.append(
            Finding(
                key="timing.unrated",
                severity=Severity.NOTE,
                values={
                    "kits": ", ".join(unrated),
                    "count": len(unrated),
                    "mass_kg": HEAVY_KG,
                },
            )
        )
    return tuple(findings)


def _serves(lift: Lift, option: Option, key: str) -> bool:
    technique = technique_of(lift, option.technique)
    if key in CANNOT_HELP:
        return technique.incapacitated
    if key == HEAVY:
        kit = next(item for item in lift.kits if item.id == option.kit)
        return _holds(kit)
    return True


def _holds(kit: Kit) -> bool:
    """Whether a kit is known to hold such a passenger; a blank is no load at all."""
    return kit.rated_most_kg is not None and kit.rated_most_kg >= HEAVY_KG


def _extra_s(lift: Lift, technique: Technique, key: str) -> float:
    if key in NEEDS_NOTHING:
        return 0.0
    adds = adds_for_incapacitated if key in CANNOT_HELP else adds_for_child
    rows = [row for row in lift.step_times if adds(row)]
    own = [row for row in rows if row.technique == technique.kind]
    factor = day_factor(lift.conditions)
    return factor * max((_likely(row) for row in own or rows), default=0.0)


def _likely(row: StepTime) -> float:
    return row.seconds.likely
