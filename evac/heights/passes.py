"""Which states of one side are solved under which tension rule.

Where the tension is held at the return station each side has half the force and one
pass over all loads is enough. Otherwise the other side has a say: while one side is
emptied the other may still be loaded or already empty, at any stop position of its
own. Its answer to the return tension is put into the rule; of all its possible states
the two that pull least and most are kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from evac.facts.heights import Line
from evac.facts.lift import FloatArray, Lift, LoadCase, Side
from evac.heights.load_cases import (
    ALL_EMPTY,
    fullest_people,
    most_alone,
    people_of,
    row_of,
    weight_n,
)
from evac.heights.side_model import SideModel
from evac.heights.tension import (
    TensionCase,
    held_at_stop,
    other_side,
    side_state,
    solve_pair,
    tension_cases,
)
from evac.rope.rules import LENGTH_SCALE_N_PER_M, hold_return
from evac.rope.side import SideLoads
from evac.rope.tension import Held, Kept, LoopSide, LoopState, rule_beside

STOP_STEP_M = 0.25
"""Distance between two stop positions that are tried."""
COARSE_STEP_M = 1.0
"""The same for the lesser load cases of a locked line."""
OTHER_STOPS = 4
"""Stop positions of the other side whose pull is tried."""
RANGE_SHARE = 0.03
"""By so much of it the range of return tensions is widened beyond those met."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatePass:
    """One pass: the loads of the order-free set and the rules they are solved under.

    ``phase_m`` (p,); ``cases_n`` (p, c, k) and ``full_n`` (p, k) weights of the
    carriers from the drive; ``empty_n`` and ``alone_n`` (k,); ``rules`` (p, r, 7).
    ``case_names`` (c,). ``misfit_n``: by what force on the carriage a rule may misjudge
    the other side. ``window``: carriers of the group that slides along a locked side.
    """

    case_names: tuple[str, ...]
    phase_m: FloatArray
    cases_n: FloatArray
    full_n: FloatArray
    empty_n: FloatArray
    alone_n: FloatArray
    rules: FloatArray
    misfit_n: float = 0.0
    window: int = 0


def stop_positions_m(spacing_m: float, *, step_m: float = STOP_STEP_M) -> FloatArray:
    """All stop positions that are tried, 0 first, at most `step_m` apart.

    Examples
    --------
    >>> stop_positions_m(0.8)
    array([0. , 0.2, 0.4, 0.6])
    """
    count = int(np.ceil(spacing_m / step_m - 1e-9))
    positions: FloatArray = spacing_m * np.arange(count) / count
    return positions


def state_passes(
    lift: Lift,
    line: Line,
    *,
    models: Mapping[Side, SideModel],
    side: Side,
    cases: tuple[LoadCase, ...],
) -> tuple[StatePass, ...]:
    """Everything that has to be solved for one side's envelope."""
    passes: list[StatePass] = []
    fine = stop_positions_m(lift.carriers.spacing_m)
    coarse = stop_positions_m(lift.carriers.spacing_m, step_m=COARSE_STEP_M)
    fullest = fullest_case(cases, side)
    for tension in tension_cases(lift):
        held = held_at_stop(lift, force_n=tension.force_n)
        if not tension.locked and held.kept is Kept.RETURN_FORCE:
            rule = hold_return(tension.force_n / 2)
            rules = np.broadcast_to(rule, (fine.size, 1, 7)).copy()
            passes.append(_loads(lift, line, side, cases, fine, rules))
        elif not tension.locked:
            rules, misfit = _drive_rules(lift, line, models, side, cases, held)
            spread = np.broadcast_to(rules, (fine.size, *rules.shape)).copy()
            passes.append(
                _loads(lift, line, side, cases, fine, spread, misfit_n=misfit)
            )
        else:
            for case in cases:
                phase_m = fine if case is fullest else coarse
                passes.append(
                    _locked_pass(lift, line, models, side, case, phase_m, tension)
                )
    return tuple(passes)


