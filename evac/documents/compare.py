"""What changed between an earlier plan and this one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import chain
from typing import Any

from evac.clock import FROM_ORDER, LIMIT
from evac.documents.blocks import Block, paragraph, points
from evac.facts.work import lost_to_the_day
from evac.words import Words

_HEIGHT_CHANGE_M = 0.05
"""Smaller changes round to the same printed height."""

_HEIGHTS = {
    "seat": "seat_greatest_m",
    "rope": "rope_greatest_m",
    "margin": "margin_m",
}
"""Words of the heights of a span, and their names in ``plan.json``."""

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
    found = []
    for key in ("clear_s", "p50_s", "p90_s", "safe_p90_s"):
        before, now = (_duration(record, key, words) for record in (old, new))
        if before != now:
            found.append(words.say(f"plandoc.compare.{key}", before=before, now=now))
    latest = [_latest_s(record) for record in (old, new)]
    absent = [words.say(f"plandoc.compare.not_asked_{key}") for key in ("old", "new")]
    for reason in dict.fromkeys(chain.from_iterable(latest)):
        before, now = (
            _order_time(record, reason, times_s[reason], words)
            if reason in times_s
            else _no_order_time(record, reason, words, absent=text)
            for record, times_s, text in zip((old, new), latest, absent, strict=True)
        )
        if before != now:
            found.append(
                words.say(
                    "plandoc.compare.latest",
                    before=before,
                    now=now,
                    reason=words.say(f"clock.{reason}"),
                )
            )
    return found


def _duration(record: Record, key: str, words: Words) -> str:
    value_s = record[key]
    if value_s is None:
        return words.say("plandoc.not_known")
    return _of_reached(record, words.duration(value_s), words)


def _latest_s(record: Record) -> dict[str, float | None]:
    """The latest order for each reason; of several limits the one that binds."""
    found: dict[str, float | None] = {}
    for item in record["latest"]:
        reason, after_s = item["reason"], item["after_stop_s"]
        # No order time meets it: `limit_met` and the P90 say what changed.
        if reason == FROM_ORDER:
            continue
        stated = [s for s in (found.get(reason), after_s) if s is not None]
        found[reason] = min(stated, default=None)
    return found


def _no_order_time(record: Record, reason: str, words: Words, *, absent: str) -> str:
    """Of a reason that one record lacks: nobody asks for it, or no order meets it."""
    ends_s = (record["p90_s"], record["safe_p90_s"])
    # A limit whose end nobody knows is missed whenever ordered, and has no entry.
    if reason == LIMIT and record["limit_met"] is False and None in ends_s:
        return words.say("plandoc.compare.no_order")
    return absent


def _order_time(
    record: Record, reason: str, after_s: float | None, words: Words
) -> str:
    if after_s is None or lost_to_the_day(reason, after_stop_s=after_s):
        return words.say("plandoc.compare.no_order")
    if after_s < 0:
        text = words.say("plandoc.compare.before_stop", late_s=-after_s)
    else:
        # Rounded down: a latest time must never be shown later.
        text = words.say("plandoc.compare.after_stop", after_s=60 * (after_s // 60))
    return _of_reached(record, text, words)


def _of_reached(record: Record, text: str, words: Words) -> str:
    """A time, and whether it leaves out people whom nobody reaches."""
    if record["everyone_reached"]:
        return text
    return words.say("plandoc.compare.of_reached", time=text)


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
                technique=zone["technique"],
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
        for key in _moved(was, is_now):
            before_m, now_m = (
                _shown(_height_m(unit, key), words) for unit in (was, is_now)
            )
            found.append(
                words.say(
                    f"plandoc.compare.{key}", unit=name, before=before_m, now=now_m
                )
            )
    return found


def _moved(was: Record, is_now: Record) -> list[str]:
    """Which heights of a span changed; of a rope that moves with its seats, the seat.

    A span that becomes known, or is so no more, is told by its seat as well.
    """
    if was["known"] != is_now["known"]:
        return ["seat"]
    rise_m = {
        key: _rise_m(_height_m(was, key), _height_m(is_now, key)) for key in _HEIGHTS
    }
    told = [key for key, moved_m in rise_m.items() if abs(moved_m) >= _HEIGHT_CHANGE_M]
    together = math.isclose(rise_m["rope"], rise_m["seat"], abs_tol=_HEIGHT_CHANGE_M)
    return [key for key in told if key != "rope" or not together]


def _rise_m(was_m: float | None, now_m: float | None) -> float:
    """How much a height changed; infinite where one of the two is not known."""
    if was_m is None or now_m is None:
        return 0.0 if was_m is now_m else math.inf
    return now_m - was_m


def _height_m(unit: Record, key: str) -> float | None:
    return unit[_HEIGHTS[key]] if unit["known"] else None


def _shown(height_m: float | None, words: Words) -> str:
    return (
        words.say("plandoc.not_known") if height_m is None else words.length(height_m)
    )


def _inputs(old: Record, new: Record, words: Words) -> list[str]:
    before, now = old.get("inputs", {}), new.get("inputs", {})
    changed = sorted(
        name for name in {*before, *now} if before.get(name) != now.get(name)
    )
    if not changed:
        return []
    return [words.say("plandoc.compare.inputs", files=", ".join(changed))]
