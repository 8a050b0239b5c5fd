"""Heights at one stop, with a slider for where the lift happens to stand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import ipywidgets as widgets
import numpy as np

from evac.desk.workbench import Workbench, quietly, sentence_html
from evac.errors import EvacError
from evac.facts.heights import StopHeights, UnitHeights
from evac.facts.lift import LoadCase, Side
from evac.facts.plan import Plan
from evac.figures.stop_view import png_bytes, stop_view
from evac.heights.stop import stop_heights
from evac.words import Words

_SAME_STOP_M = 0.005
_MOST_MARGIN_SHARE = 1 / 3
"""Above this share of the height its margin is said to be large (our own choice)."""


def heights_at_a_stop(bench: Workbench) -> widgets.VBox:
    """Slider for the stop position, drop-down for the load; the drawing follows."""
    words = bench.words
    wide = {"description_width": "initial"}
    slider = widgets.FloatSlider(
        min=0.0,
        max=1.0,
        step=0.25,
        description=words.say("desk.stop"),
        style=wide,
        layout={"width": "520px"},
    )
    load = widgets.Dropdown(description=words.say("desk.load"), style=wide)
    picture = widgets.Image(format="png", layout={"max_width": "100%"})
    text = widgets.HTML()

    def show(_change: object = None) -> None:
        plan = bench.plan
        picture.value, text.value = b"", ""
        if plan is None or load.value is None:
            return
        try:
            stops = both_sides(plan, stop_offset_m=slider.value, load_case=load.value)
        except EvacError as error:
            text.value = sentence_html(str(error))
            return
        figure = stop_view(
            plan.heights, stops, carriers=plan.lift.carriers, words=words
        )
        picture.value = png_bytes(figure)
        text.value = sentence_html(
            "\n".join(
                (
                    highest_text(plan.heights.units, stops, words),
                    followed_text(plan, stop_offset_m=slider.value, words=words),
                )
            )
        )

    def follow(plan: Plan | None) -> None:
        with quietly(show, slider, load):
            if plan is None:
                load.options = ()
            else:
                slider.max = plan.lift.carriers.spacing_m
                load.options = [(case.name, case) for case in plan.heights.load_cases]
                load.index = 0
        show()

    for widget in (slider, load):
        widget.observe(show, names="value")

    bench.follow(follow)
    return widgets.VBox([widgets.HBox([slider, load]), text, picture])


def both_sides(
    plan: Plan, *, stop_offset_m: float, load_case: LoadCase
) -> dict[Side, StopHeights]:
    """Both sides of a planned lift at one stop."""
    return {
        side: stop_heights(
            plan.lift,
            plan.heights.line,
            side=side,
            stop_offset_m=stop_offset_m,
            load_case=load_case,
        )
        for side in Side
    }


def highest_text(
    units: Sequence[UnitHeights], stops: Mapping[Side, StopHeights], words: Words
) -> str:
    """The highest seats at one stop, and over all; where nothing is known, that."""
    known = [unit for unit in units if unit.known]
    if not known:
        return words.say("desk.highest_not_known")
    highest = max(known, key=lambda unit: unit.seat_greatest_m)
    margin_m = max(unit.margin_m for unit in known)
    told = words.say(
        "desk.highest",
        ascending_m=_highest_m(stops[Side.ASCENDING].carriers.seat_height_m),
        descending_m=_highest_m(stops[Side.DESCENDING].carriers.seat_height_m),
        greatest_m=highest.seat_greatest_m,
        margin_m=margin_m,
    )
    if margin_m > _MOST_MARGIN_SHARE * highest.seat_greatest_m:
        told += " " + words.say("desk.heights_unsure")
    return told


def followed_text(plan: Plan, *, stop_offset_m: float, words: Words) -> str:
    """Whether the order of work was followed along the rope at this very stop."""
    checked_m = plan.schedule.stop_offset_m
    spacing_m = plan.lift.carriers.spacing_m
    away_m = abs(stop_offset_m - checked_m) % spacing_m
    if not plan.schedule.rescues:
        return words.say("desk.order_none")
    same = min(away_m, spacing_m - away_m) < _SAME_STOP_M
    key = "desk.order_followed" if same else "desk.order_not_followed"
    return words.say(key, checked_m=checked_m)


def _highest_m(seat_height_m: np.ndarray) -> float:
    known = seat_height_m[np.isfinite(seat_height_m)]
    return float(known.max()) if known.size else float("nan")
