"""What the plan must say about evacuees on the ground."""

from __future__ import annotations

from collections.abc import Mapping

from evac.access.doubts import crossed_off_way, hazard_name
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Line
from evac.facts.lift import IN_SAFETY, Lift, Side
from evac.facts.work import Route, Work
from evac.muster.care import (
    LANDING_CLASSES,
    cut_off,
    find_care,
    landing_class,
    landing_slope_deg,
)

LONG_WALK_S = 3600.0
"""A walk to muster that the plan points out (common practice, no source)."""


def doubts(
    lift: Lift,
    line: Line,
    ways: Mapping[int, Route],
    points: Mapping[int, str],
    *,
    work: Work | None = None,
) -> tuple[Finding, ...]:
    """Spans without a way out, full shelters, missing receivers, steep landings.

    Parameters
    ----------
    lift : Lift
    line : Line
    ways, points
        From :func:`evac.muster.find_ways`.
    work : Work, optional
        For the people that each muster point takes in.
    """
    return (
        *_ways_out(lift, line, ways, lost=cut_off(work, points) if work else ()),
        *(_shelter(lift, work, ways, points) if work is not None else ()),
        *_landings(line),
    )


def _ways_out(
    lift: Lift, line: Line, ways: Mapping[int, Route], *, lost: tuple[int, ...]
) -> list[Finding]:
    if not lift.muster_points:
        return [Finding(key="muster.none", severity=Severity.WARN)]
    findings = []
    without = [span.id for span in line.spans if span.index not in ways]
    if without:
        unknown = bool(lost) and _counts_safe(lift)
        findings.append(
            Finding(
                key="muster.cut_off",
                severity=Severity.STOP if unknown else Severity.WARN,
                values={"spans": ", ".join(without)},
            )
        )
    waits = [
        span
        for span in line.spans
        if span.index in ways and ways[span.index].not_before_s is not None
    ]
    if waits:
        opens = [ways[span.index].not_before_s for span in waits]
        findings.append(
            Finding(
                key="muster.waits",
                severity=Severity.WARN,
                values={
                    "spans": ", ".join(span.id for span in waits),
                    "likely_s": max(item.likely for item in opens if item),
                    "high_s": max(item.high for item in opens if item),
                },
            )
        )
    far = [
        span
        for span in line.spans
        if span.index in ways and ways[span.index].seconds > LONG_WALK_S
    ]
    if far:
        worst = max(far, key=lambda span: ways[span.index].seconds)
        findings.append(
            Finding(
                key="muster.long_walk",
                severity=Severity.WARN,
                values={
                    "spans": ", ".join(span.id for span in far),
                    "longest_s": ways[worst.index].seconds,
                    # True of each of the spans, whichever of them a sheet names.
                    "least_s": LONG_WALK_S,
                },
            )
        )
    crossed = {
        span.id: crossed_off_way(lift, ways[span.index])
        for span in line.spans
        if span.index in ways
    }
    if any(crossed.values()):
        names = [hazard_name(item) for found in crossed.values() for item in found]
        findings.append(
            Finding(
                key="muster.crosses_off_way",
                severity=Severity.WARN,
                values={
                    "spans": ", ".join(
                        name for name, found in crossed.items() if found
                    ),
                    "hazards": ", ".join(dict.fromkeys(names)),
                },
            )
        )
    grounds = [h for h in lift.hazards if h.kind == "avalanche ground"]
    if grounds:
        findings.append(Finding(key="muster.avalanche", severity=Severity.WARN))
    return findings


def _counts_safe(lift: Lift) -> bool:
    """Whether a limit cannot be met where nobody knows when all are safe."""
    return any(limit.counts_to == IN_SAFETY for limit in lift.limits)


def _shelter(
    lift: Lift, work: Work, ways: Mapping[int, Route], points: Mapping[int, str]
) -> list[Finding]:
    findings = []
    names = {point.id: point.name or point.id for point in lift.muster_points}
    counts_safe = _counts_safe(lift)
    for care in find_care(lift, work, ways, points):
        if care.people == 0:
            continue
        where = names[care.point_id]
        values: dict[str, str | float | int] = {
            "people": care.people,
            "places": care.shelter_places,
            "overflow": care.overflow,
        }
        if care.receivers == 0:
            findings.append(
                Finding(
                    key="muster.no_receivers",
                    severity=Severity.WARN,
                    where=where,
                    values=values,
                )
            )
        if care.rounds is None:
            findings.append(
                Finding(
                    key="muster.no_vehicle",
                    severity=Severity.STOP if counts_safe else Severity.WARN,
                    where=where,
                    values=values,
                )
            )
        elif care.rounds:
            values |= {"rounds": care.rounds, "rounds_s": care.rounds_s}
            findings.append(
                Finding(
                    key="muster.rounds",
                    severity=Severity.WARN,
                    where=where,
                    values=values,
                )
            )
    return findings


def _landings(line: Line) -> list[Finding]:
    findings = []
    for name, severity, least_deg in (
        ("very_steep", Severity.WARN, LANDING_CLASSES[-1][0]),
        ("steep", Severity.NOTE, LANDING_CLASSES[-2][0]),
    ):
        places = [
            (side, span)
            for span in line.spans
            for side in Side
            if landing_class(line, side=side, span_index=span.index) == name
        ]
        if places:
            worst = max(
                landing_slope_deg(line, side=side, span_index=span.index)
                for side, span in places
            )
            spans = dict.fromkeys(span.id for _, span in places)
            findings.append(
                Finding(
                    key=f"muster.landing_{name}",
                    severity=severity,
                    values={
                        "spans": ", ".join(spans),
                        "worst_deg": worst,
                        "least_deg": least_deg,
                    },
                )
            )
    return findings
