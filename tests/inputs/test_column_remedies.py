"""Every column and key has a remedy of its own; nobody is sent to look it up."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from pydantic import BaseModel

from evac.inputs.geo import HazardProperties, MusterProperties, WayProperties
from evac.inputs.lift_toml import section_of
from evac.inputs.rows import (
    PER,
    DrillRow,
    GroundRow,
    KitRow,
    PlaceRow,
    StepTimeRow,
    SupportRow,
    TeamRow,
    TechniqueRow,
)
from evac.inputs.scaffold import TABLES
from evac.inputs.sections import LiftToml
from evac.reference import step_times
from evac.words import Words

MODELS: dict[str, type[BaseModel]] = {
    "supports": SupportRow,
    "ground": GroundRow,
    "places": PlaceRow,
    "teams": TeamRow,
    "kit": KitRow,
    "techniques": TechniqueRow,
    "times": StepTimeRow,
    "drills": DrillRow,
    "hazards": HazardProperties,
    "access": WayProperties,
    "muster": MusterProperties,
}


def toml_keys(model: type[BaseModel], path: tuple[str, ...]) -> Iterator[str]:
    for name, field in model.model_fields.items():
        section = section_of(field.annotation)
        if section is not None:
            yield from toml_keys(section, (*path, name))
        elif path:
            yield f"lift_toml.{'_'.join(path)}.{name}"


@pytest.mark.parametrize(
    "key",
    [
        *(
            f"{table}.{name}"
            for table, model in MODELS.items()
            for name in model.model_fields
        ),
        *toml_keys(LiftToml, ()),
    ],
)
def test_every_column_and_key_has_its_remedy(key: str) -> None:
    remedy = Words().say(f"inputs.column.{key}")

    assert remedy.endswith((".", "?"))


def test_the_tables_of_a_new_folder_are_those_that_are_read() -> None:
    assert {name: MODELS[name] for name in TABLES} == TABLES


def test_the_published_step_times_count_by_what_is_known() -> None:
    assert {time.per for time in step_times()} <= set(PER)