def fullest_case(cases: tuple[LoadCase, ...], side: Side) -> LoadCase:
    """The case that puts most people on one side."""

    def fill(case: LoadCase) -> tuple[float, float]:
        part = case.to_share - case.from_share
        if case.batch_loaded > 0:
            part *= case.batch_loaded / (case.batch_loaded + case.batch_empty)
        up, down = case.ascending_share * part, case.descending_share * part
        return (up, down) if side is Side.ASCENDING else (down, up)

    return max(cases, key=fill)


def side_loads(
    lift: Lift, line: Line, *, side: Side, phase_m: float, case: LoadCase
) -> SideLoads:
    """Carriers of one side under a load case."""
    row = row_of(lift, line, side=side, phase_m=phase_m)
    return SideLoads(
        phase_m=phase_m,
        spacing_m=lift.carriers.spacing_m,
        load_n=weight_n(lift, people_of(lift, line, row=row, case=case)),
    )


def _loads(
    lift: Lift,
    line: Line,
    side: Side,
    cases: tuple[LoadCase, ...],
    phase_m: FloatArray,
    rules: FloatArray,
    *,
    misfit_n: float = 0.0,
    only_declared: bool = False,
    window: int = 0,
) -> StatePass:
    rows = [row_of(lift, line, side=side, phase_m=float(p)) for p in phase_m]
    people = np.array(
        [[people_of(lift, line, row=row, case=case) for case in cases] for row in rows]
    )
    if only_declared:
        full = people.max(axis=1)
        alone = lift.carriers.seats if full.max() > 0 else 0.0
    else:
        full = np.array([fullest_people(lift, each, side) for each in people])
        alone = max(most_alone(lift, each, side) for each in people)
    count = people.shape[2]
    return StatePass(
        case_names=tuple(case.name for case in cases),
        phase_m=phase_m,
        cases_n=weight_n(lift, people),
        full_n=weight_n(lift, full),
        empty_n=weight_n(lift, np.zeros(count)),
        alone_n=weight_n(lift, np.full(count, alone)),
        rules=rules,
        misfit_n=misfit_n,
        window=window,
    )


def _span_carriers(lift: Lift, line: Line) -> int:
    """Carriers that the longest span holds."""
    longest_m = float(
        np.hypot(np.diff(line.distance_m), np.diff(line.rope_elevation_m)).max()
    )
    return int(np.ceil(longest_m / lift.carriers.spacing_m))


def _others(lift: Lift, line: Line, side: Side, case: LoadCase) -> list[SideLoads]:
    """The other side under one case, at some of its stop positions."""
    spacing_m = lift.carriers.spacing_m
    return [
        side_loads(
            lift,
            line,
            side=other_side(side),
            phase_m=spacing_m * step / OTHER_STOPS,
            case=case,
        )
        for step in range(OTHER_STOPS)
    ]


def _outermost(rules: list[FloatArray]) -> FloatArray:
    """The rules that pull least and most; all have their middle at one tension."""
    order = sorted(rules, key=lambda rule: float(rule[3]))
    return np.array([order[0], order[-1]])


def _range_n(states: list[LoopState]) -> tuple[float, float]:
    tensions = [state.return_tension_n for state in states]
    return min(tensions) * (1 - RANGE_SHARE), max(tensions) * (1 + RANGE_SHARE)


def _drive_rules(
    lift: Lift,
    line: Line,
    models: Mapping[Side, SideModel],
    side: Side,
    cases: tuple[LoadCase, ...],
    held: Held,
) -> tuple[FloatArray, float]:
    """Rules (2, 7) of one side whose tension is held at the drive, and their error."""
    other = other_side(side)
    own_loads = [
        side_loads(lift, line, side=side, phase_m=0.0, case=case)
        for case in (fullest_case(cases, side), ALL_EMPTY)
    ]
    other_cases = (*cases, ALL_EMPTY)
    states = [
        solve_pair(
            models,
            {
                side: own,
                other: side_loads(lift, line, side=other, phase_m=0.0, case=case),
            },
            held=held,
        )
        for own in own_loads
        for case in other_cases
    ]
    low_n, high_n = _range_n(states)
    found = [
        rule_beside(
            LoopSide(points=models[other].points, loads=loads),
            held=held,
            low_tension_n=low_n,
            high_tension_n=high_n,
        )
        for case in other_cases
        for loads in _others(lift, line, side, case)
    ]
    return _outermost([rule for rule, _ in found]), max(miss for _, miss in found)


