"""What the plan must say about gear: nobody reaches, kit due, technique lost."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from evac.facts.finding import Finding, Severity
from evac.facts.heights import UnitHeights
from evac.facts.lift import Kit, Lift
from evac.facts.work import Option, Reach
from evac.gear.choices import is_overdue, is_retired, refusals, spare_kits
from evac.gear.reach import LADDER, unit_name
from evac.gear.rope_needed import whole_metres
from evac.words import Words

DUE_SOON_DAYS = 30
THROW_WIND_DOUBT_M_PER_S = 12.0
"""Above this wind getting a line over the rope is in doubt (rule 27)."""

LADDER_SNOW_M = 0.3
"""Above this snow a ladder's footing is in doubt (common practice, no source)."""

SNOW_MARGIN_M = 3.0
"""A wider margin says that no height can be trusted, which is told for itself: it names
no seat as hanging in the snow (common practice, no source)."""

_LOST = {
    "crew": Severity.WARN,
    "direction": Severity.WARN,
    "not_approved": Severity.WARN,
    "carrier": Severity.NOTE,
    "outside_help": Severity.NOTE,
}


def doubts(
    lift: Lift,
    options: Sequence[Option],
    units: Sequence[UnitHeights],
    reaches: Sequence[Reach],
    *,
    date: dt.date | None = None,
) -> tuple[Finding, ...]:
    """Findings about gear, the gravest kinds first.

    Parameters
    ----------
    lift : Lift
    options, units, reaches
        As given to and returned by :func:`evac.gear.find_reaches`.
    date : dt.date, optional
        Day to which due dates are counted; the planned day if left out.

    Returns
    -------
    tuple of Finding
    """
    day = date or lift.conditions.date
    return (
        *_unreached(options, units, reaches),
        *_idle_teams(lift, options),
        *_kit_dates(lift, day),
        *_lost(lift),
        *_spares(lift, day),
        *_weather(lift, options),
        *_seats_in_snow(lift, units),
        *_approvals(lift, options),
        *_energy_classes(lift, options),
    )


def _unreached(
    options: Sequence[Option], units: Sequence[UnitHeights], reaches: Sequence[Reach]
) -> list[Finding]:
    findings = []
    for unit in units:
        here = [
            reach
            for reach in reaches
            if reach.side == unit.side and reach.span_index == unit.span_index
        ]
        # Heights that are not known are told by the heights' own finding.
        if not unit.known or any(reach.ok for reach in here):
            continue
        where = unit_name(unit.side, unit.span_id)
        if not here:
            findings.append(
                Finding(key="gear.no_option", severity=Severity.STOP, where=where)
            )
            continue
        best = max(here, key=_nearness)
        option = next(item for item in options if item.index == best.option_index)
        values: dict[str, str | float | int] = {
            "team": option.team,
            "kit": option.kit,
            "technique": option.technique,
            "height_m": best.height_m,
            "margin_m": best.margin_m,
            "needed_m": whole_metres(best.rope_needed_m),
            "have_m": best.rope_have_m,
        }
        findings.append(
            Finding(
                key=f"gear.unreached_{best.limit}",
                severity=Severity.STOP,
                where=where,
                values=values,
            )
        )
    return findings


def _nearness(reach: Reach) -> tuple[int, float]:
    """Which of the options that fail comes nearest to reaching."""
    by_length = reach.limit in ("rope", "throw", "seat")
    return (2 if by_length else 1, reach.rope_have_m - reach.rope_needed_m)


def _idle_teams(lift: Lift, options: Sequence[Option]) -> list[Finding]:
    able = {option.team for option in options}
    return [
        Finding(key="gear.idle_team", severity=Severity.WARN, where=team.id)
        for team in lift.teams
        if team.id not in able
    ]


def _kit_dates(lift: Lift, day: dt.date) -> list[Finding]:
    undated = [
        kit.id
        for kit in lift.kits
        if kit.inspection_due is None and not is_retired(kit, date=day)
    ]
    findings = _listed("gear.no_inspection", Severity.NOTE, undated)
    for kit in lift.kits:
        if is_retired(kit, date=day):
            findings.append(_dated("gear.retired", Severity.WARN, kit, kit.retire_on))
            continue
        due = kit.inspection_due
        if due is None:
            continue
        if is_overdue(kit, date=day):
            findings.append(_dated("gear.overdue", Severity.WARN, kit, due))
        elif (due - day).days <= DUE_SOON_DAYS:
            findings.append(_dated("gear.due_soon", Severity.NOTE, kit, due))
    return findings


