"""What kind a support is, where the folder leaves it blank."""

from __future__ import annotations

import numpy as np

from evac.facts.heights import Line
from evac.facts.lift import Lift, LoadCase, Side, SupportKind
from evac.heights.load_cases import people_of, row_of, weight_n
from evac.heights.side_model import side_model
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
    rests. Where the bare rope pulls upwards, the support holds it down; if the fully
    loaded rope presses down there all the same, it must do both.
    """
    rule = rough_rule(lift)
    given = [support.kind for support in line.supports]
    given[0] = given[-1] = SupportKind.STATION
    if None not in given:
        return tuple(kind for kind in given if kind is not None), ()
    both_ways = tuple(kind or SupportKind.COMBINED for kind in given)
    all_free = tuple(SupportKind.COMBINED for _ in given)
    model = side_model(lift, line, side=Side.ASCENDING, kinds=all_free)
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
    kinds = list(both_ways)
    inferred = []
    for index, kind in enumerate(given):
        if kind is not None:
            continue
        inferred.append(line.supports[index].id)
        if bare[index] >= 0:
            kinds[index] = SupportKind.SUPPORT
        elif pressed[index] <= 0:
            kinds[index] = SupportKind.HOLD_DOWN
        else:
            kinds[index] = SupportKind.COMBINED
    return tuple(kinds), tuple(inferred)
