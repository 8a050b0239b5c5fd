"""Real evacuations against the step times: how far to trust a clearing time.

For every record with enough facts, what the record does not say is drawn from ranges
stated here before any record was looked at; none is tuned to a record. The answer is
an 80 % interval of the time the record states, and whether it lies in it.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from evac.factors import (
    DAY_SD,
    FATIGUE_PER_HOUR,
    HARD_LEAST_S,
    HARD_MOST_S,
    HARD_SHARE,
    TEAM_SD,
)
from evac.facts.lift import FloatArray, StepTime, Triple
from evac.reference import table_text
from evac.simulation.draws import stream
from evac.triples import fit

LOOP = "loop over the haul rope belayed from the ground"
ON_ROPE = "rescuer on the haul rope with a descender"


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One real evacuation as published; None where nothing is stated."""

    id: str
    ropeway: str
    people: int
    carriers: int | None
    rescuers: int | None
    teams: int | None
    stop_to_last_s: float | None
    lowering_s: float | None
    weather: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranges:
    """What is drawn where a record is silent: evenly from low to high.

    Common practice, no source, except heights (from real evacuations: chairs 6 to 15 m,
    gondolas 9 to 15 m) and the time before lowering (15 to 60 min to find the fault and
    decide, and teams on their way meanwhile or after).
    """

    teams: tuple[float, float] = (3.0, 15.0)
    """On a logarithmic scale: three is a small lift's own, fifteen a whole valley's."""
    crew: tuple[float, float] = (3.0, 5.0)
    rescuers_in_teams: tuple[float, float] = (0.5, 1.0)
    """The others command, receive, carry and drive."""
    occupancy: tuple[float, float] = (0.4, 1.0)
    """Of the seats of occupied carriers."""
    empty_share: tuple[float, float] = (0.2, 0.6)
    """Of all carriers, those that only have to be checked: the descending side."""
    carriers_per_span: tuple[float, float] = (3.0, 9.0)
    chair_height_m: tuple[float, float] = (6.0, 15.0)
    cabin_height_m: tuple[float, float] = (9.0, 15.0)
    start_spread_s: tuple[float, float] = (0.0, 1800.0)
    """The last team begins so much later than the first."""
    before_lowering_s: tuple[float, float] = (1800.0, 5400.0)
    """From the stop to the first lowering."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One record beside its interval.

    ``what`` is ``lowering`` or ``stop to last``: the time that the record states.
    ``reason`` is a words key below ``simulation.record.``: why it lies inside or not,
    or why nothing could be worked out (then the interval is None).
    """

    record: Record
    what: str
    stated_s: float | None
    interval_s: tuple[float, float] | None
    middle_s: float | None
    inside: bool | None
    reason: str


def published_records() -> tuple[Record, ...]:
    """The published evacuations that come with the program."""
    rows = csv.DictReader(table_text("evacuation_records.csv").splitlines())
    return tuple(
        Record(
            id=row["record"],
            ropeway=row["ropeway_type"],
            people=int(row["people"]),
            carriers=_whole(row["carriers"]),
            rescuers=_whole(row["rescuers"]),
            teams=_whole(row["teams"]),
            stop_to_last_s=_seconds(row["stop_to_last_min"]),
            lowering_s=_seconds(row["lowering_min"]),
            weather=row["weather"],
            source=row["source"],
        )
        for row in rows
    )


def _whole(text: str) -> int | None:
    return int(text) if text.strip() else None


def _seconds(text: str) -> float | None:
    return 60.0 * float(text) if text.strip() else None


