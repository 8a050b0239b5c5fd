"""It has begun: the rest shared out from where everybody stands; one sighting."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import ipywidgets as widgets

from evac.carriers import Sighting, nearest_stop, number_carriers
from evac.clearing import make_schedule
from evac.desk.plan_views import table_html, zone_rows
from evac.desk.workbench import Workbench, sentence_html
from evac.errors import EvacError
from evac.facts.change import Replanned, Situation
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.facts.work import NEVER_S
from evac.figures.stop_view import png_bytes
from evac.figures.team_map import background, team_map
from evac.replan import replan
from evac.words import Words

_WIDE = {"description_width": "200px"}
_LAYOUT = {"width": "520px"}
_SHORT = {"width": "150px"}
_MOST_MIN = 8 * 60
_MINUTE_S = 60.0
_SCREEN_DPI = 90


@dataclass(frozen=True, slots=True, kw_only=True)
class _TeamRow:
    """What is known of one team: whether it came, what it cleared, what it is at."""

    team: str
    came: widgets.Checkbox
    cleared: widgets.BoundedIntText
    in_hand: widgets.BoundedIntText

    @property
    def inputs(self) -> tuple[widgets.Widget, ...]:
        """All that can be changed."""
        return self.came, self.cleared, self.in_hand


def it_has_begun(bench: Workbench) -> widgets.VBox:
    """Enter where the evacuation stands; a click shares out what is left.

    The result is taken away as soon as anything above it is changed, so that nobody
    reads an answer to an older question.
    """
    words = bench.words
    now = widgets.BoundedIntText(
        value=60,
        min=0,
        max=_MOST_MIN,
        description=words.say("desk.begun_now"),
        style=_WIDE,
        layout=_LAYOUT,
    )
    stop = widgets.Dropdown(
        description=words.say("desk.ask_stop"), style=_WIDE, layout=_LAYOUT
    )
    doubtful, shut = (
        widgets.SelectMultiple(
            description=words.say(f"desk.begun_{key}"),
            rows=4,
            style=_WIDE,
            layout=_LAYOUT,
        )
        for key in ("doubtful", "shut")
    )
    dark = widgets.Checkbox(description=words.say("desk.begun_dark"), style=_WIDE)
    teams = widgets.VBox()
    go_on = widgets.Button(
        description=words.say("desk.begun_go"), layout={"width": "260px"}
    )
    text, table = widgets.HTML(), widgets.HTML()
    place = widgets.Image(format="png", layout={"max_width": "100%"})
    rows: list[_TeamRow] = []

    def clear(_change: object = None) -> None:
        text.value = table.value = ""
        place.value = b""

    def recount(_change: object = None) -> None:
        if bench.plan is not None and stop.value is not None:
            _set_most(rows, bench.plan, stop_index=stop.value)
        clear()

    def share_out(_button: object) -> None:
        clear()
        plan = bench.plan
        if plan is None:
            return
        situation = Situation(
            now_s=now.value * _MINUTE_S,
            stop_index=stop.value,
            cleared={row.team: row.cleared.value for row in rows if row.cleared.value},
            in_hand_s={
                row.team: row.in_hand.value * _MINUTE_S
                for row in rows
                if row.in_hand.value
            },
            missing_teams=tuple(row.team for row in rows if not row.came.value),
            doubtful_supports=tuple(doubtful.value),
            gates_open_s=dict.fromkeys(shut.value, float(NEVER_S)),
            dark=dark.value,
        )
        try:
            found = replan(plan, situation)
        except EvacError as error:
            text.value = sentence_html(str(error))
            return
        shown = _as_plan(plan, found)
        text.value = sentence_html("\n".join(rest_lines(plan, found, words)))
        table.value = table_html(zone_rows(shown, words))
        if shown.assignment.zones:
            figure = team_map(
                shown,
                found.schedule,
                stops=found.heights.stops,
                stop_index=0,
                below=background(shown, words=words, dots_per_inch=_SCREEN_DPI),
                words=words,
            )
            place.value = png_bytes(figure, dots_per_inch=_SCREEN_DPI)

    def follow(plan: Plan | None) -> None:
        rows.clear()
        stop.options = doubtful.options = shut.options = ()
        if plan is not None:
            rows.extend(_team_rows(plan, words, changed=clear))
            stop.options = [
                (words.length(float(offset_m)), row)
                for row, offset_m in enumerate(plan.heights.stops.offset_m)
            ]
            stop.index = 0
            doubtful.options = [
                support.id for support in plan.lift.supports if not support.mark
            ]
            shut.options = [
                (f"{hazard.name or hazard.id} ({hazard.kind})", hazard.id)
                for hazard in plan.lift.hazards
            ]
        teams.children = tuple(widgets.HBox(row.inputs) for row in rows)
        recount()

    for widget in (now, doubtful, shut, dark):
        widget.observe(clear, names="value")
    stop.observe(recount, names="value")
    go_on.on_click(share_out)
    bench.follow(follow)
    return widgets.VBox(
        [now, stop, doubtful, shut, dark, teams, go_on, text, table, place]
    )


def _team_rows(
    plan: Plan, words: Words, *, changed: Callable[[object], None]
) -> list[_TeamRow]:
    rows = [
        _TeamRow(
            team=team.id,
            came=widgets.Checkbox(
                value=True, description=team.id, indent=False, layout={"width": "240px"}
            ),
            cleared=widgets.BoundedIntText(
                min=0,
                max=0,
                description=words.say("desk.begun_cleared"),
                layout=_SHORT,
            ),
            in_hand=widgets.BoundedIntText(
                min=0,
                max=_MOST_MIN,
                description=words.say("desk.begun_in_hand"),
                style={"description_width": "initial"},
                layout={"width": "260px"},
            ),
        )
        for team in plan.lift.teams
    ]
    for row in rows:
        for widget in row.inputs:
            widget.observe(changed, names="value")
    return rows


def _set_most(rows: list[_TeamRow], plan: Plan, *, stop_index: int) -> None:
    """No team can have cleared more carriers than its zone holds at this stop."""
    schedule = make_schedule(
        plan.lift,
        plan.heights,
        plan.work,
        plan.assignment,
        stop_index=stop_index,
        gates=plan.gates,
    )
    for row in rows:
        most = sum(rescue.team == row.team for rescue in schedule.rescues)
        row.cleared.max = most
        row.cleared.disabled = row.in_hand.disabled = most == 0


def _as_plan(plan: Plan, found: Replanned) -> Plan:
    """The plan with the rest of the evacuation in it, for tables and the map."""
    return replace(
        plan,
        lift=found.lift,
        heights=found.heights,
        work=found.work,
        assignment=found.assignment,
        schedule=found.schedule,
    )


def rest_lines(plan: Plan, found: Replanned, words: Words) -> list[str]:
    """Who is left, by when the last is down, and whether anybody has to move."""
    spans = plan.heights.line.spans
    left = found.assignment.uncovered
    lines = [
        words.say("desk.begun_left", people=found.people_left),
        words.say("desk.verdict_reached")
        if not left
        else words.say(
            "desk.verdict_not_reached",
            units=", ".join(
                f"{spans[unit.span_index].id} {unit.side.value}" for unit in left
            ),
        ),
    ]
    if found.assignment.zones:
        lines.append(words.say("desk.begun_last", clear_s=found.schedule.clear_s))
    if found.kept:
        lines.append(words.say("desk.begun_kept"))
    elif found.kept_uncovered > found.assignment.objectives[0]:
        lines.append(words.say("desk.begun_moved_reach", people=found.kept_uncovered))
    else:
        lines.append(words.say("desk.begun_moved", gain_s=found.kept_s - found.moved_s))
    lines += [" ".join(words.finding(item)) for item in found.findings]
    return lines


def one_sighting(bench: Workbench) -> widgets.VBox:
    """Enter the number of one carrier and where it hangs; all others follow."""
    words = bench.words
    number = widgets.Text(description=words.say("desk.seen_number"), style=_WIDE)
    side = widgets.Dropdown(
        options=[(item.value, item) for item in Side],
        description=words.say("desk.seen_side"),
        style=_WIDE,
    )
    at = widgets.BoundedFloatText(
        min=0.0, max=0.0, step=1.0, description=words.say("desk.seen_at"), style=_WIDE
    )
    text, table = widgets.HTML(), widgets.HTML()

    def show(_change: object = None) -> None:
        text.value = table.value = ""
        plan = bench.plan
        if plan is None:
            return
        if not plan.lift.carriers.numbers:
            text.value = sentence_html(words.say("desk.seen_no_numbers"))
            return
        if not number.value.strip():
            text.value = sentence_html(words.say("desk.seen_enter"))
            return
        sighting = Sighting(
            number=number.value.strip(), side=side.value, distance_m=at.value
        )
        try:
            lines, rows = _numbered(plan, sighting, words)
        except EvacError as error:
            text.value = sentence_html(str(error))
            return
        text.value, table.value = sentence_html("\n".join(lines)), table_html(rows)

    def follow(plan: Plan | None) -> None:
        at.max = 0.0 if plan is None else plan.lift.supports[-1].distance_m
        show()

    for widget in (number, side, at):
        widget.observe(show, names="value")
    bench.follow(follow)
    return widgets.VBox([number, side, at, text, table])


def _numbered(
    plan: Plan, sighting: Sighting, words: Words
) -> tuple[list[str], list[list[str]]]:
    """What the sighting says, and every carrier in order of the stop grid."""
    stops = plan.heights.stops
    row = nearest_stop(stops, sighting)
    numbers = number_carriers(plan.lift, stops, stop_index=row, sighting=sighting)
    lines = [words.say("desk.seen_stop", stop_offset_m=float(stops.offset_m[row]))]
    lines += [
        words.say("desk.seen_doubtful", side=side.value) for side in numbers.doubtful
    ]
    keys = ("number", "side", "span", "at", "team")
    rows = [[words.say(f"desk.seen_column_{key}") for key in keys]]
    schedule = make_schedule(
        plan.lift,
        plan.heights,
        plan.work,
        plan.assignment,
        stop_index=row,
        gates=plan.gates,
    )
    team_of = {(item.side, item.distance_m): item.team for item in schedule.rescues}
    for side in Side:
        for column, span in enumerate(stops.span_index[side][row]):
            if span < 0:
                continue
            distance_m = float(stops.distance_m[side][row, column])
            rows.append(
                [
                    numbers.by_place[side][column] or "?",
                    side.value,
                    plan.heights.line.spans[int(span)].id,
                    words.number(distance_m, 0),
                    team_of.get((side, distance_m), "-"),
                ]
            )
    return lines, rows
