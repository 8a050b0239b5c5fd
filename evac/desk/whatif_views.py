"""What if: widgets for the day and the stop; heights, zones, times and map follow."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

import ipywidgets as widgets

from evac import access
from evac.desk.plan_views import latest_text, table_html, verdict_lines, zone_rows
from evac.desk.stop_views import highest_text
from evac.desk.whatif_inputs import fill, make_inputs, question_of
from evac.desk.workbench import Workbench, quietly, sentence_html
from evac.errors import EvacError
from evac.facts.finding import Finding
from evac.facts.heights import Heights
from evac.facts.lift import TensionState
from evac.facts.plan import Plan
from evac.figures.stop_view import png_bytes, stop_view
from evac.figures.team_map import Background, background, team_map
from evac.whatif import Answer, Question, ask, heights_for, new_findings
from evac.words import Words

_SCREEN_DPI = 90


class _Known:
    """What need not be worked out again while one plan is asked about."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._heights: dict[TensionState, Heights] = {
            plan.lift.tension.state: plan.heights
        }
        self._base: dict[int | None, Answer] = {}
        self._ways_in: access.WaysIn | None = None
        self._below: dict[frozenset[int], Background] = {}

    def has(self, state: TensionState) -> bool:
        """Whether the rope was solved for this tension state before."""
        return state in self._heights

    def heights(self, state: TensionState) -> Heights:
        """Heights under a tension state, solved once."""
        if state not in self._heights:
            self._heights[state] = heights_for(self.plan, state)
        return self._heights[state]

    def below(self, plan: Plan, words: Words) -> Background:
        """The map below the marks, drawn once for the same spans with a team."""
        spans = frozenset(
            span
            for zone in plan.assignment.zones
            for span in range(zone.first_span, zone.last_span + 1)
        )
        if spans not in self._below:
            self._below[spans] = background(
                plan, words=words, dots_per_inch=_SCREEN_DPI
            )
        return self._below[spans]

    def base(self, stop_index: int | None) -> Answer:
        """The plan as it is, at this stop: what an answer is compared with."""
        if stop_index not in self._base:
            question = Question(stop_index=stop_index)
            self._base[stop_index] = ask(self.plan, question, heights=self.plan.heights)
        return self._base[stop_index]

    def answer(self, question: Question) -> Answer:
        """The answer to a question, the rope solved anew only where it must be."""
        if question == Question(stop_index=question.stop_index):
            return self.base(question.stop_index)
        return ask(
            self.plan,
            question,
            heights=self.heights(question.tension or self.plan.lift.tension.state),
            ways_in=self.ways_in,
        )

    @property
    def ways_in(self) -> access.WaysIn:
        """Ways in of the plan's lift with every team, made ready once."""
        if self._ways_in is None:
            lift = self.plan.lift
            everyone = replace(lift, teams=(*lift.teams, *lift.off_duty), off_duty=())
            self._ways_in = access.open_ways(everyone, self.plan.heights.line)
        return self._ways_in


def what_if(bench: Workbench) -> widgets.VBox:
    """Sliders for stop, load, tension, teams, weather and hour; the plan follows."""
    words = bench.words
    inputs = make_inputs(words)
    reset = widgets.Button(description=words.say("desk.ask_reset"))
    status, text, times, findings = (widgets.HTML() for _ in range(4))
    zones = widgets.HTML(layout={"min_width": "520px"})
    picture = widgets.Image(format="png", layout={"max_width": "100%"})
    place = widgets.Image(format="png", layout={"width": "520px"})
    known: list[_Known] = []

    def clear(message: str = "") -> None:
        status.value = sentence_html(message) if message else ""
        text.value = times.value = zones.value = findings.value = ""
        picture.value = place.value = b""

    def show(_change: object = None) -> None:
        if not known:
            clear()
            return
        begun = time.perf_counter()
        question = question_of(inputs)
        solve = not known[0].has(inputs.tension.value)
        if solve:
            clear(words.say("desk.working_rope"))
        try:
            answer = known[0].answer(question)
            base = known[0].base(question.stop_index)
        except EvacError as error:
            clear(str(error))
            return
        text.value = sentence_html("\n".join(answer_lines(answer, words)))
        times.value = table_html(comparison_rows(base, answer, words))
        zones.value = table_html(zone_rows(answer.plan, words))
        picture.value, place.value = _pictures(
            answer, words, below=known[0].below(answer.plan, words)
        )
        findings.value = _findings_html(new_findings(answer, base), words)
        took = words.number(time.perf_counter() - begun, 1)
        key = "desk.answered_rope" if solve else "desk.answered"
        status.value = sentence_html(words.say(key, took=took))

    def set_to(plan: Plan | None) -> None:
        with quietly(show, *inputs.single):
            fill(inputs, plan, words)
        for box in inputs.teams.children:
            box.observe(show, names="value")

    def follow(plan: Plan | None) -> None:
        known.clear()
        set_to(plan)
        if plan is not None:
            known.append(_Known(plan))
        show()

    def back(_button: object) -> None:
        set_to(bench.plan)
        show()

    for widget in inputs.single:
        widget.observe(show, names="value")
    reset.on_click(back)
    bench.follow(follow)
    return widgets.VBox(
        [
            widgets.HBox(
                [
                    widgets.VBox([inputs.stop, inputs.load, inputs.tension]),
                    widgets.VBox([inputs.hour, inputs.snow, inputs.air, inputs.wind]),
                ]
            ),
            widgets.HTML(sentence_html(words.say("desk.ask_teams"))),
            inputs.teams,
            reset,
            status,
            widgets.HBox([times, text]),
            picture,
            widgets.HBox([place, zones]),
            findings,
        ]
    )


