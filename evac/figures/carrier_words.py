"""Sentences that differ for cabins: a sill for a seat, a door for a bar."""

from __future__ import annotations

from evac.facts.lift import CarrierType, Lift
from evac.words import Value, Words

_CABIN = "_cabin"


def say_of(words: Words, key: str, lift: Lift, /, **values: Value) -> str:
    """Say ``key``, or for cabins ``key_cabin`` where there is such a sentence."""
    return words.say(key_of(words, key, lift), **values)


def key_of(words: Words, key: str, lift: Lift) -> str:
    """The key that `say_of` takes."""
    cabin = lift.carriers.type is CarrierType.CABIN
    return f"{key}{_CABIN}" if cabin and words.has(f"{key}{_CABIN}") else key