def _locked_pass(
    lift: Lift,
    line: Line,
    models: Mapping[Side, SideModel],
    side: Side,
    case: LoadCase,
    phase_m: FloatArray,
    tension: TensionCase,
) -> StatePass:
    """One load case at the stop, locked there, and emptied from it."""
    other = other_side(side)
    at_stop = held_at_stop(lift, force_n=tension.force_n)
    others = _others(lift, line, side, case)
    first = side_loads(lift, line, side=side, phase_m=float(phase_m[0]), case=case)
    stops = [
        solve_pair(models, {side: first, other: loads}, held=at_stop)
        for loads in others
    ]
    emptied = side_loads(
        lift, line, side=side, phase_m=float(phase_m[0]), case=ALL_EMPTY
    )
    empty_others = _others(lift, line, side, ALL_EMPTY)
    met = [
        solve_pair(
            models,
            {side: own, other: loads},
            held=_locked(stops[0]),
            near=stops[0],
        )
        for own in (first, emptied)
        for loads in (others[0], empty_others[0])
    ]
    low_n, high_n = _range_n([*stops, *met])
    found = [
        rule_beside(
            LoopSide(points=models[other].points, loads=loads),
            held=_locked(stop),
            low_tension_n=low_n,
            high_tension_n=high_n,
        )
        for stop, *pair in zip(stops, others, empty_others, strict=True)
        for loads in pair
    ]
    outer = _outermost([rule for rule, _ in found])
    # Where this side stands at the stop changes how much rope it holds itself.
    own_m = np.array(
        [
            _own_length_m(
                solve_pair(
                    models,
                    {
                        side: side_loads(
                            lift, line, side=side, phase_m=float(phase), case=case
                        ),
                        other: others[0],
                    },
                    held=at_stop,
                    near=stops[0],
                ),
                side,
            )
            for phase in phase_m
        ]
    )
    rules = np.broadcast_to(outer, (phase_m.size, *outer.shape)).copy()
    rules[:, :, 3] += LENGTH_SCALE_N_PER_M * (own_m - own_m[0])[:, None]
    return _loads(
        lift,
        line,
        side,
        (case,),
        phase_m,
        rules,
        misfit_n=max(miss for _, miss in found)
        / LENGTH_SCALE_N_PER_M
        * _force_per_metre(models, {side: first, other: others[0]}, at_stop, stops[0]),
        # A blocked carriage remembers who sat there: nobody else may be added.
        only_declared=True,
        # And one span that is left loaded takes up the rope of all the others.
        window=_span_carriers(lift, line),
    )


def _locked(stop: LoopState) -> Held:
    return Held(kept=Kept.LENGTH, amount=stop.unstretched_length_m)


def _own_length_m(pair: LoopState, side: Side) -> float:
    return side_state(pair, side).unstretched_length_m


def _force_per_metre(
    models: Mapping[Side, SideModel],
    loads: Mapping[Side, SideLoads],
    at_stop: Held,
    stop: LoopState,
) -> float:
    """Force on the carriage that shortens the hanging rope by a metre [N/m]."""
    more = Held(kept=at_stop.kept, amount=1.01 * at_stop.amount)
    tighter = solve_pair(models, loads, held=more, near=stop)
    shorter_m = abs(stop.unstretched_length_m - tighter.unstretched_length_m)
    return 0.01 * at_stop.amount / max(shorter_m, 1e-9)
