"""Five invented lines that differ in what makes unloading hard."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from builders import along, make_lift

from evac.facts.lift import Grip, GroundTable, Lift, Support, SupportKind


def line_of(
    lift: Lift, rows: list[tuple[float, float, str]], *, heights_m: float = 12.0
) -> Lift:
    """A lift whose supports are (distance, rope elevation, kind); ground below."""
    last = len(rows) - 1
    supports = []
    for number, (distance_m, rope_m, kind) in enumerate(rows):
        height_m = 6.0 if number in (0, last) else heights_m
        x_m, y_m = along(distance_m)
        supports.append(
            Support(
                id=str(number),
                distance_m=distance_m,
                ground_m=rope_m - height_m,
                rope_height_m=height_m,
                kind=SupportKind(kind),
                x_m=x_m,
                y_m=y_m,
            )
        )
    at_m = np.array([row[0] for row in rows])
    ground_m = np.array([support.ground_m for support in supports])
    distance_m = np.arange(0.0, at_m[-1] + 1.0, 5.0)
    below_m = np.interp(distance_m, at_m, ground_m) - 3.0
    table = GroundTable(
        distance_m=distance_m, ascending_m=below_m, descending_m=below_m, sd_m=0.2
    )
    return replace(
        lift, name="", supports=tuple(supports), ground_table=table, terrain=None
    )


def up_down_up(
    *, low_m: float = 60.0, legs: int = 3, drive_at_last: bool = False
) -> Lift:
    """A chairlift of 1.8 km that rises and falls by `low_m`, `legs` times in all."""
    distance_m = np.linspace(0.0, 1800.0, 13)
    swing = np.cos(np.pi * legs * distance_m / 1800.0)
    rows = [
        (float(at_m), float(200.0 + low_m * (1 - up) / 2), "combined")
        for at_m, up in zip(distance_m, swing, strict=True)
    ]
    rows[0], rows[-1] = ((*row[:2], "station") for row in (rows[0], rows[-1]))
    lift = line_of(make_lift(), rows, heights_m=25.0)
    return replace(
        lift,
        drive_at_last=drive_at_last,
        carriers=replace(lift.carriers, spacing_m=20.0),
    )


def five_lines() -> dict[str, Lift]:
    """The lines by name."""
    lift = make_lift()
    crest = line_of(
        lift,
        [
            (0, 6, "station"),
            (60, 18, "support"),
            (240, 80, "support"),
            (420, 150, "support"),
            (500, 172, "support"),
            (540, 175, "support"),
            (740, 160, "support"),
            (900, 152, "station"),
        ],
    )
    valley = line_of(
        lift,
        [
            (0, 200, "station"),
            (150, 160, "support"),
            (300, 118, "support"),
            (360, 106, "hold-down"),
            (520, 125, "support"),
            (700, 160, "support"),
            (850, 175, "station"),
        ],
    )
    flat = line_of(
        lift,
        [(150.0 * n, 10 + 4.0 * (n % 2 == 0), "support") for n in range(6)],
    )
    steep = line_of(
        lift,
        [(90.0 * n, 6 + 50.0 * n - 0.9 * n * n, "support") for n in range(11)],
    )
    carriers = lift.carriers
    return {
        "crest, tension at the lower end": replace(crest, drive_at_last=True),
        "valley with a hold-down, tension at the upper end": replace(
            valley, upper_is_last=False, drive_at_last=True
        ),
        "flat, fixed grips 12 m apart": replace(
            flat,
            carriers=replace(
                carriers,
                grip=Grip.FIXED,
                spacing_m=12.0,
                empty_mass_kg=120.0,
                seats=2,
                loop_offset_m=1507.0,
            ),
        ),
        "steep, tension at the lower end": replace(
            steep,
            drive_at_last=True,
            carriers=replace(carriers, spacing_m=20.0, seats=3, empty_mass_kg=250.0),
            tension=replace(
                lift.tension,
                force_n=400_000.0,
                low_force_n=380_000.0,
                high_force_n=420_000.0,
            ),
        ),
        "gully, drive below": lift,
    }