def answer_lines(answer: Answer, words: Words) -> list[str]:
    """What an answer says, sentence by sentence; what was not checked is said too."""
    plan = answer.plan
    reached, limit, _ = verdict_lines(plan, words)
    lines = [
        reached,
        limit,
        words.say("desk.people_on_line", people=answer.people),
        highest_text(plan.heights.units, answer.stops, words),
        _order_text(answer, words),
    ]
    if answer.dark and answer.question.stop_clock_s is not None:
        lines.append(words.say("desk.ask_dark"))
    if answer.question.snow_m is not None:
        lines.append(words.say("desk.ask_snow_note"))
    return lines


def _order_text(answer: Answer, words: Words) -> str:
    followed = answer.followed
    if followed is None:
        return words.say("desk.order_none")
    stop_m = answer.schedule.stop_offset_m
    if followed.left:
        named = ", ".join(dict.fromkeys(name for _, name in followed.left))
        return words.say("desk.order_lifts", checked_m=stop_m, supports=named)
    if followed.raised is not None:
        return words.say(
            "desk.order_left_envelope",
            checked_m=stop_m,
            above_m=followed.above_m,
            below_m=followed.below_m,
        )
    if answer.question.stop_index is None:
        return words.say("desk.order_followed_at", checked_m=stop_m)
    return words.say("desk.order_followed")


def comparison_rows(base: Answer, answer: Answer, words: Words) -> list[list[str]]:
    """As planned beside as asked, over the same imagined days; headings first."""
    rows = [["", words.say("desk.ask_planned"), words.say("desk.ask_asked")]]
    for key in ("p50", "p90"):
        shown = [
            words.duration(getattr(each.plan.simulation, f"{key}_s"))
            for each in (base, answer)
        ]
        rows.append([words.say(f"desk.ask_{key}"), *shown])
    latest = [_latest(each.plan, words) for each in (base, answer)]
    return [*rows, [words.say("desk.ask_latest"), *latest]]


def _latest(plan: Plan, words: Words) -> str:
    text = latest_text(plan.clock.binding, words)
    if plan.everyone_reached or plan.clock.binding is None:
        return text
    return words.say("desk.latest_of_reached", latest=text)


def _pictures(
    answer: Answer, words: Words, *, below: Background
) -> tuple[bytes, bytes]:
    plan = answer.plan
    profile = stop_view(
        plan.heights, answer.stops, carriers=plan.lift.carriers, words=words
    )
    above = team_map(
        plan,
        answer.schedule,
        stops=plan.heights.stops,
        stop_index=answer.question.stop_index or 0,
        below=below,
        words=words,
    )
    return (
        png_bytes(profile, dots_per_inch=_SCREEN_DPI),
        png_bytes(above, dots_per_inch=_SCREEN_DPI),
    )


def _findings_html(found: Sequence[Finding], words: Words) -> str:
    if not found:
        return sentence_html(words.say("desk.ask_nothing_new"))
    rows = [["", words.say("desk.ask_new_findings"), ""]]
    rows += [
        [
            words.say(f"summary.severity_{finding.severity.value}"),
            *words.finding(finding),
        ]
        for finding in found
    ]
    return table_html(rows)
