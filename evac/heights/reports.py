"""What the rope does to every support and in every span, over all solved states."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

import numpy as np

from evac.factors import LEAST_ROPE_SAFETY
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Line, SideEnvelope, SpanReport, SupportReport
from evac.facts.lift import Lift, LoadCase, Side, SupportKind
from evac.heights.extremes import SideExtremes
from evac.heights.load_cases import ALL_EMPTY
from evac.heights.passes import side_loads
from evac.heights.side_model import SideModel, side_phase_m
from evac.heights.tension import held_at_stop, solve_pair, tension_cases
from evac.rope.tension import Held, Kept, LoopState

BATTERY_REACH_M = 3.0
"""Half the length of a roller battery and a grip (common practice, no source)."""
DRIFT_TOLD_M = 1.0
"""From such a drift on carriers beside rollers are told (common practice, no source):
less than that a team sees before it begins."""


def support_reports(
    line: Line,
    extremes: Mapping[Side, SideExtremes],
    *,
    kinds: tuple[SupportKind, ...],
    inferred: tuple[str, ...],
) -> tuple[SupportReport, ...]:
    """Least and greatest load of every support but the stations, both sides."""
    return tuple(
        SupportReport(
            side=side,
            support_id=support.id,
            kind=kinds[index].value,
            inferred=support.id in inferred,
            least_load_n=float(found.least_load_n[index]),
            greatest_load_n=float(found.greatest_load_n[index]),
            greatest_deflection_deg=float(np.degrees(found.deflection_rad[index])),
            lifted=bool(found.lifted[index]),
            worst_load_name=found.worst_load[index],
        )
        for side, found in extremes.items()
        for index, support in enumerate(line.supports)
        if 0 < index < len(line.supports) - 1
    )


def span_reports(
    lift: Lift, line: Line, extremes: Mapping[Side, SideExtremes]
) -> tuple[SpanReport, ...]:
    """Sag, tension and safety factor of every span, both sides."""
    breaking_n = lift.rope.breaking_force_n
    return tuple(
        SpanReport(
            side=side,
            span_id=span.id,
            greatest_sag_m=float(found.sag_m[span.index]),
            least_tension_n=float(found.least_tension_n[span.index]),
            greatest_tension_n=float(found.greatest_tension_n[span.index]),
            safety_factor=(
                None
                if breaking_n is None
                else breaking_n / float(found.greatest_tension_n[span.index])
            ),
        )
        for side, found in extremes.items()
        for span in line.spans
    )


def drive_ratio(
    lift: Lift,
    line: Line,
    *,
    models: Mapping[Side, SideModel],
    cases: tuple[LoadCase, ...],
) -> float:
    """Greatest tension ratio over the drive bullwheel, at the stop and while emptying.

    Of every force that the tension system may pull with, every declared load of one
    side beside every one of the other, and either side empty, at stop position 0.

    The standing drive bullwheel holds the difference of the two ropes by friction:
    slipping begins where the ratio exceeds ``exp(friction x angle of wrap)`` (the
    capstan equation), which lining and angle decide and the supplier knows.
    """

    def solved(
        held: Held, up: LoadCase, down: LoadCase, *, near: LoopState | None = None
    ) -> LoopState:
        loads = {
            side: side_loads(
                lift,
                line,
                side=side,
                phase_m=side_phase_m(lift, side=side, stop_offset_m=0.0),
                case=case,
            )
            for side, case in ((Side.ASCENDING, up), (Side.DESCENDING, down))
        }
        return solve_pair(models, loads, held=held, near=near)

    forces_n = {lift.tension.low_force_n, lift.tension.force_n}
    forces_n.add(lift.tension.high_force_n)
    at_stop = [held_at_stop(lift, force_n=force_n) for force_n in sorted(forces_n)]
    met = [
        solved(held, up, down)
        for held in at_stop
        for up, down in product((*cases, ALL_EMPTY), repeat=2)
    ]
    if any(tension.locked for tension in tension_cases(lift)):
        # A blocked carriage keeps the rope that hung there at the stop.
        for held, case in product(at_stop, cases):
            stop = solved(held, case, case)
            kept = Held(kept=Kept.LENGTH, amount=stop.unstretched_length_m)
            met += [
                solved(kept, up, down, near=stop)
                for up, down in product((case, ALL_EMPTY), repeat=2)
            ]
    pairs_n = [
        (pair.first.drive_tension_n, pair.second.drive_tension_n) for pair in met
    ]
    return max(max(pair_n) / min(pair_n) for pair_n in pairs_n)


def inferred_findings(
    supports: tuple[SupportReport, ...], pulls_n: Mapping[str, float]
) -> list[Finding]:
    """Supports of no stated kind at which the rope pulls upwards: look at each."""
    free = {report.support_id for report in supports if report.lifted}
    findings = {}
    for report in supports:
        held = report.kind == SupportKind.HOLD_DOWN.value
        if report.inferred and (held or report.support_id in free):
            key = "held" if held else "free"
            findings[report.support_id] = Finding(
                key=f"heights.inferred_{key}",
                severity=Severity.WARN,
                where=report.support_id,
                values={
                    "support": report.support_id,
                    "pull_n": pulls_n[report.support_id],
                },
            )
    return list(findings.values())


def drift_findings(line: Line, envelopes: Mapping[Side, SideEnvelope]) -> list[Finding]:
    """Where carriers may drift to rollers while the line is cleared (rule 7).

    Over all stop positions, loads and orders of the envelope: at some stop a carrier
    stands that far from a battery, whichever stop the schedule is written for. One
    finding a side, which names its supports, so that a long line tells it once.
    """
    findings = []
    for side, envelope in envelopes.items():
        far_m = drift_near_m(line, envelope)
        if not far_m:
            continue
        most = max(far_m, key=lambda index: far_m[index])
        everywhere = len(far_m) == sum(not item.mark for item in line.supports)
        findings.append(
            Finding(
                key="heights.drift_everywhere" if everywhere else "heights.drift",
                severity=Severity.WARN,
                values={
                    "side": side.value,
                    "drift_m": far_m[most] - BATTERY_REACH_M,
                    "near_m": far_m[most],
                    "most": line.supports[most].id,
                    "supports": ", ".join(line.supports[index].id for index in far_m),
                },
            )
        )
    return findings


def drift_near_m(line: Line, envelope: SideEnvelope) -> dict[int, float]:
    """How near a support a carrier must stand to come to its rollers by drifting.

    Only of supports where that is told, by their place in the line: half a battery and
    the greatest drift beside the support, over every stop position, load and order.
    """
    found = {}
    for index, at_m in enumerate(line.distance_m):
        if line.supports[index].mark:
            continue  # Nothing stands there.
        beside = np.abs(envelope.distance_m - at_m) <= BATTERY_REACH_M
        moved_m = float(envelope.drift_m[beside].max())
        if moved_m >= DRIFT_TOLD_M:
            found[index] = BATTERY_REACH_M + moved_m
    return found


def report_findings(
    supports: tuple[SupportReport, ...], spans: tuple[SpanReport, ...]
) -> list[Finding]:
    """What the plan must say about supports and tensions."""
    findings = [
        Finding(
            key="heights.lifted",
            severity=Severity.WARN,
            where=f"{report.support_id} {report.side.value}",
            values={
                "support": report.support_id,
                "side": report.side.value,
                "load_name": report.worst_load_name,
            },
        )
        for report in supports
        if report.lifted
    ]
    inferred = sorted(
        {report.support_id for report in supports if report.inferred},
        key=[report.support_id for report in supports].index,
    )
    if inferred:
        findings.append(
            Finding(
                key="heights.inferred",
                severity=Severity.NOTE,
                values={"count": len(inferred), "supports": ", ".join(inferred)},
            )
        )
    weak = [s for s in spans if (s.safety_factor or np.inf) < LEAST_ROPE_SAFETY]
    if weak:
        worst = min(weak, key=lambda report: report.safety_factor or np.inf)
        findings.append(
            Finding(
                key="heights.low_safety",
                severity=Severity.WARN,
                where=f"{worst.span_id} {worst.side.value}",
                values={"factor": float(worst.safety_factor or 0.0)},
            )
        )
    return findings
