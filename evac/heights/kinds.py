"""What kind a support is, where the folder leaves it blank."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from evac.facts.heights import Line
from evac.facts.lift import Lift, LoadCase, Side, SupportKind
from evac.heights.load_cases import people_of, row_of, weight_n
from evac.heights.side_model import SideModel, side_model
from evac.heights.tension import rough_rule
from evac.rope.side import SideLoads, empty_deflections, solve_side


def support_kinds(
    lift: Lift, line: Line
) -> tuple[tuple[SupportKind, ...], tuple[str, ...]]:
    """The kinds of all supports in order of distance, and the ids of inferred ones.

    Parameters
    ----------
    lift : Lift
    line : Line

    Returns
    -------
    tuple
        Kinds, and ids of the supports whose kind was inferred.

    Notes
    -----
    The bare rope that presses down on a support makes it one on which the rope
    rests. Where even the fully loaded rope pulls upwards, the support holds it down.
    Where the bare rope pulls upwards and the loaded one presses down, nobody can tell
    rollers on both sides from a tower whose height was typed too low. There the rope
    is taken to rest, and to leave the rollers when it will: so every height holds both,
    for a rope that leaves hangs above one that is held.
    """
    rule = rough_rule(lift)
    given = [support.kind for support in line.supports]
    given[0] = given[-1] = SupportKind.STATION
    if None not in given:
        return tuple(kind for kind in given if kind is not None), ()
    model = _held_everywhere(lift, line)
    bare = model.by_distance(empty_deflections(model.points, rule=rule))
    row = row_of(lift, line, side=Side.ASCENDING, phase_m=0.0)
    full = people_of(
        lift,
        line,
        row=row,
        case=LoadCase(name="", ascending_share=1.0, descending_share=1.0),
    )
    loaded = solve_side(
        model.points,
        SideLoads(phase_m=0.0, spacing_m=model.spacing_m, load_n=weight_n(lift, full)),
        rule=rule,
    )
    pressed = np.nan_to_num(model.by_distance(loaded.load_n))
    kinds: list[SupportKind] = []
    inferred = []
    for index, kind in enumerate(given):
        if kind is not None:
            kinds.append(kind)
            continue
        inferred.append(line.supports[index].id)
        held_down = bare[index] < 0 and pressed[index] <= 0
        kinds.append(SupportKind.HOLD_DOWN if held_down else SupportKind.SUPPORT)
    return tuple(kinds), tuple(inferred)


def upward_pulls_n(lift: Lift, line: Line) -> Mapping[str, float]:
    """How hard the unloaded rope pulls upwards on each support that would hold it.

    Parameters
    ----------
    lift : Lift
    line : Line

    Returns
    -------
    mapping of str to float
        Support id -> force [N] of the bare rope or of the one with empty carriers,
        whichever is more; 0 where both press down.
    """
    model = _held_everywhere(lift, line)
    row = row_of(lift, line, side=Side.ASCENDING, phase_m=0.0)
    nobody = np.zeros(row.distance_m.size)
    loads = [
        solve_side(
            model.points,
            SideLoads(phase_m=0.0, spacing_m=model.spacing_m, load_n=weights),
            rule=rough_rule(lift),
        ).load_n
        for weights in (nobody, weight_n(lift, nobody))
    ]
    pull_n = np.maximum(-np.nan_to_num(model.by_distance(np.min(loads, axis=0))), 0.0)
    return {
        support.id: float(pull)
        for support, pull in zip(line.supports, pull_n, strict=True)
    }


def _held_everywhere(lift: Lift, line: Line) -> SideModel:
    """The ascending side with rollers on both sides of the rope at every support."""
    kinds = tuple(SupportKind.COMBINED for _ in line.supports)
    return side_model(lift, line, side=Side.ASCENDING, kinds=kinds)