def judge_records(
    records: Sequence[Record],
    step_times: Sequence[StepTime],
    *,
    ranges: Ranges | None = None,
    draws: int = 400,
    seed: int = 1,
) -> tuple[Verdict, ...]:
    """Give every record its 80 % interval and say whether it lies inside.

    Parameters
    ----------
    records : sequence of Record
    step_times : sequence of StepTime
        The published table: its step names are looked up one by one.
    ranges : Ranges, optional
        For what records do not say.
    draws : int
        Imagined evacuations a record.
    seed : int
        Of the draws; every record has its own.

    Returns
    -------
    tuple of Verdict
        One for every record, in the same order.

    Notes
    -----
    The people are shared out over carriers, the carriers over teams, evenly. Every
    carrier's time is drawn as in `evac.simulation.simulate`: low, likely and high as
    P10, mode and P90; a day's and a team's factor; hard cases; fatigue.
    """
    given = Ranges() if ranges is None else ranges
    return tuple(
        _judge(record, step_times, given, draws=draws, seed=seed) for record in records
    )


def _judge(
    record: Record,
    step_times: Sequence[StepTime],
    ranges: Ranges,
    *,
    draws: int,
    seed: int,
) -> Verdict:
    what = "lowering" if record.lowering_s is not None else "stop to last"
    stated_s = record.stop_to_last_s if record.lowering_s is None else record.lowering_s
    nothing = Verdict(
        record=record,
        what=what,
        stated_s=stated_s,
        interval_s=None,
        middle_s=None,
        inside=None,
        reason="no_time",
    )
    if stated_s is None:
        return nothing
    if "cable car" in record.ropeway:
        return replace(nothing, reason="one_cabin")
    generator = stream(seed, f"record {record.id}")
    took_s = np.array(
        [_one(record, step_times, ranges, generator) for _ in range(draws)]
    )
    if what == "stop to last":
        took_s = took_s + generator.uniform(*ranges.before_lowering_s, size=draws)
    low, middle, high = (float(np.quantile(took_s, share)) for share in (0.1, 0.5, 0.9))
    inside = low <= stated_s <= high
    if inside:
        reason = "inside_known_teams" if _teams_known(record) else "inside"
    else:
        reason = "longer" if stated_s > high else "shorter"
    return replace(
        nothing,
        interval_s=(low, high),
        middle_s=middle,
        inside=inside,
        reason=reason,
    )


def _teams_known(record: Record) -> bool:
    return record.teams is not None or record.rescuers is not None


def _one(
    record: Record,
    step_times: Sequence[StepTime],
    ranges: Ranges,
    generator: np.random.Generator,
) -> float:
    """One imagined evacuation: first lowering to the last on the ground [s]."""
    cabin = "gondola" in record.ropeway
    technique = ON_ROPE if cabin or generator.random() < 0.5 else LOOP
    teams = min(_teams(record, ranges, generator), record.people)
    people, empty = _carriers(record, ranges, generator)
    height_m = generator.uniform(
        *(ranges.cabin_height_m if cabin else ranges.chair_height_m)
    )
    times = _Times(step_times, technique=technique, cabin=cabin, height_m=height_m)
    occupied = np.array_split(generator.permutation(people), teams)
    checks = np.array_split(np.zeros(empty), teams)
    factor = np.exp(
        DAY_SD * generator.standard_normal()
        + TEAM_SD * generator.standard_normal(teams)
    )
    begins_s = np.sort(generator.random(teams)) * generator.uniform(
        *ranges.start_spread_s
    )
    per_span = generator.uniform(*ranges.carriers_per_span)
    ends_s = [
        begins_s[team]
        + _work_s(
            np.concatenate([occupied[team], checks[team]]),
            times,
            factor=float(factor[team]) * _weather_factor(record.weather),
            per_span=per_span,
            generator=generator,
        )
        for team in range(teams)
    ]
    return float(max(ends_s) - begins_s[0])


def _teams(record: Record, ranges: Ranges, generator: np.random.Generator) -> int:
    if record.teams is not None:
        return record.teams
    if record.rescuers is not None:
        working = record.rescuers * generator.uniform(*ranges.rescuers_in_teams)
        return max(round(working / generator.uniform(*ranges.crew)), 1)
    low, high = np.log(ranges.teams)
    return max(round(float(np.exp(generator.uniform(low, high)))), 1)


