"""How long the envelope of the demo takes: all stops, the whole set, both sides."""

from __future__ import annotations

import time
from pathlib import Path

from evac.heights.envelope import find_heights
from evac.inputs.folder import open_lift
from evac.line import lay_out

DEMO = Path(__file__).parents[2] / "data_demo" / "larkfell_four"


def run() -> dict[str, float]:
    """Processor seconds on one core, compiled code warm; best of three."""
    lift = open_lift(DEMO)
    line = lay_out(lift)
    heights, _ = find_heights(lift, line)
    taken = []
    for _ in range(3):
        start = time.process_time()
        find_heights(lift, line)
        taken.append(time.process_time() - start)
    return {
        "envelope.s": min(taken),
        "envelope.states": float(heights.states_solved),
        "envelope.residual_n": heights.greatest_residual_n,
    }
