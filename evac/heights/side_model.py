"""One side of the line as the rope sees it: x from the drive station."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from evac.facts.heights import IntArray, Line
from evac.facts.lift import FloatArray, Lift, Side, SupportKind
from evac.rope.side import SidePoints
from evac.units import GRAVITY_M_PER_S2

Number = TypeVar("Number", np.float64, np.int64, np.bool_)

SENSES = {
    SupportKind.SUPPORT: 1,
    SupportKind.HOLD_DOWN: -1,
    SupportKind.COMBINED: 0,
    SupportKind.STATION: 0,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SideModel:
    """Supports and rope of one side from the drive, and the way back to distances.

    ``kinds`` (n,) are in order of distance, none of them unknown any more.
    """

    side: Side
    points: SidePoints
    spacing_m: float
    start_m: float
    end_m: float
    drive_at_last: bool
    kinds: tuple[SupportKind, ...]

    def to_distance_m(self, x_m: FloatArray) -> FloatArray:
        """Distance along the line of places given from the drive; an own inverse."""
        return self.end_m - x_m if self.drive_at_last else self.start_m + x_m

    def by_distance(self, values: NDArray[Number]) -> NDArray[Number]:
        """Values of supports, spans or carriers turned into order of distance."""
        return values[..., ::-1] if self.drive_at_last else values


def side_model(
    lift: Lift, line: Line, *, side: Side, kinds: tuple[SupportKind, ...]
) -> SideModel:
    """Hand one side of the line to the rope."""
    last = lift.drive_at_last
    distance_m, rope_m = line.distance_m, line.rope_elevation_m
    names = tuple(support.id for support in line.supports)
    sense = np.array([SENSES[kind] for kind in kinds], np.int64)
    if last:
        x_m = distance_m[-1] - distance_m[::-1]
        rope_m, sense, names = rope_m[::-1], sense[::-1], names[::-1]
    else:
        x_m = distance_m - distance_m[0]
    return SideModel(
        side=side,
        points=SidePoints(
            x_m=np.ascontiguousarray(x_m),
            z_m=np.ascontiguousarray(rope_m),
            weight_n_per_m=lift.rope.mass_kg_per_m * GRAVITY_M_PER_S2,
            axial_stiffness_n=lift.rope.axial_stiffness_n,
            sense=np.ascontiguousarray(sense),
            names=names,
        ),
        spacing_m=lift.carriers.spacing_m,
        start_m=float(distance_m[0]),
        end_m=float(distance_m[-1]),
        drive_at_last=last,
        kinds=kinds,
    )


def span_of(line: Line, distance_m: FloatArray) -> IntArray:
    """Span in which each place lies; one right on a support is in the lower span.

    A place within a tenth of a millimetre of a support counts as on it.
    """
    place = np.searchsorted(line.distance_m, distance_m - 1e-4, side="left") - 1
    spans: IntArray = np.clip(place, 0, len(line.spans) - 1).astype(np.int64)
    return spans


def side_phase_m(lift: Lift, *, side: Side, stop_offset_m: float) -> float:
    """Unstretched rope from the drive's support to the first carrier of one side.

    The rope outside the drive is one piece of fixed unstretched length,
    ``loop_offset_m``, from the ascending to the descending side of the drive: a
    carrier ``s`` along it from one end is ``loop_offset_m - s`` from the other. Where
    that length is not known both sides stand at the same stop position.
    """
    spacing_m = lift.carriers.spacing_m
    offset_m = stop_offset_m % spacing_m
    if side is Side.ASCENDING or lift.carriers.loop_offset_m is None:
        return offset_m
    return (lift.carriers.loop_offset_m - offset_m) % spacing_m
