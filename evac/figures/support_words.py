"""What a support is, in words that map and devices share."""

from __future__ import annotations

from evac.facts.lift import Support
from evac.words import Words


def support_text(support: Support, words: Words) -> str:
    """What a support is, or that a mark is none."""
    if support.mark:
        return words.say("map.mark", support=support.id)
    return words.say(
        "map.support",
        support=support.id,
        rope_height_m=support.rope_height_m,
        kind=support.kind.value if support.kind else words.say("map.kind_unknown"),
    )
