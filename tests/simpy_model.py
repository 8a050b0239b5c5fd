"""An independent model of the imagined days in SimPy, drawn day by day.

Written from the rules, with random numbers of its own: one process a team, one timeout
a step. From the product it takes the zones and the seconds of the step times only.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import simpy
from builders import make_lift
from flat_chain import Chain, make_chain
from scipy import optimize

from evac import hazards, timing
from evac.clearing import carriers_in_unit, runs_towards_last, turns
from evac.facts.lift import Lift, Side, Triple

U = 1.2815515655446004


def make_long_lift(*, teams: int = 12, length_m: float = 2480.0) -> Lift:
    """12 teams and 250 carriers: 2.48 km, 20 m apart on both sides."""
    lift = make_lift()
    spans = 20
    supports = tuple(
        replace(
            lift.supports[1] if 0 < number < spans else lift.supports[0],
            id=str(number),
            distance_m=number * length_m / spans,
            ground_m=0.2 * number * length_m / spans,
            x_m=number * length_m / spans * math.sin(math.radians(30)),
            y_m=number * length_m / spans * math.cos(math.radians(30)),
        )
        for number in range(spans + 1)
    )
    ground = lift.ground_table
    assert ground is not None
    along = np.arange(0.0, length_m + 1, 20.0)
    return replace(
        lift,
        supports=supports,
        carriers=replace(lift.carriers, spacing_m=20.0, on_loop=None),
        ground_table=replace(
            ground,
            distance_m=along,
            ascending_m=0.2 * along,
            descending_m=0.2 * along,
        ),
        hazards=(),
        ways=(),
        teams=tuple(
            replace(
                lift.teams[1],
                id=f"Team {number}",
                start_x_m=supports[number].x_m,
                start_y_m=supports[number].y_m,
            )
            for number in range(1, teams + 1)
        ),
        kits=tuple(
            replace(lift.kits[1], id=f"Kit {number}", team=f"Team {number}")
            for number in range(1, teams + 1)
        ),
    )


@cache
def curve(low: float, likely: float, high: float) -> tuple[float, float, float]:
    """Shift, scale and shape of the lognormal with this P10, mode and P90."""
    if high - low < 1e-9:
        return likely, 0.0, 0.0
    skew = (likely - low) / (high - low)
    sign = 1.0 if skew <= 0.5 else -1.0
    target = skew if sign > 0 else 1 - skew

    def off(s: float) -> float:
        return (math.exp(-s * s) - math.exp(-U * s)) / (2 * math.sinh(U * s)) - target

    shape = float(optimize.brentq(off, 1e-5, U)) if off(1e-5) > 0 else 1e-5
    scale = sign * (high - low) / (2 * math.sinh(U * shape))
    return likely - scale * math.exp(-shape * shape), scale, sign * shape


class Model:
    """Days of one chain."""

    def __init__(self, chain: Chain) -> None:
        self.lift, self.heights, work, assignment = chain
        gates = hazards.find_gates(self.lift, self.heights.line)
        stops = self.heights.stops
        self.stops = len(stops.offset_m)
        self.zones: list[tuple[Any, list[list[tuple[Triple, list[list[Triple]]]]]]] = []
        for zone in assignment.zones:
            by_stop = []
            for stop in range(self.stops):
                plan = []
                before_it = None
                for turn in turns(self.lift, self.heights, work, zone):
                    columns = carriers_in_unit(
                        self.heights,
                        side=turn.side,
                        span_index=turn.span_index,
                        stop_index=stop,
                        uphill=runs_towards_last(zone),
                    )
                    spread = timing.carrier_seconds(
                        self.lift,
                        self.heights,
                        gates,
                        zone.option,
                        side=turn.side,
                        span_index=np.full((len(columns), 1), turn.span_index),
                        people=np.arange(self.lift.carriers.seats + 1)[None, :],
                        rope_height_m=stops.rope_height_m[turn.side][stop, columns][
                            :, None
                        ],
                        seat_height_m=stops.seat_height_m[turn.side][stop, columns][
                            :, None
                        ],
                    )
                    takes = [
                        [
                            Triple(
                                low=float(spread.low_s[row, people]),
                                likely=float(spread.likely_s[row, people]),
                                high=float(spread.high_s[row, people]),
                            )
                            for people in range(self.lift.carriers.seats + 1)
                        ]
                        for row in range(len(columns))
                    ]
                    before = turn.passing
                    if columns:
                        before = Triple(
                            low=before.low + turn.set_up.low,
                            likely=before.likely + turn.set_up.likely,
                            high=before.high + turn.set_up.high,
                        )
                    across = before_it == (turn.span_index, True)
                    if columns and across and turn.back is not None:
                        before = Triple(
                            low=before.low + turn.back.low,
                            likely=before.likely + turn.back.likely,
                            high=before.high + turn.back.high,
                        )
                    before_it = (turn.span_index, bool(columns))
                    plan.append((turn.side, before, takes))
                by_stop.append(plan)
            self.zones.append((zone, by_stop))

    def day(self, luck: random.Random) -> float:
        """The clearing time of one day [s]."""
        env = simpy.Environment()
        organisation = self.lift.organisation
        stop = luck.randrange(self.stops)
        day = luck.gauss(0, 0.25)
        secured_s = self.draw(organisation.order_to_secured_s, luck)
        filled = {
            Side.ASCENDING: min(self.draw(self.lift.occupancy, luck), 1.0),
            Side.DESCENDING: min(self.draw(self.lift.descending_occupancy, luck), 1.0),
        }
        for zone, by_stop in self.zones:
            slow = math.exp(day + luck.gauss(0, 0.15))
            ready_s = self.lift.teams[zone.option.team_index].ready_s
            arrives_s = (
                ready_s * self.draw(Triple(low=0.9, likely=1.0, high=1.5), luck)
                + (zone.arrival_s - ready_s) * slow
            )
            env.process(
                self.team(
                    env, max(arrives_s, secured_s), by_stop[stop], filled, slow, luck
                )
            )
        env.run()
        return float(env.now)

    def team(
        self,
        env: simpy.Environment,
        start_s: float,
        plan: list[Any],
        filled: dict[Side, float],
        slow: float,
        luck: random.Random,
    ) -> Iterator[simpy.Event]:
        """One team's way through its zone."""
        yield env.timeout(start_s)
        for side, before, takes in plan:
            yield env.timeout(
                self.draw(before, luck) * slow * self.tired(env.now - start_s)
            )
            for by_people in takes:
                people = sum(
                    luck.random() < filled[side] for _ in range(len(by_people) - 1)
                )
                took = self.draw(by_people[people], luck) * slow
                took *= self.tired(env.now - start_s)
                if people and luck.random() < 1 / 50:
                    took += luck.uniform(600, 1500)
                yield env.timeout(took)

    @staticmethod
    def tired(worked_s: float) -> float:
        return 1 + 0.1 * max(worked_s / 3600 - 1, 0)

    @staticmethod
    def draw(triple: Triple, luck: random.Random) -> float:
        shift, scale, shape = curve(triple.low, triple.likely, triple.high)
        return max(shift + scale * math.exp(shape * luck.gauss(0, 1)), 0.0)


def long_chain() -> Chain:
    """The chain of the long lift."""
    return make_chain(make_long_lift())
