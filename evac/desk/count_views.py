"""The three counts: people expected, lowered, received, and what is still open."""

from __future__ import annotations

from collections.abc import Mapping

import ipywidgets as widgets

from evac.carriers import (
    Counts,
    PeopleOnLine,
    both_sides,
    people_from_gate,
    people_on_line,
)
from evac.clearing import make_schedule
from evac.desk.workbench import Workbench, sentence_html
from evac.facts.lift import Lift, Side
from evac.facts.plan import Plan
from evac.line import line_length_m
from evac.words import Words

_WIDE = {"description_width": "320px"}
_LAYOUT = {"width": "460px"}
_MOST = 10_000


def three_counts(bench: Workbench) -> widgets.VBox:
    """Enter tallies and counts; what keeps the line open is said at once (rule 23)."""
    words = bench.words

    def entry(key: str) -> widgets.BoundedIntText:
        return widgets.BoundedIntText(
            value=0,
            min=0,
            max=_MOST,
            description=words.say(f"desk.count_{key}"),
            style=_WIDE,
            layout=_LAYOUT,
        )

    stop = widgets.Dropdown(
        description=words.say("desk.ask_stop"), style=_WIDE, layout=_LAYOUT
    )
    gate, lowered, received, rescuers = (
        entry(key) for key in ("gate", "lowered", "received", "rescuers")
    )
    tallied = widgets.VBox()
    intro, text = widgets.HTML(), widgets.HTML()

    def show(_change: object = None) -> None:
        plan = bench.plan
        if plan is None:
            text.value = ""
            return
        counts = Counts(
            expected=expected_people(plan, at_gate=gate.value),
            lowered=lowered.value,
            received=received.value,
            untallied={
                row.description: row.max - row.value
                for row in tallied.children
                if row.value < row.max
            },
            rescuers_out=rescuers.value,
        )
        text.value = sentence_html("\n".join(count_lines(counts, words)))

    def recount(_change: object = None) -> None:
        plan = bench.plan
        rows = []
        if plan is not None and stop.value is not None:
            standing = carriers_of(plan, words, stop_index=stop.value)
            for who, carriers in standing.items():
                row = widgets.BoundedIntText(
                    value=0,
                    min=0,
                    max=carriers,
                    description=who,
                    style=_WIDE,
                    layout=_LAYOUT,
                )
                row.observe(show, names="value")
                rows.append(row)
        tallied.children = tuple(rows)
        show()

    def follow(plan: Plan | None) -> None:
        stop.options = ()
        intro.value = ""
        if plan is not None:
            ride_s = _ride_s(plan.lift)
            intro.value = sentence_html(words.say("desk.count_intro", ride_s=ride_s))
            stop.options = [
                (words.length(float(offset_m)), row)
                for row, offset_m in enumerate(plan.heights.stops.offset_m)
            ]
            stop.index = 0
            working = {zone.team for zone in plan.assignment.zones}
            rescuers.value = sum(
                team.crew for team in plan.lift.teams if team.id in working
            )
        recount()

    for widget in (gate, lowered, received, rescuers):
        widget.observe(show, names="value")
    stop.observe(recount, names="value")
    bench.follow(follow)
    return widgets.VBox([intro, stop, gate, tallied, lowered, received, rescuers, text])


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
        sides[Side.ASCENDING] = people_from_gate(at_gate, ride_s=_ride_s(plan.lift))
    return both_sides(sides)


def _ride_s(lift: Lift) -> float:
    return line_length_m(lift) / lift.drives.line_speed_m_per_s


def carriers_of(plan: Plan, words: Words, *, stop_index: int) -> Mapping[str, int]:
    """Carriers that each team has to log at a stop, and those that nobody has."""
    schedule = make_schedule(
        plan.lift,
        plan.heights,
        plan.work,
        plan.assignment,
        stop_index=stop_index,
        gates=plan.gates,
    )
    found: dict[str, int] = {}
    for rescue in schedule.rescues:
        found[rescue.team] = found.get(rescue.team, 0) + 1
    spans = plan.heights.stops.span_index.values()
    standing = sum(int((rows[stop_index] >= 0).sum()) for rows in spans)
    if nobody := standing - len(schedule.rescues):
        found[words.say("desk.count_nobody")] = nobody
    return found


def count_lines(counts: Counts, words: Words) -> list[str]:
    """The counts side by side, what is open, and whether the line is clear."""
    expected = counts.expected
    lines = [
        words.say(
            "desk.count_expected",
            low=expected.low,
            high=expected.high,
            lowered=counts.lowered,
            received=counts.received,
        )
    ]
    if counts.untallied:
        lines.append(
            words.say(
                "desk.count_untallied",
                carriers=", ".join(
                    f"{who} {count}" for who, count in counts.untallied.items()
                ),
            )
        )
    if counts.missing > 0:
        lines.append(words.say("desk.count_missing", count=counts.missing))
    if counts.missing < 0:
        lines.append(words.say("desk.count_too_many", count=-counts.missing))
    if counts.rescuers_out:
        lines.append(words.say("desk.count_rescuers_out", count=counts.rescuers_out))
    if not counts.line_clear:
        lines.append(words.say("desk.count_open"))
    elif counts.within_expected:
        lines.append(words.say("desk.count_clear"))
    else:
        lines.append(words.say("desk.count_again"))
    return lines
