"""What a kit reaches, as the greatest rope height it serves: a line in a drawing."""

from __future__ import annotations

from dataclasses import dataclass

from evac.facts.lift import Lift
from evac.gear import greatest_rope_height_m


@dataclass(frozen=True, slots=True, kw_only=True)
class ReachLine:
    """Kits that serve the same greatest rope height by the same technique.

    ``letter`` names it in drawings. ``rope_height_m`` is where the kit ends: a rope
    whose greatest height and margin stay below it is served.
    """

    letter: str
    technique: str
    kits: tuple[str, ...]
    rope_length_m: float
    rope_height_m: float


def reach_lines(
    lift: Lift, *, kits: tuple[str, ...] | None = None
) -> tuple[ReachLine, ...]:
    """One line for every different reach among the kits, lowest first.

    ``kits`` keeps only those kits.
    """
    techniques = {technique.id: technique for technique in lift.techniques}
    groups: dict[tuple[float, str, float], list[str]] = {}
    for kit in lift.kits:
        technique = techniques.get(kit.technique)
        if technique is None or (kits is not None and kit.id not in kits):
            continue
        reach_m = float(
            greatest_rope_height_m(technique, kit=kit, carriers=lift.carriers)
        )
        key = (round(reach_m, 1), technique.id, kit.rope_length_m)
        groups.setdefault(key, []).append(kit.id)
    return tuple(
        ReachLine(
            letter=_letter(number),
            technique=technique_id,
            kits=tuple(ids),
            rope_length_m=rope_length_m,
            rope_height_m=reach_m,
        )
        for number, ((reach_m, technique_id, rope_length_m), ids) in enumerate(
            sorted(groups.items())
        )
    )


def _letter(number: int) -> str:
    return chr(ord("A") + number) if number < 26 else f"Z{number - 25}"
