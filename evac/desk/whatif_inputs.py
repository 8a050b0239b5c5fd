"""The inputs of "what if": a widget a question, at the plan's own values first."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import ipywidgets as widgets

from evac.facts.lift import TensionState
from evac.facts.plan import Plan
from evac.whatif import Question
from evac.words import Words

_WIDE = {"description_width": "150px"}
_LAYOUT = {"width": "460px"}
_QUARTER_S = 900
_DAY_S = 86_400
_ANY = -1
_NOTHING = ("-", _ANY)


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """The widgets of one "what if".

    ``teams`` holds a check box for each team of the plan, ticked where it comes;
    ``planned`` the value of every other widget that stands for the plan's own.
    """

    stop: widgets.SelectionSlider
    load: widgets.Dropdown
    tension: widgets.Dropdown
    snow: widgets.FloatSlider
    air: widgets.FloatSlider
    wind: widgets.FloatSlider
    hour: widgets.SelectionSlider
    teams: widgets.HBox
    planned: dict[str, object] = field(default_factory=dict)

    @property
    def single(self) -> tuple[widgets.Widget, ...]:
        """Every widget but the teams' boxes."""
        return tuple(getattr(self, name) for name in _SINGLE)


_SINGLE = ("stop", "load", "tension", "snow", "air", "wind", "hour")


def make_inputs(words: Words) -> Inputs:
    """All widgets, empty until `fill` sets them to a plan."""

    def look(key: str) -> dict[str, object]:
        return {
            "description": words.say(f"desk.ask_{key}"),
            "style": _WIDE,
            "layout": _LAYOUT,
        }

    return Inputs(
        stop=widgets.SelectionSlider(options=[_NOTHING], **look("stop")),
        load=widgets.Dropdown(**look("load")),
        tension=widgets.Dropdown(**look("tension")),
        snow=widgets.FloatSlider(
            min=0, max=4, step=0.1, readout_format=".1f", **look("snow")
        ),
        air=widgets.FloatSlider(
            min=-45, max=45, step=1, readout_format=".0f", **look("air")
        ),
        wind=widgets.FloatSlider(
            min=0, max=40, step=0.5, readout_format=".1f", **look("wind")
        ),
        hour=widgets.SelectionSlider(options=[_NOTHING], **look("hour")),
        teams=widgets.HBox(layout={"flex_flow": "row wrap"}),
    )


def fill(inputs: Inputs, plan: Plan | None, words: Words) -> None:
    """Set every widget to what the plan was made with."""
    inputs.planned.clear()
    if plan is None:
        inputs.stop.options = inputs.hour.options = [_NOTHING]
        inputs.load.options = inputs.tension.options = ()
        inputs.teams.children = ()
        return
    now = plan.lift.conditions
    inputs.stop.options = [
        (words.say("desk.ask_any_stop"), _ANY),
        *(
            (words.length(float(offset_m)), row)
            for row, offset_m in enumerate(plan.heights.stops.offset_m)
        ),
    ]
    inputs.load.options = [
        (words.say("desk.ask_folder_load"), ""),
        *((case.name, case.name) for case in plan.heights.load_cases),
    ]
    inputs.tension.options = [(state.value, state) for state in TensionState]
    hours = sorted({*range(0, _DAY_S, _QUARTER_S), now.stop_clock_s % _DAY_S})
    inputs.hour.options = [(words.clock_time(hour), float(hour)) for hour in hours]
    inputs.teams.children = tuple(
        widgets.Checkbox(
            value=True,
            description=team.id,
            indent=False,
            layout={"width": "auto", "margin": "0 18px 0 0"},
        )
        for team in (*plan.lift.teams, *plan.lift.off_duty)
    )
    planned = {
        "stop": _ANY,
        "load": "",
        "tension": plan.lift.tension.state,
        "snow": now.snow_most_m,
        "air": now.air_temperature_c,
        "wind": now.wind_m_per_s,
        "hour": float(now.stop_clock_s % _DAY_S),
    }
    for name, value in planned.items():
        widget = getattr(inputs, name)
        if name in ("snow", "air", "wind"):
            widget.min, widget.max = min(widget.min, value), max(widget.max, value)
        widget.value = value
    inputs.planned.update({name: getattr(inputs, name).value for name in planned})


def question_of(inputs: Inputs) -> Question:
    """What the widgets ask; what stands where the plan has it is not asked."""

    def moved(name: str) -> Any:
        value = getattr(inputs, name).value
        return None if value == inputs.planned[name] else value

    return Question(
        stop_index=moved("stop"),
        load_name=inputs.load.value or None,
        tension=moved("tension"),
        missing_teams=tuple(
            box.description for box in inputs.teams.children if not box.value
        ),
        snow_m=moved("snow"),
        air_temperature_c=moved("air"),
        wind_m_per_s=moved("wind"),
        stop_clock_s=moved("hour"),
    )
