"""How long a slider of "what if" takes to answer on the demo, drawing and map included.

Measured as a notebook's kernel does it: the widget's value is set, and the time is
taken until every view of it has followed. Each question is asked at four stops or
values, so that nothing is answered from memory.
"""

from __future__ import annotations

import time
from pathlib import Path
from statistics import median
from typing import Any

from evac import desk

DEMO = Path(__file__).parents[2] / "data_demo" / "larkfell_four"


def run() -> dict[str, float]:
    """Median and longest of some 60 moves, by wall clock and by processor."""
    begun = time.perf_counter()
    bench = desk.open_workbench(DEMO)
    assert bench.plan is not None
    opened_s = time.perf_counter() - begun
    begun = time.perf_counter()
    view = desk.what_if(bench)
    shown_s = time.perf_counter() - begun
    wall, processor = [], []
    for widget, value in _moves(view, [team.id for team in bench.plan.lift.teams]):
        start, start_cpu = time.perf_counter(), time.process_time()
        widget.value = value
        wall.append(time.perf_counter() - start)
        processor.append(time.process_time() - start_cpu)
    stop_view = desk.heights_at_a_stop(bench)
    slider = stop_view.children[0].children[0]
    plain = []
    for step in range(1, 21):
        start = time.perf_counter()
        slider.value = slider.max * step / 21
        plain.append(time.perf_counter() - start)
    return {
        "desk.moves": len(wall),
        "desk.slider_s": median(wall),
        "desk.slider_longest_s": max(wall),
        "desk.slider_processor_s": median(processor),
        "desk.stop_slider_s": median(plain),
        "desk.what_if_opens_s": shown_s,
        "desk.folder_opens_s": opened_s,
        "desk.tension_state_s": _tension_s(view),
    }


def _moves(view: Any, teams: list[str]) -> list[tuple[Any, object]]:
    moves: list[tuple[Any, object]] = []
    stop, hour = _find(view, "Stop position"), _find(view, "Hour of the stop")
    load = _find(view, "Who sits where")
    for number in range(4):
        moves += [(stop, value) for value in range(number, 16, 4)]
        moves += [(load, load.options[1 + number % (len(load.options) - 1)][1])]
        moves += [(hour, hour.options[30 + 10 * number][1])]
        moves += [
            (_find(view, name), value + number)
            for name, value in (
                ("Snow depth [m]", 0.3),
                ("Air [°C]", -20.0),
                ("Wind [m/s]", 2.0),
            )
        ]
        box = _find(view, teams[number % len(teams)])
        moves += [(box, False), (box, True)]
    return moves


def _tension_s(view: Any) -> float:
    start = time.perf_counter()
    tension = _find(view, "Tension system")
    tension.value = next(
        state for _, state in tension.options if state.value == "locked"
    )
    return time.perf_counter() - start


def _find(view: Any, description: str) -> Any:
    if getattr(view, "description", None) == description:
        return view
    found = (_find(child, description) for child in getattr(view, "children", ()))
    return next((each for each in found if each is not None), None)
