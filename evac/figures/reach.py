"""What a kit reaches: the plan's own verdicts, and how high a rope it serves."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from evac.facts.lift import Kit, Lift, Side, Technique
from evac.facts.plan import Plan
from evac.gear import counts_from_stance, greatest_rope_height_m

Unit = tuple[Side, int]
"""A side and a span's index."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReachLine:
    """Kits that serve the same greatest rope height and reach the same span-sides.

    ``letter`` names it in drawings. No rope higher than ``rope_height_m``, its margin
    included, is served; a lower one need not be: ``reached`` holds the span-sides that
    the plan counts as reached, whatever else decides there. ``from_stance``: that
    height counts from the lowest ground where the crew may stand, not from the ground
    below the rope. ``stance_height_m``: the height above that lowest ground for which
    the rope suffices, also where a throw allows less; None where none counts from it.
    """

    letter: str
    technique: str
    kits: tuple[str, ...]
    rope_length_m: float
    rope_height_m: float
    from_stance: bool
    stance_height_m: float | None
    reached: frozenset[Unit]


def reach_lines(
    plan: Plan, *, kits: tuple[str, ...] | None = None
) -> tuple[ReachLine, ...]:
    """One line for every different reach among the kits planned with, lowest first.

    A kit that no team may use (overdue, not approved, not fitting the carriers) has
    none; see `unused_kits`. ``kits`` keeps only those kits.
    """
    lift = plan.lift
    techniques = {technique.id: technique for technique in lift.techniques}
    reached = _reached(plan)
    groups: dict[tuple[float, str, float, tuple[Unit, ...]], list[Kit]] = {}
    for kit in lift.kits:
        if kit.id not in reached or (kits is not None and kit.id not in kits):
            continue
        reach_m = greatest_rope_height_m(
            techniques[kit.technique], kit=kit, carriers=lift.carriers
        )
        units = tuple(sorted(reached[kit.id]))
        key = (_rounded_down_m(reach_m), kit.technique, kit.rope_length_m, units)
        groups.setdefault(key, []).append(kit)
    return tuple(
        ReachLine(
            letter=_letter(number),
            technique=technique,
            kits=tuple(kit.id for kit in alike),
            rope_length_m=rope_length_m,
            rope_height_m=reach_m,
            from_stance=_from_stance(lift, techniques[technique], alike[0]),
            stance_height_m=_stance_height_m(lift, techniques[technique], alike[0]),
            reached=frozenset(units),
        )
        for number, ((reach_m, technique, rope_length_m, units), alike) in enumerate(
            sorted(groups.items(), key=lambda item: item[0])
        )
    )


def unused_kits(plan: Plan) -> tuple[str, ...]:
    """Kits of the folder that the plan does not count on, in order of the folder."""
    used = {option.kit for option in plan.work.options}
    return tuple(kit.id for kit in plan.lift.kits if kit.id not in used)


def letters_reaching(lines: Sequence[ReachLine], unit: Unit) -> str:
    """Letters of the lines that reach a unit, runs shortened; "" where none does.

    See Also
    --------
    letter_runs : How runs are written.
    """
    return letter_runs([unit in line.reached for line in lines])


def letter_runs(chosen: Sequence[bool]) -> str:
    """Letters of the chosen places of a row; three or more in a run as first-last.

    Examples
    --------
    >>> letter_runs([True, False, True, True, True]), letter_runs([True, True])
    ('A C-E', 'A B')
    """
    parts: list[str] = []
    start = 0
    while start < len(chosen):
        end = start
        while end < len(chosen) and chosen[end]:
            end += 1
        letters = [_letter(number) for number in range(start, end)]
        parts += [f"{letters[0]}-{letters[-1]}"] if len(letters) > 2 else letters
        start = end + 1
    return " ".join(parts)


def _reached(plan: Plan) -> Mapping[str, set[Unit]]:
    """Kit -> span-sides that the plan counts as reached with it."""
    kit_of = {option.index: option.kit for option in plan.work.options}
    found: dict[str, set[Unit]] = {kit: set() for kit in kit_of.values()}
    for reach in plan.reaches:
        if reach.ok and reach.option_index in kit_of:
            found[kit_of[reach.option_index]].add((reach.side, reach.span_index))
    return found


def _from_stance(lift: Lift, technique: Technique, kit: Kit) -> bool:
    """Whether what limits the kit's height counts from the crew's stance."""
    stance_m = _stance_height_m(lift, technique, kit)
    if stance_m is None:
        return False
    # A line is thrown over the rope from the ground below it.
    return not (technique.needs_line_over_rope and kit.throw_height_m < stance_m)


def _stance_height_m(lift: Lift, technique: Technique, kit: Kit) -> float | None:
    if not counts_from_stance(technique):
        return None
    return _rounded_down_m(
        greatest_rope_height_m(
            replace(technique, needs_line_over_rope=False),
            kit=kit,
            carriers=lift.carriers,
        )
    )


def _rounded_down_m(height_m: float) -> float:
    """To a tenth: no kit may seem to reach by rounding."""
    # The height was found by halving, to less than this.
    return (
        math.floor((height_m + 1e-5) * 10) / 10 if math.isfinite(height_m) else height_m
    )


def _letter(number: int) -> str:
    return chr(ord("A") + number) if number < 26 else f"Z{number - 25}"
