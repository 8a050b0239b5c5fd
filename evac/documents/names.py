"""Names that papers share: zones in words, spans, file names."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from evac.facts.lift import Lift, Side, Support
from evac.facts.plan import Plan
from evac.facts.work import Zone
from evac.figures.taken import units_passed
from evac.words import Words
from evac.words import sentences as all_sentences

_RESERVED = {"con", "prn", "aux", "nul"} | {
    f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10)
}
_LONGEST = 60


def labels(words: Words, prefix: str) -> dict[str, str]:
    """Every fixed text below a key, keyed by its last part."""
    return {
        key.removeprefix(f"{prefix}."): words.say(key)
        for key in all_sentences(words.language)
        if key.startswith(f"{prefix}.")
    }


def zone_text(lift: Lift, zone: Zone, words: Words) -> str:
    """A zone by its supports and sides; a mark in a span is called so."""
    first, last = lift.supports[zone.first_span], lift.supports[zone.last_span + 1]
    sides = sides_text(zone.sides, words)
    if not (first.mark or last.mark):
        return words.say("sheet.zone", first=first.id, last=last.id, sides=sides)
    return words.say(
        "sheet.zone_marked",
        first=place_text(first, words),
        last=place_text(last, words),
        sides=sides,
    )


def not_yours_text(plan: Plan, zones: Sequence[Zone], words: Words) -> str:
    """Span-sides inside zones that their team passes by; "" where there are none."""
    passed = sorted(units_passed(plan, zones), key=lambda unit: unit[::-1])
    spans = plan.heights.line.spans
    return ", ".join(
        f"{spans[span].id} {words.say(f'sheet.side_{side.value}')}"
        for side, span in passed
    )


def place_text(support: Support, words: Words) -> str:
    """A support, or a mark between two, as a place in a sentence."""
    key = "sheet.place_mark" if support.mark else "sheet.place_support"
    return words.say(key, support=support.id)


def sides_text(sides: Sequence[Side], words: Words) -> str:
    """One side or both, in words."""
    if len(set(sides)) == 2:
        return words.say("sheet.both_sides")
    return words.say(f"sheet.{sides[0].value}")


def runs_text(plan: Plan, spans: Iterable[int]) -> str:
    """Spans as few words as possible: ``3-4, 6-7``, neighbours joined with dots."""
    ids = plan.heights.line.spans
    runs: list[list[int]] = []
    for span in sorted(set(spans)):
        if runs and span == runs[-1][1] + 1:
            runs[-1][1] = span
        else:
            runs.append([span, span])
    return ", ".join(
        ids[first].id
        if first == last
        else f"{ids[first].start_support} … {ids[last].end_support}"
        for first, last in runs
    )


def team_zones(plan: Plan) -> dict[str, tuple[Zone, ...]]:
    """The zones of every team that has one, in the lift's order of teams."""
    found: dict[str, tuple[Zone, ...]] = {}
    for team in plan.lift.teams:
        zones = tuple(item for item in plan.assignment.zones if item.team == team.id)
        if zones:
            found[team.id] = zones
    return found


def file_names(teams: Sequence[str]) -> Mapping[str, str]:
    """A file name without ending for every team, safe on every system, all different.

    Examples
    --------
    >>> file_names(["Team 1", "10/11", "team 1", "CON"])
    {'Team 1': 'Team_1', '10/11': '10_11', 'team 1': 'team_1-2', 'CON': 'CON_'}
    """
    found: dict[str, str] = {}
    taken: set[str] = set()
    for team in teams:
        clean = re.sub(r"[^\w-]+", "_", unicodedata.normalize("NFC", team)).strip("_")
        clean = clean[:_LONGEST] or "team"
        if clean.lower() in _RESERVED:
            clean += "_"
        name, count = clean, 1
        while name.lower() in taken:
            count += 1
            name = f"{clean}-{count}"
        taken.add(name.lower())
        found[team] = name
    return found
