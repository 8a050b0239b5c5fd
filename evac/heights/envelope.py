"""Heights over everything that may happen: the envelope that gear is chosen by.

Gear is chosen before the order of work is known. So the greatest and least height of
a grip at every metre of both sides are taken over all stop positions, the declared
load cases, and a set of emptied lines that does not depend on the order of work: all
empty, one loaded carrier alone, the full line emptied from either end, and, where the
line rises and falls, emptied by the sign of what each carrier does to a span.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights, IntArray, Line, SideEnvelope, StopGrid
from evac.facts.lift import FloatArray, Lift, LoadCase, Side, TensionState
from evac.heights.cuts import at_places, cut, marks_m, uncut
from evac.heights.extremes import SideExtremes, find_extremes
from evac.heights.kinds import support_kinds, upward_pulls_n
from evac.heights.load_cases import load_cases
from evac.heights.margins import Margins, find_margins
from evac.heights.passes import fullest_case, state_passes
from evac.heights.reports import (
    drift_findings,
    drive_ratio,
    inferred_findings,
    report_findings,
    span_reports,
    support_reports,
)
from evac.heights.side_model import SideModel, span_of
from evac.heights.stop import SolvedSide, describe, side_models, solve_stop
from evac.heights.units import (
    doubtful_findings,
    side_envelope,
    unit_heights,
    unknown_findings,
)
from evac.line import find_doubts

OnStep = Callable[[str, float], None]

GRID_STOPS = 16
"""Stop positions of the grid by which work is costed and simulated."""


def find_heights(
    lift: Lift, line: Line, *, on_step: OnStep | None = None
) -> tuple[Heights, tuple[Finding, ...]]:
    """Greatest and least heights of both sides, with margins and reports.

    Parameters
    ----------
    lift : Lift
    line : Line
        Of the same lift, from `evac.line.lay_out`.
    on_step : callable, optional
        Called with a step's name and the fraction done.

    Returns
    -------
    tuple
        The heights, and what the plan must say about line and heights.

    Raises
    ------
    RopeError
        If one of the states has no solution.
    """
    if marks_m(lift):
        whole, found = find_heights(*uncut(lift, line), on_step=on_step)
        return cut(uncut(lift, line)[0], whole, cuts_m=marks_m(lift))[1], found
    tell = on_step or (lambda _name, _done: None)
    cases = load_cases(lift)
    _, inferred = support_kinds(lift, line)
    models = side_models(lift, line)
    tell("heights", 0.1)

    def solve(side: Side) -> _SideFound:
        return _solve_side(lift, line, models=models, side=side, cases=cases)

    # The compiled loops let go of the interpreter, so two cores are used where they
    # are; the sides know nothing of each other.
    with ThreadPoolExecutor(max_workers=len(Side)) as pool:
        found_by = dict(zip(models, pool.map(solve, models), strict=True))
    extremes = {side: found.extremes for side, found in found_by.items()}
    envelopes = {side: found.envelope for side, found in found_by.items()}
    margins = {side: found.margins for side, found in found_by.items()}
    misfit_n = max(found.misfit_n for found in found_by.values())
    fullest = fullest_case(cases, Side.ASCENDING)
    kinds = models[Side.ASCENDING].kinds
    units = unit_heights(
        lift, line, extremes=extremes, envelopes=envelopes, margins=margins
    )
    supports = support_reports(line, extremes, kinds=kinds, inferred=inferred)
    spans = span_reports(lift, line, extremes)
    tell("heights", 0.9)
    stops, reference = _stops(
        lift, line, models=models, envelopes=envelopes, case=fullest
    )
    heights = Heights(
        line=line,
        load_cases=cases,
        envelopes=envelopes,
        units=units,
        stops=stops,
        supports=supports,
        spans=spans,
        reference={
            side: describe(
                lift, line, solved, stop_offset_m=0.0, load_name=fullest.name
            )
            for side, solved in reference.items()
        },
        states_solved=sum(found.states for found in extremes.values()),
        greatest_residual_n=max(
            found.greatest_residual_n for found in extremes.values()
        ),
        drive_ratio=drive_ratio(lift, line, models=models, cases=cases),
    )
    findings = [
        *find_doubts(lift, line),
        *(inferred_findings(supports, upward_pulls_n(lift, line)) if inferred else ()),
        *report_findings(supports, spans),
        *drift_findings(line, envelopes),
        *unknown_findings(units),
        *doubtful_findings(line),
        *_tension_findings(lift, misfit_n=misfit_n),
        Finding(
            key="heights.solved",
            severity=Severity.NOTE,
            values={
                "states": heights.states_solved,
                # Rounded up; 1 g weighs some 0.01 N.
                "grams": max(1, math.ceil(heights.greatest_residual_n / 0.0098)),
            },
        ),
    ]
    tell("heights", 1.0)
    return heights, tuple(findings)


@dataclass(frozen=True, slots=True, kw_only=True)
class _SideFound:
    """What was found for one side; ``misfit_n`` as in `StatePass`, the greatest."""

    extremes: SideExtremes
    margins: Margins
    envelope: SideEnvelope
    misfit_n: float


def _solve_side(
    lift: Lift,
    line: Line,
    *,
    models: Mapping[Side, SideModel],
    side: Side,
    cases: tuple[LoadCase, ...],
) -> _SideFound:
    passes = state_passes(lift, line, models=models, side=side, cases=cases)
    misfit_n = max(each.misfit_n for each in passes)
    extremes = find_extremes(line, model=models[side], passes=passes)
    margins = find_margins(
        lift, line, models=models, side=side, cases=cases, coupling_n=misfit_n
    )
    return _SideFound(
        extremes=extremes,
        margins=margins,
        envelope=side_envelope(
            lift, line, extremes=extremes, margins=margins, side=side
        ),
        misfit_n=misfit_n,
    )


def _tension_findings(lift: Lift, *, misfit_n: float) -> list[Finding]:
    """What the tension state means, and how exactly the two sides were coupled."""
    findings = []
    if lift.tension.state is not TensionState.CONSTANT:
        findings.append(
            Finding(
                key=f"heights.tension_{lift.tension.state.value}",
                severity=Severity.NOTE,
                values={
                    "low_n": lift.tension.low_force_n,
                    "high_n": lift.tension.high_force_n,
                },
            )
        )
    if misfit_n > 0:
        findings.append(
            Finding(
                key="heights.coupled_force",
                severity=Severity.NOTE,
                values={"misfit_n": misfit_n},
            )
        )
    return findings


def _stops(
    lift: Lift,
    line: Line,
    *,
    models: dict[Side, SideModel],
    envelopes: dict[Side, SideEnvelope],
    case: LoadCase,
) -> tuple[StopGrid, dict[Side, SolvedSide]]:
    """Where carriers stand for a grid of stop positions, and the first of them."""
    offset_m = lift.carriers.spacing_m * np.arange(GRID_STOPS) / GRID_STOPS
    distance: dict[Side, FloatArray] = {}
    span: dict[Side, IntArray] = {}
    rope: dict[Side, FloatArray] = {}
    seat: dict[Side, FloatArray] = {}
    reference: dict[Side, SolvedSide] = {}
    for side, model in models.items():
        solved = [
            solve_stop(
                lift,
                line,
                models=models,
                side=side,
                stop_offset_m=float(offset),
                load_case=case,
            )
            for offset in offset_m
        ]
        reference[side] = solved[0]
        rows = [
            model.by_distance(model.to_distance_m(each.state.x_m)) for each in solved
        ]
        width = max(row.size for row in rows)
        distance[side] = np.array(
            [np.pad(row, (0, width - row.size), constant_values=np.nan) for row in rows]
        )
        placed = ~np.isnan(distance[side])
        span[side] = np.where(placed, span_of(line, distance[side]), -1)
        envelope = envelopes[side]
        rope[side] = at_places(
            line,
            envelope,
            envelope.rope_greatest_m,
            distance_m=distance[side],
            span_index=span[side],
        )
        seat[side] = rope[side] - lift.carriers.rope_to_seat_m
    grid = StopGrid(
        offset_m=offset_m,
        distance_m=distance,
        span_index=span,
        rope_height_m=rope,
        seat_height_m=seat,
    )
    return grid, reference
