"""Heights at one stop, with a slider for where the lift happens to stand."""

from __future__ import annotations

import ipywidgets as widgets
import numpy as np

from evac.desk.workbench import Workbench, sentence_html
from evac.errors import EvacError
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.figures.stop_view import png_bytes, stop_view
from evac.heights.stop import stop_heights


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
        if plan is None or load.value is None:
            return
        try:
            stops = {
                side: stop_heights(
                    plan.lift,
                    plan.heights.line,
                    side=side,
                    stop_offset_m=slider.value,
                    load_case=load.value,
                )
                for side in Side
            }
        except EvacError as error:
            text.value = sentence_html(str(error))
            return
        figure = stop_view(
            plan.heights, stops, carriers=plan.lift.carriers, words=words
        )
        picture.value = png_bytes(figure)
        highest = max(
            (unit for unit in plan.heights.units if unit.known),
            key=lambda unit: unit.seat_greatest_m,
        )
        text.value = sentence_html(
            words.say(
                "desk.highest",
                ascending_m=_highest_m(stops[Side.ASCENDING].carriers.seat_height_m),
                descending_m=_highest_m(stops[Side.DESCENDING].carriers.seat_height_m),
                greatest_m=highest.seat_greatest_m,
                margin_m=highest.margin_m,
            )
        )

    def follow(plan: Plan) -> None:
        slider.max = plan.lift.carriers.spacing_m
        load.options = [(case.name, case) for case in plan.heights.load_cases]
        load.index = 0
        show()

    slider.observe(show, names="value")
    load.observe(show, names="value")
    bench.follow(follow)
    return widgets.VBox([widgets.HBox([slider, load]), text, picture])


def _highest_m(seat_height_m: np.ndarray) -> float | str:
    known = seat_height_m[np.isfinite(seat_height_m)]
    return float(known.max()) if known.size else "?"
