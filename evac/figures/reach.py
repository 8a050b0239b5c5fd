"""What a kit reaches, as the greatest rope height it serves: a line in a drawing."""

from __future__ import annotations

from dataclasses import dataclass

from evac.facts.lift import Carriers, Kit, Lift, Technique

_HIGHEST_M = 400.0
_STEPS = 60


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


def greatest_rope_height_m(
    technique: Technique, *, kit: Kit, carriers: Carriers
) -> float:
    """Greatest rope height over ground that a kit serves, uncertainty included.

    The least of what its rope allows, what a line can be got over, and what the
    technique allows as seat height; 0 if it serves nothing.
    """

    def fits(rope_height_m: float) -> bool:
        needed_m = _rope_needed_m(
            technique,
            rope_height_m=rope_height_m,
            attachment_height_m=max(rope_height_m - carriers.rope_to_descender_m, 0.0),
            seat_height_m=max(rope_height_m - carriers.rope_to_seat_m, 0.0),
            margin_m=0.0,
        )
        return float(needed_m) <= kit.rope_length_m

    low, high = 0.0, _HIGHEST_M
    if not fits(low):
        return 0.0
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    reach_m = low
    if technique.needs_line_over_rope:
        reach_m = min(reach_m, kit.throw_height_m)
    if technique.most_seat_height_m is not None:
        reach_m = min(reach_m, technique.most_seat_height_m + carriers.rope_to_seat_m)
    return reach_m


def reach_lines(lift: Lift, *, kits: tuple[str, ...] | None = None) -> tuple[
    ReachLine, ...
]:
    """One line for every different reach among the kits, lowest first.

    ``kits`` keeps only those kits.
    """
    techniques = {technique.id: technique for technique in lift.techniques}
    groups: dict[tuple[float, str, float], list[str]] = {}
    for kit in lift.kits:
        technique = techniques.get(kit.technique)
        if technique is None or (kits is not None and kit.id not in kits):
            continue
        reach_m = greatest_rope_height_m(technique, kit=kit, carriers=lift.carriers)
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


def _rope_needed_m(technique, *, rope_height_m, attachment_height_m, seat_height_m, margin_m):
    t = technique
    raw = t.per_rope_height*rope_height_m + t.per_attachment_height*attachment_height_m + t.per_seat_height*seat_height_m + t.stance_m + t.knots_tails_m + t.belayer_tail_m
    raw *= 1 + t.stretch_share
    return raw + max(t.reserve_m, t.reserve_share*raw)


def _letter(number: int) -> str:
    return chr(ord("A") + number) if number < 26 else f"Z{number - 25}"
