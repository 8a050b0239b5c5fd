"""Which kit and technique reaches which unit; techniques are data (rules 12-15)."""

from evac.gear.budget import (
    budget_doubts,
    descent_energy_j,
    descents_left,
    rescue_energy_j,
)
from evac.gear.choices import (
    kit_of,
    options,
    spare_kits,
    spare_takers,
    technique_of,
)
from evac.gear.doubts import doubts
from evac.gear.nobody import why_nobody
from evac.gear.people import PeopleNeeded, people_doubts, people_needed
from evac.gear.reach import counts_from_stance, find_reaches, place_rope_needed_m
from evac.gear.rope_needed import greatest_rope_height_m, rope_needed_m

__all__ = [
    "PeopleNeeded",
    "budget_doubts",
    "counts_from_stance",
    "descent_energy_j",
    "descents_left",
    "doubts",
    "find_reaches",
    "greatest_rope_height_m",
    "kit_of",
    "options",
    "people_doubts",
    "people_needed",
    "place_rope_needed_m",
    "rescue_energy_j",
    "rope_needed_m",
    "spare_kits",
    "spare_takers",
    "technique_of",
    "why_nobody",
]
