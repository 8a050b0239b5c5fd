"""Make the invented mountain of the demo: ``larkfell_four/terrain.tif``.

Nothing in it was measured: a profile along the lift drawn by hand, a gully, a bench
above a steep step, and some waves. The same run gives the same heights.

    python data_demo/make_terrain.py
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from mountain import FloatArray, Site, write_terrain

SITE = Site(latitude_deg=45.2, longitude_deg=13.05, bearing_deg=35.0)
"""Open sea: whoever looks the place up sees at once that the mountain is invented."""
FOLDER = Path(__file__).parent / "larkfell_four"

PROFILE_M = (
    # along the line, ground without gully and step
    (-600.0, 1205.0),
    (-150.0, 1236.0),
    (0.0, 1240.0),
    (60.0, 1246.0),
    (130.0, 1257.0),
    (165.0, 1265.5),
    (460.0, 1367.5),
    (800.0, 1478.0),
    (1080.0, 1566.0),
    (1150.0, 1586.0),
    (1210.0, 1595.0),
    (1345.0, 1599.5),
    (1385.0, 1611.0),
    (1530.0, 1661.0),
    (1580.0, 1671.0),
    (1640.0, 1672.0),
    (1900.0, 1690.0),
    (2300.0, 1760.0),
)


def ground_m(along_m: FloatArray, right_m: FloatArray) -> FloatArray:
    """Invented ground [m] at places along and to the right of the line (n,)."""
    return (
        _profile(along_m)
        - 0.05 * right_m
        - (right_m / 120.0) ** 2
        - _gully(along_m, right_m)
        - _bench(along_m, right_m)
        + _waves(along_m, right_m)
    )


def _profile(along_m: FloatArray) -> FloatArray:
    """The drawn profile with its corners rounded off."""
    at_m, height_m = np.array(PROFILE_M).T
    shifts_m = np.linspace(-24.0, 24.0, 13)
    weights = np.cos(shifts_m / 24.0 * np.pi / 2) + 0.05
    weights /= weights.sum()
    return np.asarray(
        sum(
            weight * np.interp(along_m + shift, at_m, height_m)
            for weight, shift in zip(weights, shifts_m, strict=True)
        )
    )


def _gully(along_m: FloatArray, right_m: FloatArray) -> FloatArray:
    """Depth of the stream's gully, which crosses the line aslant at about 640 m."""
    axis_m = gully_axis_m(right_m)
    depth_m = 9.5 + 0.004 * np.clip(right_m, -400, 400)
    return np.asarray(depth_m * np.exp(-(((along_m - axis_m) / 27.0) ** 2)))


def gully_axis_m(right_m: FloatArray) -> FloatArray:
    """Distance along the line at which the stream runs, by the place beside it."""
    return np.asarray(640.0 - 0.35 * right_m + 8.0 * np.sin(right_m / 70.0))


def _bench(along_m: FloatArray, right_m: FloatArray) -> FloatArray:
    """A bench that ends at a steep step, 985 to 1015 m along the line."""
    at_m = along_m - 0.15 * right_m
    rise = np.clip((at_m - 925.0) / 60.0, 0, 1) * np.clip((1014.0 - at_m) / 29.0, 0, 1)
    return np.asarray(6.5 * rise * np.exp(-((right_m / 220.0) ** 4)))


def _waves(along_m: FloatArray, right_m: FloatArray) -> FloatArray:
    """Small rises and hollows; hardly any on the line, which was levelled."""
    beside = 1 - np.exp(-((right_m / 45.0) ** 2))
    small = 0.35 * np.sin(along_m / 23.0 + 1.1) * np.cos(right_m / 19.0)
    large = np.sin(along_m / 140.0 + 0.6) * np.sin(right_m / 170.0 + 0.4)
    middle = np.sin(along_m / 61.0 - right_m / 88.0)
    return np.asarray(small + beside * (9.0 * large + 2.5 * middle))


def main() -> None:
    """Write the terrain of the demo."""
    write_terrain(
        FOLDER / "terrain.tif",
        SITE,
        ground_m,
        along_m=(-300.0, 1900.0),
        beside_m=480.0,
        cell_m=5.0,
    )


if __name__ == "__main__":
    main()
