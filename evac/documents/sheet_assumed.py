"""Assumed values on a team sheet: the gravest in a frame, all in plain words."""

from __future__ import annotations

from evac.facts.lift import Assumption, Lift
from evac.words import Words

_SHOWN = 4
_TEAM_KEYS = ("teams", "kit")
_TECHNIQUE_KEYS = ("techniques",)
_HEIGHT_KEYS = ("supports.rope_height_m",)
_GRAVEST = (
    *_TEAM_KEYS,
    *_TECHNIQUE_KEYS,
    *_HEIGHT_KEYS,
    "supports",
    "files.terrain_sd_m",
    "tension",
    "carriers.rope_to_seat_m",
    "carriers.passenger_mass_kg",
    "carriers.spacing_m",
    "carriers",
    "rope",
    "organisation",
)
"""Keys, or the tables they stand in, by how much a rescuer leans on them."""


def assumed_alarms(lift: Lift, words: Words) -> list[str]:
    """Sentences for the frame: teams, techniques or support heights only assumed.

    Figures of techniques may be assumed for a team that is there: a false word about
    the team itself would teach it to skip the frame.
    """
    open_keys = [item.key for item in lift.assumptions if not item.accepted]
    return [
        words.say(f"sheet.{name}")
        for name, tables in (
            ("assumed_team", _TEAM_KEYS),
            ("assumed_techniques", _TECHNIQUE_KEYS),
            ("assumed_heights", _HEIGHT_KEYS),
        )
        if any(_within(key, table) for key in open_keys for table in tables)
    ]


def assumed_text(lift: Lift, words: Words) -> str:
    """The assumptions that a rescuer leans on most, not accepted ones first."""
    every = sorted(lift.assumptions, key=lambda item: (item.accepted, _rank(item.key)))
    if not every:
        return ""
    shown = "; ".join(_said(item, words) for item in every[:_SHOWN])
    more = len(every) - _SHOWN
    if more > 0:
        return words.say("sheet.assumptions_more", list=shown, count=more)
    return words.say("sheet.assumptions", list=shown)


def _said(item: Assumption, words: Words) -> str:
    name = f"sheet.assumed.{item.key}"
    key = words.say(name) if words.has(name) else item.key
    return words.say("sheet.assumption", key=key, value=item.value)


def _rank(key: str) -> int:
    return next(
        (rank for rank, known in enumerate(_GRAVEST) if _within(key, known)),
        len(_GRAVEST),
    )


def _within(key: str, table: str) -> bool:
    return key == table or key.startswith(f"{table}.")
