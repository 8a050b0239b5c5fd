"""What changed between an earlier plan and this one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from evac.clock import FROM_ORDER
from evac.documents.blocks import Block, paragraph, points
from evac.words import Words

_HEIGHT_CHANGE_M = 0.05
"""Smaller changes round to the same printed height."""

Record = Mapping[str, Any]


def changes(old: Record, new: Record, *, words: Words) -> list[str]:
    """What changed, as sentences: result, times, zones, reach, heights, inputs.

    Parameters
    ----------
    old, new : mapping
        Contents of two ``plan.json``.
    words : Words

    Returns
    -------
    list of str
        Empty if nothing that is compared changed.
    """
    return [
        *_results(old, new, words),
        *_times(old, new, words),
        *_zones(old, new, words),
        *_uncovered(old, new, words),
        *_heights(old, new, words),
        *_inputs(old, new, words),
    ]


def change_blocks(old: Record, new: Record, *, words: Words) -> list[Block]:
    """The changes as a part of the plan document."""
    found = changes(old, new, words=words)
    intro = words.say(
        "plandoc.compare.intro",
        lift=old["lift"],
        revision=old["revision"],
        day=old["date"],
        fingerprint=old["fingerprint"],
    )
    if not found:
        return [paragraph(intro), paragraph(words.say("plandoc.compare.nothing"))]
    return [paragraph(intro), points(found)]


def _results(old: Record, new: Record, words: Words) -> list[str]:
    found = []
    if old["lift"] != new["lift"]:
        found.append(
            words.say("plandoc.compare.lift", before=old["lift"], now=new["lift"])
        )
    for key in ("everyone_reached", "limit_met"):
        if old[key] != new[key]:
            found.append(
                words.say(
                    f"plandoc.compare.{key}",
                    before=words.say(f"plandoc.compare.{_state(old[key])}"),
                    now=words.say(f"plandoc.compare.{_state(new[key])}"),
                )
            )
    return found


def _state(value: bool | None) -> str:
    return {True: "yes", False: "no", None: "unchecked"}[value]


def _times(old: Record, new: Record, words: Words) -> list[str]:
    found = [
        _time(f"plandoc.compare.{key}", old[key], new[key], words)
        for key in ("clear_s", "p50_s", "p90_s", "safe_p90_s")
    ]
    before, now = (
        {
            item["reason"]: item["after_stop_s"]
            for item in record["latest"]
            # No order time meets it: `limit_met` and the P90 say what changed.
            if item["reason"] != FROM_ORDER
        }
        for record in (old, new)
    )
    for reason in dict.fromkeys([*before, *now]):
        text = _time(
            "plandoc.compare.latest",
            before.get(reason),
            now.get(reason),
            words,
            reason=words.say(f"clock.{reason}"),
        )
        found.append(text)
    return [text for text in found if text]


def _time(
    key: str, before: float | None, now: float | None, words: Words, **values: str
) -> str:
    def shown(value: float | None) -> str:
        if value is None:
            return words.say("plandoc.compare.none")
        return words.duration(value)

    if shown(before) == shown(now):
        return ""
    return words.say(key, before=shown(before), now=shown(now), **values)


def _zones(old: Record, new: Record, words: Words) -> list[str]:
    before, now = _by_team(old, words), _by_team(new, words)
    found = []
    for team in dict.fromkeys([*before, *now]):
        was, is_now = before.get(team), now.get(team)
        if was is None:
            key = "zone_new"
        elif is_now is None:
            key = "zone_gone"
        elif was != is_now:
            key = "zone"
        else:
            continue
        found.append(
            words.say(
                f"plandoc.compare.{key}",
                team=team,
                before=was or "",
                now=is_now or "",
            )
        )
    return found


def _by_team(record: Record, words: Words) -> dict[str, str]:
    zones: dict[str, list[str]] = {}
    for zone in record["zones"]:
        sides = ", ".join(words.say(f"plandoc.side_{side}") for side in zone["sides"])
        zones.setdefault(zone["team"], []).append(
            words.say(
                "plandoc.compare.zone_text",
                first=zone["first"],
                last=zone["last"],
                sides=sides,
                support=zone["start_support"],
                kit=zone["kit"],
                finish_s=zone["finish_s"],
            )
        )
    return {team: "; ".join(texts) for team, texts in zones.items()}


def _unit_name(unit: Record, words: Words) -> str:
    side = words.say(f"plandoc.side_{unit['side']}")
    return f"{unit['span']} {side}"


def _uncovered(old: Record, new: Record, words: Words) -> list[str]:
    before = {_unit_name(unit, words) for unit in old["uncovered"]}
    now = {_unit_name(unit, words) for unit in new["uncovered"]}
    pairs: Sequence[tuple[str, set[str]]] = (
        ("plandoc.compare.lost", now - before),
        ("plandoc.compare.gained", before - now),
    )
    return [words.say(key, unit=unit) for key, units in pairs for unit in sorted(units)]


def _heights(old: Record, new: Record, words: Words) -> list[str]:
    before = {_unit_name(unit, words): unit for unit in old["units"]}
    now = {_unit_name(unit, words): unit for unit in new["units"]}
    found = []
    for name in dict.fromkeys([*before, *now]):
        was, is_now = before.get(name), now.get(name)
        if was is None or is_now is None:
            key = "span_new" if was is None else "span_gone"
            found.append(words.say(f"plandoc.compare.{key}", unit=name))
            continue
        shown = [_seat(unit, words) for unit in (was, is_now)]
        if _moved(was, is_now):
            found.append(
                words.say(
                    "plandoc.compare.seat", unit=name, before=shown[0], now=shown[1]
                )
            )
    return found


def _moved(was: Record, is_now: Record) -> bool:
    if was["known"] != is_now["known"]:
        return True
    if not was["known"]:
        return False
    difference_m = abs(was["seat_greatest_m"] - is_now["seat_greatest_m"])
    return bool(difference_m >= _HEIGHT_CHANGE_M)


def _seat(unit: Record, words: Words) -> str:
    if not unit["known"] or unit["seat_greatest_m"] is None:
        return words.say("plandoc.not_known")
    return words.length(unit["seat_greatest_m"])


def _inputs(old: Record, new: Record, words: Words) -> list[str]:
    before, now = old.get("inputs", {}), new.get("inputs", {})
    changed = sorted(
        name for name in {*before, *now} if before.get(name) != now.get(name)
    )
    if not changed:
        return []
    return [words.say("plandoc.compare.inputs", files=", ".join(changed))]