def _carriers(
    record: Record, ranges: Ranges, generator: np.random.Generator
) -> tuple[FloatArray, int]:
    """People in every occupied carrier, and how many carriers are empty."""
    stated = re.search(r"(\d+)-seat", record.ropeway)
    seats = int(stated[1]) if stated else int(generator.choice([2, 3, 4, 6]))
    filled = seats * generator.uniform(*ranges.occupancy)
    occupied = max(round(record.people / filled), -(-record.people // seats))
    empty_share = generator.uniform(*ranges.empty_share)
    empty = round(occupied * empty_share / (1 - empty_share))
    if record.carriers is not None:
        occupied = min(max(-(-record.people // seats), 1), record.carriers)
        empty = record.carriers - occupied
    share = record.people / occupied
    people = np.diff(np.floor(np.arange(occupied + 1) * share + 1e-9))
    return people, empty


class _Times:
    """Low, likely and high of a carrier with so many people, and of a span's set-up."""

    def __init__(
        self,
        step_times: Sequence[StepTime],
        *,
        technique: str,
        cabin: bool,
        height_m: float,
    ) -> None:
        on_rope = technique == ON_ROPE
        back = "bring the gear back (two-ended)" if on_rope else "bring the gear back"
        ready = "make ready in a cabin" if on_rope and cabin else "make ready"
        check = "check a closed cabin" if cabin else "check an empty chair"
        first = "climb the first support and get on the rope"
        rows = {(item.technique, item.step): item.seconds for item in step_times}

        def row(step: str) -> FloatArray:
            return _triple(rows[technique, step])

        carrier = row("reach the next carrier") + row(ready) + row("leave the carrier")
        passenger = row("prepare a passenger") + row("release on the ground")
        passenger = passenger + height_m * row("lower")
        passenger = passenger + row(back) * (1.0 if on_rope else height_m)
        self.carrier, self.passenger = carrier, passenger
        self.check = row("reach the next carrier") + row(
            check if on_rope else "check an empty carrier"
        )
        self.set_up = row(first if on_rope else "first set-up in a span")


def _triple(seconds: Triple) -> FloatArray:
    return np.array([seconds.low, seconds.likely, seconds.high])


def _work_s(
    people: FloatArray,
    times: _Times,
    *,
    factor: float,
    per_span: float,
    generator: np.random.Generator,
) -> float:
    """One team's seconds for its carriers, fatigue and hard cases included."""
    if people.size == 0:
        return 0.0
    each = np.where(
        people[:, None] > 0,
        times.carrier + people[:, None] * times.passenger,
        times.check,
    )
    # A set-up where the next span begins, timed on its own.
    starts = np.diff(np.floor(np.arange(people.size + 1) / per_span), prepend=-1.0)[:-1]
    set_ups = np.where(starts[:, None] > 0, times.set_up, 0.0)
    triples = np.concatenate([each, set_ups])
    drawn = fit(triples[:, 0], triples[:, 1], triples[:, 2]).at(
        generator.standard_normal(len(triples))
    )
    took = (drawn[: people.size] + drawn[people.size :]) * factor
    hard = (people > 0) & (generator.random(people.size) < HARD_SHARE)
    extra = np.where(
        hard, generator.uniform(HARD_LEAST_S, HARD_MOST_S, people.size), 0.0
    )
    clock_s = 0.0
    for seconds, more in zip(took, extra, strict=True):
        tired = 1.0 + FATIGUE_PER_HOUR * max(clock_s / 3600.0 - 1.0, 0.0)
        clock_s += seconds * tired + more
    return clock_s


def _weather_factor(weather: str) -> float:
    """Multipliers of rule 27 for what the record says of the weather."""
    factor = 1.0
    if re.search(r"dusk|dark", weather):
        factor *= 1.3
    if re.search(r"gust|blizzard", weather):
        factor *= 1.3
    return factor
