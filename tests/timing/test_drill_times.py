"""Times of drills are never sent into the table of real times as they are."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

import evac
from evac.factors import DRILL_TO_REAL

WORDS = Path(evac.__file__).parent / "words" / "en"
ASKS_FOR = re.compile(r"\b(add|give|write|state|replace)\b.*\bdrill", re.I | re.S)


def sentences(part: dict[str, Any]) -> list[str]:
    found = []
    for value in part.values():
        if isinstance(value, dict):
            found += sentences(value)
        elif isinstance(value, str):
            found.append(value)
    return found


@pytest.mark.parametrize("part", ["timing", "inputs", "hazards"])
def test_whoever_asks_for_times_of_drills_names_the_factor(part: str) -> None:
    # Drills flatter (rule 25; common practice, no source): the table of step times and
    # the hazards layer hold times of a real evacuation, and nothing is added to them.
    whole = tomllib.loads((WORDS / f"{part}.toml").read_text("utf-8"))
    # What a column of the table of drills is to hold is another matter.
    text = sentences({name: whole[name] for name in whole if name != "column"})
    asking = [item for item in text if ASKS_FOR.search(item)]
    assert asking
    for item in asking:
        assert f"{DRILL_TO_REAL.likely:g} times" in item, item


def test_nobody_is_told_that_the_p90_makes_up_for_drills() -> None:
    timing = tomllib.loads((WORDS / "timing.toml").read_text("utf-8"))
    told = timing["finding"]["timing"]["planned_people"]
    assert "only times learned from drills.csv" in told["text"]
    assert f"{DRILL_TO_REAL.likely:g}" in told["remedy"]
