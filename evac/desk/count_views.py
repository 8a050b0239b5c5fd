"""The three counts: people expected, lowered, received, and what is still open."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import ipywidgets as widgets
import numpy as np

from evac.assignment.costs import legs
from evac.carriers import (
    Counts,
    PeopleOnLine,
    both_sides,
    people_from_gate,
    people_on_line,
)
from evac.desk.workbench import Workbench, sentence_html
from evac.facts.heights import IntArray
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.gear import people_needed
from evac.line import ride_s
from evac.words import Words

_WIDE = {"description_width": "340px"}
_LAYOUT = {"width": "480px"}
_MOST = 10_000
"""Far above any count, so that none is cut off at what the plan reckons."""

_ENTRIES = ("gate", "parked", "lowered", "received", "out")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reckoned:
    """Hanging carriers by the plan: fewest and most over all stop positions."""

    low: int
    high: int


def three_counts(bench: Workbench) -> widgets.VBox:
    """Enter tallies and counts; what keeps the line open is said at once (rule 23).

    Parameters
    ----------
    bench : Workbench

    Returns
    -------
    ipywidgets.VBox
        Another folder sets every count back; the same one read again keeps them.
    """
    words = bench.words
    entries = {key: _entry(words.say(f"desk.count_{key}")) for key in _ENTRIES}
    rows: dict[str, widgets.BoundedIntText] = {}
    tallied, intro, text = widgets.VBox(), widgets.HTML(), widgets.HTML()
    counted_for: Path | None = None

    def show(_change: object = None) -> None:
        plan = bench.plan
        lines = [] if plan is None else _lines(plan, entries, rows, words)
        text.value = sentence_html("\n".join(lines)) if lines else ""

    def follow(plan: Plan | None) -> None:
        nonlocal counted_for
        if bench.folder != counted_for:
            counted_for = bench.folder
            rows.clear()
            for entry in entries.values():
                entry.value = 0
        intro.value, tallied.children = "", ()
        if plan is not None:
            if not rows:
                entries["out"].value = people_at_work(plan)
            _renew(rows, plan, show, words)
            tallied.children = tuple(rows.values())
            intro.value = sentence_html(
                words.say(
                    "desk.count_intro",
                    ride_exact_s=ride_s(plan.lift),
                    people=people_at_work(plan),
                )
            )
        show()

    for entry in entries.values():
        entry.observe(show, names="value")
    bench.follow(follow)
    gate, *others = entries.values()
    return widgets.VBox([intro, gate, tallied, *others, text])


def _entry(description: str) -> widgets.BoundedIntText:
    return widgets.BoundedIntText(
        value=0,
        min=0,
        max=_MOST,
        description=description,
        style=_WIDE,
        layout=_LAYOUT,
    )


def _renew(
    rows: dict[str, widgets.BoundedIntText],
    plan: Plan,
    show: Callable[[object], None],
    words: Words,
) -> None:
    """One row a team of this plan; a team that was there before keeps its count."""
    kept = {who: row.value for who, row in rows.items()}
    rows.clear()
    for who, reckoned in carriers_of(plan, words).items():
        key = "count_team_sure" if reckoned.low == reckoned.high else "count_team"
        row = _entry(
            words.say(f"desk.{key}", team=who, low=reckoned.low, high=reckoned.high)
        )
        row.value = kept.get(who, 0)
        row.observe(show, names="value")
        rows[who] = row


def _lines(
    plan: Plan,
    entries: Mapping[str, widgets.BoundedIntText],
    rows: Mapping[str, widgets.BoundedIntText],
    words: Words,
) -> list[str]:
    lines = gate_doubt(plan, at_gate=entries["gate"].value, words=words)
    logged = {who: row.value for who, row in rows.items()}
    hanging = hanging_carriers(plan)
    counts = Counts(
        expected=expected_people(plan, at_gate=entries["gate"].value),
        lowered=entries["lowered"].value,
        received=entries["received"].value,
        logged=sum(logged.values()),
        parked=entries["parked"].value,
        on_loop=plan.lift.carriers.on_loop,
        reckoned=hanging.low,
        out=entries["out"].value,
    )
    unlike = {
        who: (logged[who], reckoned)
        for who, reckoned in carriers_of(plan, words).items()
        if who in logged and not reckoned.low <= logged[who] <= reckoned.high
    }
    return lines + count_lines(counts, hanging=hanging, unlike=unlike, words=words)


def expected_people(plan: Plan, *, at_gate: int) -> PeopleOnLine:
    """People to expect on the line: counted at the entry gate, else by occupancy.

    Parameters
    ----------
    plan : Plan
    at_gate : int
        People who passed the gate within one ride before the stop; 0: not counted.
        The gate counts those who ride up; who rides down comes from the occupancy.
    """
    sides = dict(people_on_line(plan.lift, plan.heights.stops))
    if at_gate:
        sides[Side.ASCENDING] = people_from_gate(at_gate, ride_s=ride_s(plan.lift))
    return both_sides(sides)


def gate_doubt(plan: Plan, *, at_gate: int, words: Words) -> list[str]:
    """Say where more were counted at the gate than there are seats uphill.

    Parameters
    ----------
    plan : Plan
    at_gate : int
        People who passed the gate within one ride before the stop; 0: not counted.
    words : Words

    Returns
    -------
    list of str
        One sentence, or none.
    """
    hanging = (plan.heights.stops.span_index[Side.ASCENDING] >= 0).sum(axis=1)
    seats = int(hanging.max()) * plan.lift.carriers.seats
    if at_gate <= seats:
        return []
    return [words.say("desk.count_gate_doubt", people=at_gate, seats=seats)]


def people_at_work(plan: Plan) -> int:
    """Everybody whom the plan needs at once, to be counted back one by one.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    int
        Teams, roles, informers, people at hazards and receivers (rule 21).
    """
    points = set(plan.muster_point.values())
    needed = people_needed(plan.lift, plan.work.options, plan.gates, points=points)
    return needed.total


def hanging_carriers(plan: Plan) -> Reckoned:
    """Carriers that hang on both sides together, over all stop positions."""
    return _reckon(_standing(plan))


def carriers_of(plan: Plan, words: Words) -> Mapping[str, Reckoned]:
    """Carriers that each team has to log, and those that nobody has.

    Parameters
    ----------
    plan : Plan
    words : Words
        For the name of the row that no team has.

    Returns
    -------
    mapping of str to Reckoned
        Every team with a zone; where a stop leaves carriers to nobody, those too.
    """
    rows = plan.heights.stops.span_index
    left = _standing(plan)
    found = {zone.team: np.zeros_like(left) for zone in plan.assignment.zones}
    for zone in plan.assignment.zones:
        for leg in legs(plan.work, zone):
            hanging = (rows[leg.side] == leg.span_index).sum(axis=1)
            found[zone.team] += hanging
            left = left - hanging
    if left.any():
        found[words.say("desk.count_nobody")] = left
    return {who: _reckon(count) for who, count in found.items()}


def _standing(plan: Plan) -> IntArray:
    sides = plan.heights.stops.span_index.values()
    count: IntArray = np.sum([(rows >= 0).sum(axis=1) for rows in sides], axis=0)
    return count


def _reckon(count: IntArray) -> Reckoned:
    return Reckoned(low=int(count.min()), high=int(count.max()))


def count_lines(
    counts: Counts,
    *,
    hanging: Reckoned,
    unlike: Mapping[str, tuple[int, Reckoned]],
    words: Words,
) -> list[str]:
    """The counts side by side, what is open, and whether the line is clear.

    Parameters
    ----------
    counts : Counts
    hanging : Reckoned
        On both sides together.
    unlike : mapping of str to (int, Reckoned)
        Who logged fewer or more carriers than the plan reckons: how many, and those.
    words : Words

    Returns
    -------
    list of str
    """
    expected = counts.expected
    lines = [
        words.say(
            "desk.count_expected",
            low=expected.low,
            high=expected.high,
            source=words.say(f"desk.count_from_{expected.source}"),
            lowered=counts.lowered,
            received=counts.received,
        ),
        *_carrier_lines(counts, hanging, words),
    ]
    if unlike:
        teams = ", ".join(
            words.say(
                "desk.count_unlike_team",
                team=who,
                logged=logged,
                low=reckoned.low,
                high=reckoned.high,
            )
            for who, (logged, reckoned) in unlike.items()
        )
        lines.append(words.say("desk.count_unlike", teams=teams))
    if counts.missing > 0:
        lines.append(words.say("desk.count_missing", count=counts.missing))
    if counts.missing < 0:
        lines.append(words.say("desk.count_too_many", count=-counts.missing))
    if counts.out:
        lines.append(words.say("desk.count_still_out", count=counts.out))
    return [*lines, *_answer(counts, hanging, words)]


def _carrier_lines(counts: Counts, hanging: Reckoned, words: Words) -> list[str]:
    if counts.untallied == 0:
        return []
    if counts.on_loop is None:
        values = {"logged": counts.logged, "low": hanging.low, "high": hanging.high}
        return [words.say("desk.count_too_few", **values)]
    key = "desk.count_untallied" if counts.untallied > 0 else "desk.count_twice"
    return [words.say(key, count=abs(counts.untallied), on_loop=counts.on_loop)]


def _answer(counts: Counts, hanging: Reckoned, words: Words) -> list[str]:
    if not counts.nothing_open:
        return [words.say("desk.count_open")]
    lines = []
    if counts.on_loop is None:
        values = {"logged": counts.logged, "low": hanging.low, "high": hanging.high}
        lines.append(words.say("desk.count_unknown", **values))
    if not counts.within_expected:
        lines.append(words.say("desk.count_again"))
    elif counts.line_clear:
        lines.append(words.say("desk.count_clear", on_loop=counts.on_loop or 0))
    return lines
