"""Which states of one side are solved under which tension rule.

Where the tension is held at the return station each side has half the force and one
pass over all loads is enough. Otherwise the other side has a say: while one side is
emptied the other may still be loaded or already empty, at any stop position of its
own. Its answer to the return tension is put into the rule; of all its possible states
the two that pull least and most are kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from evac.facts.heights import Line
from evac.facts.lift import FloatArray, Lift, LoadCase, Side, TensionState
from evac.heights.load_cases import (
    ALL_EMPTY,
    PART_EMPTIED,
    fullest_people,
    most_alone,
    people_by_sign,
    people_of,
    rises_and_falls,
    row_of,
    weight_n,
)
from evac.heights.side_model import SideModel, side_phase_m
from evac.heights.tension import (
    NO_FRICTION,
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

RANGE_SHARE = 0.03
"""By so much of it the range of return tensions is widened beyond those met."""
TRAVEL_STOPS_EACH = 4
"""Stop positions at which a carriage's travel is solved, for each of `other_stops`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """How closely the order-free set is tried.

    ``step_m`` between two stop positions, ``coarse_step_m`` for the lesser load cases
    of a locked line; ``other_stops``: stop positions of the other side whose pull is
    tried; ``stride``: every so many states of a run (`reduce_side`);
    ``lesser_cases``: whether a locked line is tried in other cases than the fullest.
    """

    step_m: float = 0.25
    coarse_step_m: float = 1.0
    other_stops: int = 4
    stride: int = 1
    lesser_cases: bool = True


WHOLE_SET = Sampling()
THIN_SET = Sampling(step_m=1.0, other_stops=2, stride=6, lesser_cases=False)
"""For differences between two ropes, which change slowly from state to state."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatePass:
    """One pass: the loads of the order-free set and the rules they are solved under.

    ``phase_m`` (p,); ``cases_n`` (p, c, k) and ``full_n`` (p, k) weights of the
    carriers from the drive; ``empty_n`` and ``alone_n`` (k,); ``rules`` (p, r, 7).
    ``case_names`` (c,): the declared cases, then the lines emptied by the sign of
    what each carrier does (`evac.heights.load_cases.people_by_sign`). ``misfit_n``: by
    what force on the carriage a rule may misjudge the other side. ``travel_m``: how far
    a carriage with the drive bullwheel on it moves, and all carriers with it.
    ``one_evacuation``: where the tension is not known it may bleed from one force to
    another meanwhile: the line goes through states of all such passes.
    ``window``: carriers
    of the group that slides along a locked side. ``stride``, ``alone_stride``,
    ``friction``: see `reduce_side`; friction is that of all supports.
    """

    case_names: tuple[str, ...]
    phase_m: FloatArray
    cases_n: FloatArray
    full_n: FloatArray
    empty_n: FloatArray
    alone_n: FloatArray
    rules: FloatArray
    misfit_n: float = 0.0
    travel_m: float = 0.0
    one_evacuation: bool = False
    window: int = 0
    stride: int = 1
    alone_stride: int = 1
    friction: float = 0.0