def _dated(key: str, severity: Severity, kit: Kit, day: dt.date | None) -> Finding:
    return Finding(
        key=key,
        severity=severity,
        where=kit.id,
        values={
            "day": day.isoformat() if day else "",
            "team": kit.team or Words().say("gear.spare"),
        },
    )


def _lost(lift: Lift) -> list[Finding]:
    crews = {team.id: team.crew for team in lift.teams}
    least = {technique.id: technique.min_crew for technique in lift.techniques}
    approval = {technique.id: technique.approval for technique in lift.techniques}
    return [
        Finding(
            key=f"gear.lost_{refusal.key}",
            severity=_LOST[refusal.key],
            where=refusal.team,
            values={
                "technique": refusal.technique,
                "crew": crews[refusal.team],
                "min_crew": least[refusal.technique],
                "approval": approval[refusal.technique],
            },
        )
        for refusal in refusals(lift)
    ]


def _spares(lift: Lift, day: dt.date) -> list[Finding]:
    kits = {kit.id: kit for kit in lift.kits}
    return [
        Finding(
            key="gear.spare",
            severity=Severity.WARN,
            where=team,
            values={
                "kit": kit,
                "stored_at": kits[kit].stored_at or Words().say("gear.store"),
            },
        )
        for kit, team in spare_kits(lift, date=day).items()
    ]


def _weather(lift: Lift, options: Sequence[Option]) -> list[Finding]:
    used = {option.technique for option in options}
    strongest = max(lift.conditions.wind_m_per_s, lift.conditions.gust_m_per_s)
    findings = []
    for technique in lift.techniques:
        if technique.id not in used:
            continue
        limit = technique.wind_limit_m_per_s
        if technique.needs_line_over_rope:
            limit = min(limit, THROW_WIND_DOUBT_M_PER_S)
        if strongest > limit:
            findings.append(
                Finding(
                    key="gear.wind",
                    severity=Severity.WARN,
                    where=technique.id,
                    values={
                        "wind_m_per_s": lift.conditions.wind_m_per_s,
                        "gust_m_per_s": lift.conditions.gust_m_per_s,
                        "limit_m_per_s": limit,
                    },
                )
            )
        if technique.kind == LADDER and lift.conditions.snow_most_m > LADDER_SNOW_M:
            findings.append(
                Finding(
                    key="gear.ladder_snow",
                    severity=Severity.WARN,
                    where=technique.id,
                    values={"snow_m": lift.conditions.snow_most_m},
                )
            )
    return findings


def _seats_in_snow(lift: Lift, units: Sequence[UnitHeights]) -> list[Finding]:
    """Units whose lowest carriers may hang in the deepest snow of the plan."""
    snow_m = lift.conditions.snow_most_m
    # NaN (a height that is not known, told by its own finding) is no such unit.
    low = [
        unit
        for unit in units
        if unit.seat_least_m - min(unit.margin_m, SNOW_MARGIN_M) - snow_m <= 0
    ]
    if not snow_m > 0 or not low:
        return []
    last = len(lift.supports) - 2
    at_stations = all(unit.span_index in (0, last) for unit in low)
    values: dict[str, str | float | int] = {
        "snow_m": snow_m,
        "units": ", ".join(unit_name(unit.side, unit.span_id) for unit in low),
        "least_m": min(unit.seat_least_m for unit in low),
    }
    # Snow is cleared where carriers come down to a platform (common practice).
    severity = Severity.NOTE if at_stations else Severity.WARN
    return [Finding(key="gear.seat_in_snow", severity=severity, values=values)]


def _approvals(lift: Lift, options: Sequence[Option]) -> list[Finding]:
    used = {option.technique for option in options}
    return [
        Finding(key="gear.no_approval", severity=Severity.WARN, where=technique.id)
        for technique in lift.techniques
        if technique.id in used and not technique.approval.strip()
    ]


def _energy_classes(lift: Lift, options: Sequence[Option]) -> list[Finding]:
    lowering = {t.id for t in lift.techniques if t.per_attachment_height > 0}
    used = {option.kit for option in options if option.technique in lowering}
    return _listed(
        "gear.no_energy_class",
        Severity.NOTE,
        [k.id for k in lift.kits if k.id in used and k.descent_energy_j is None],
    )


def _listed(key: str, severity: Severity, names: list[str]) -> list[Finding]:
    """One finding for all the things that share it."""
    if not names:
        return []
    return [Finding(key=key, severity=severity, values={"kits": ", ".join(names)})]