def stop_positions_m(
    spacing_m: float, *, step_m: float = WHOLE_SET.step_m
) -> FloatArray:
    """All stop positions that are tried, 0 first, at most `step_m` apart.

    Examples
    --------
    >>> stop_positions_m(0.8)
    array([0. , 0.2, 0.4, 0.6])
    """
    count = int(np.ceil(spacing_m / step_m - 1e-9))
    positions: FloatArray = spacing_m * np.arange(count) / count
    return positions


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What `state_passes` was asked for."""

    lift: Lift
    line: Line
    models: Mapping[Side, SideModel]
    side: Side
    cases: tuple[LoadCase, ...]
    sampling: Sampling
    friction: Mapping[Side, float]

    def loads(self, side: Side, case: LoadCase, *, phase_m: float = 0.0) -> SideLoads:
        """Carriers of one side under a load case."""
        return side_loads(self.lift, self.line, side=side, phase_m=phase_m, case=case)

    def pair(
        self, own: SideLoads, other: SideLoads, *, held: Held, near: LoopState | None
    ) -> LoopState:
        """Both sides together."""
        loads = {self.side: own, other_side(self.side): other}
        return solve_pair(
            self.models, loads, held=held, friction=self.friction, near=near
        )

    def beside(self, loads: SideLoads) -> LoopSide:
        """The other side with some loads."""
        other = other_side(self.side)
        return LoopSide(
            points=self.models[other].points,
            loads=loads,
            friction=self.friction[other],
        )


def state_passes(
    lift: Lift,
    line: Line,
    *,
    models: Mapping[Side, SideModel],
    side: Side,
    cases: tuple[LoadCase, ...],
    tensions: tuple[TensionCase, ...] | None = None,
    sampling: Sampling = WHOLE_SET,
    friction: Mapping[Side, float] = NO_FRICTION,
) -> tuple[StatePass, ...]:
    """Everything that has to be solved for one side's envelope.

    Parameters
    ----------
    lift : Lift
    line : Line
    models : mapping of Side to SideModel
    side : Side
    cases : tuple of LoadCase
        The declared ones.
    tensions : tuple of TensionCase, optional
        What the tension system may do; all that the lift's state asks for if left
        out.
    sampling : Sampling
    friction : mapping of Side to float
        Of the rollers, signed, at the stop and after it.

    Returns
    -------
    tuple of StatePass
    """
    asked = _Asked(
        lift=lift,
        line=line,
        models=models,
        side=side,
        cases=cases,
        sampling=sampling,
        friction=friction,
    )
    passes: list[StatePass] = []
    spacing_m = lift.carriers.spacing_m
    fine = stop_positions_m(spacing_m, step_m=sampling.step_m)
    coarse = stop_positions_m(spacing_m, step_m=sampling.coarse_step_m)
    fullest = fullest_case(cases, side)
    tensions = tensions or tension_cases(lift)
    for tension in tensions:
        held = held_at_stop(lift, force_n=tension.force_n)
        if not tension.locked and held.kept is Kept.RETURN_FORCE:
            rule = hold_return(tension.force_n / 2)
            rules = np.broadcast_to(rule, (fine.size, 1, 7)).copy()
            passes.append(_loads(asked, cases, fine, rules))
        elif not tension.locked:
            rules, misfit_n = _drive_rules(asked, held)
            spread = np.broadcast_to(rules, (fine.size, *rules.shape)).copy()
            passes.append(_loads(asked, cases, fine, spread, misfit_n=misfit_n))
        else:
            for case in cases if sampling.lesser_cases else (fullest,):
                phase_m = fine if case is fullest else coarse
                passes.append(_locked_pass(asked, case, phase_m, tension))
    travel_m = _travel_m(asked, tensions)
    bleeds = lift.tension.state is TensionState.UNKNOWN
    return tuple(
        replace(each, travel_m=travel_m, one_evacuation=bleeds) for each in passes
    )


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
    asked: _Asked,
    cases: tuple[LoadCase, ...],
    phase_m: FloatArray,
    rules: FloatArray,
    *,
    misfit_n: float = 0.0,
    only_declared: bool = False,
    window: int = 0,
) -> StatePass:
    lift, line, side = asked.lift, asked.line, asked.side
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
    # A blocked rope is ruled by its length: there the sliding window does more.
    by_sign = np.zeros((len(rows), 0, count))
    if window == 0 and rises_and_falls(line):
        by_sign = np.array(
            [
                people_by_sign(
                    line, row=row, full=most, drive_at_last=lift.drive_at_last
                )
                for row, most in zip(rows, full, strict=True)
            ]
        )
    return StatePass(
        case_names=(
            *(case.name for case in cases),
            *(PART_EMPTIED for _ in range(by_sign.shape[1])),
        ),
        phase_m=phase_m,
        cases_n=weight_n(lift, np.concatenate([people, by_sign], axis=1)),
        full_n=weight_n(lift, full),
        empty_n=weight_n(lift, np.zeros(count)),
        alone_n=weight_n(lift, np.full(count, alone)),
        rules=rules,
        misfit_n=misfit_n,
        window=window,
        stride=asked.sampling.stride,
        # Where nobody else sits so full, a carrier alone hangs lowest: if it stood in
        # other metres with one rope than with another, their difference would mean
        # nothing.
        alone_stride=1 if alone > full.max() else asked.sampling.stride,
        friction=asked.friction[side],
    )


def _span_carriers(lift: Lift, line: Line) -> int:
    """Carriers that the longest span holds."""
    longest_m = float(
        np.hypot(np.diff(line.distance_m), np.diff(line.rope_elevation_m)).max()
    )
    return int(np.ceil(longest_m / lift.carriers.spacing_m))


def _others(asked: _Asked, case: LoadCase) -> list[SideLoads]:
    """The other side under one case, at some of its stop positions."""
    stops = asked.sampling.other_stops
    spacing_m = asked.lift.carriers.spacing_m
    other = other_side(asked.side)
    return [
        asked.loads(other, case, phase_m=spacing_m * step / stops)
        for step in range(stops)
    ]


def _outermost(rules: list[FloatArray]) -> FloatArray:
    """The rules that pull least and most; all have their middle at one tension."""
    order = sorted(rules, key=lambda rule: float(rule[3]))
    return np.array([order[0], order[-1]])


def _range_n(states: list[LoopState]) -> tuple[float, float]:
    tensions = [state.return_tension_n for state in states]
    return min(tensions) * (1 - RANGE_SHARE), max(tensions) * (1 + RANGE_SHARE)


def _drive_rules(asked: _Asked, held: Held) -> tuple[FloatArray, float]:
    """Rules (2, 7) of one side whose tension is held at the drive, and their error."""
    own_loads = [
        asked.loads(asked.side, case)
        for case in (fullest_case(asked.cases, asked.side), ALL_EMPTY)
    ]
    other_cases = (*asked.cases, ALL_EMPTY)
    others = [asked.loads(other_side(asked.side), case) for case in other_cases]
    states = [
        asked.pair(own, other, held=held, near=None)
        for own in own_loads
        for other in others
    ]
    low_n, high_n = _range_n(states)
    found = [
        rule_beside(
            asked.beside(loads),
            held=held,
            low_tension_n=low_n,
            high_tension_n=high_n,
        )
        for case in other_cases
        for loads in _others(asked, case)
    ]
    return _outermost([rule for rule, _ in found]), max(miss for _, miss in found)


def _travel_m(asked: _Asked, tensions: tuple[TensionCase, ...]) -> float:
    """Travel of a free carriage at the drive between any two states of one stop.

    Of the stop position at which it is greatest, and from every force to every other.
    Wherever it takes the carriers, they stood there at another stop position: heights
    hold it already.
    """
    helds = [
        held_at_stop(asked.lift, force_n=each.force_n)
        for each in tensions
        if asked.lift.tension.held_at_drive and not each.locked
    ]
    stops = TRAVEL_STOPS_EACH * asked.sampling.other_stops
    offsets_m = asked.lift.carriers.spacing_m * np.arange(stops) / stops
    lengths_m = [
        [_lengths_m(asked, held, float(offset_m)) for offset_m in offsets_m]
        for held in helds
    ]
    if not lengths_m:
        return 0.0
    return float(np.ptp(np.array(lengths_m), axis=(0, 2)).max()) / 2


def _lengths_m(asked: _Asked, held: Held, offset_m: float) -> list[float]:
    """Rope that the line takes up at one stop position, each side full and empty.

    Other loads lie between.
    """
    loads = {
        side: [
            asked.loads(
                side,
                case,
                phase_m=side_phase_m(asked.lift, side=side, stop_offset_m=offset_m),
            )
            for case in (fullest_case(asked.cases, side), ALL_EMPTY)
        ]
        for side in Side
    }
    return [
        asked.pair(own, other, held=held, near=None).unstretched_length_m
        for own, other in product(loads[asked.side], loads[other_side(asked.side)])
    ]


def _locked_pass(
    asked: _Asked, case: LoadCase, phase_m: FloatArray, tension: TensionCase
) -> StatePass:
    """One load case at the stop, locked there, and emptied from it."""
    side = asked.side
    at_stop = held_at_stop(asked.lift, force_n=tension.force_n)
    others = _others(asked, case)
    first = asked.loads(side, case, phase_m=float(phase_m[0]))
    stops = [asked.pair(first, loads, held=at_stop, near=None) for loads in others]
    emptied = asked.loads(side, ALL_EMPTY, phase_m=float(phase_m[0]))
    empty_others = _others(asked, ALL_EMPTY)
    met = [
        asked.pair(own, loads, held=_locked(stops[0]), near=stops[0])
        for own in (first, emptied)
        for loads in (others[0], empty_others[0])
    ]
    low_n, high_n = _range_n([*stops, *met])
    found = [
        rule_beside(
            asked.beside(loads),
            held=_locked(stop),
            low_tension_n=low_n,
            high_tension_n=high_n,
        )
        for stop, *pair in zip(stops, others, empty_others, strict=True)
        for loads in pair
    ]
    outer = _outermost([rule for rule, _ in found])
    # Where this side stands at the stop changes how much rope it holds itself.
    own_m = []
    near = stops[0]
    for phase in phase_m:
        own = asked.loads(side, case, phase_m=float(phase))
        near = asked.pair(own, others[0], held=at_stop, near=near)
        own_m.append(side_state(near, side).unstretched_length_m)
    rules = np.broadcast_to(outer, (phase_m.size, *outer.shape)).copy()
    rules[:, :, 3] += LENGTH_SCALE_N_PER_M * (np.array(own_m) - own_m[0])[:, None]
    force_per_metre = _force_per_metre(asked, first, others[0], at_stop, stops[0])
    return _loads(
        asked,
        (case,),
        phase_m,
        rules,
        misfit_n=max(miss for _, miss in found)
        / LENGTH_SCALE_N_PER_M
        * force_per_metre,
        # A blocked carriage remembers who sat there: nobody else may be added.
        only_declared=True,
        # And one span that is left loaded takes up the rope of all the others.
        window=_span_carriers(asked.lift, asked.line),
    )


def _locked(stop: LoopState) -> Held:
    return Held(kept=Kept.LENGTH, amount=stop.unstretched_length_m)


def _force_per_metre(
    asked: _Asked, own: SideLoads, other: SideLoads, at_stop: Held, stop: LoopState
) -> float:
    """Force on the carriage that shortens the hanging rope by a metre [N/m]."""
    more = Held(kept=at_stop.kept, amount=1.01 * at_stop.amount)
    tighter = asked.pair(own, other, held=more, near=stop)
    shorter_m = abs(stop.unstretched_length_m - tighter.unstretched_length_m)
    return 0.01 * at_stop.amount / max(shorter_m, 1e-9)
