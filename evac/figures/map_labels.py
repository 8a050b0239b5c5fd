"""Names, scale and north on a map strip, laid so that none covers another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from matplotlib.axes import Axes
from shapely.geometry import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from evac.facts.lift import Lift, Support
from evac.figures.canvas import MM_PER_PT, TEXT_PT, plain, shortened, text_width_mm
from evac.figures.hazard_bars import hazard_text
from evac.units import FOOT_M
from evac.words import Words

_BARS_M = (5, 10, 20, 50, 100, 200, 500, 1000, 2000)
_LONGEST_BAR_MM = 36.0
_TEXT_MM = TEXT_PT * MM_PER_PT * 1.1
_MOST_NAME = 36
_CLEAR_MM = 1.9
"""From a place to the nearest edge of its name."""

Box = tuple[float, float, float, float]
"""West, south, east, north in millimetres from the map's lower left."""


def _meet(one: Box, other: Box) -> bool:
    return (
        one[0] < other[2]
        and one[2] > other[0]
        and one[1] < other[3]
        and one[3] > other[1]
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What a map shows, in metres of the lift's frame, and what is already covered."""

    west_m: float
    south_m: float
    east_m: float
    north_m: float
    m_per_mm: float
    taken: list[Box] = field(default_factory=list)

    @property
    def box(self) -> BaseGeometry:
        """The map as a rectangle of the frame."""
        return box(self.west_m, self.south_m, self.east_m, self.north_m)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height on paper."""
        return (
            (self.east_m - self.west_m) / self.m_per_mm,
            (self.north_m - self.south_m) / self.m_per_mm,
        )

    def mm(self, x_m: float, y_m: float) -> tuple[float, float]:
        """A place in millimetres from the lower left."""
        return (x_m - self.west_m) / self.m_per_mm, (y_m - self.south_m) / self.m_per_mm

    def metres(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """A place on the paper in metres of the frame."""
        return self.west_m + x_mm * self.m_per_mm, self.south_m + y_mm * self.m_per_mm

    def holds(self, wanted: Box) -> bool:
        """Whether a box lies inside the map."""
        width, height = self.size_mm
        west, south, east, north = wanted
        return (
            west >= 0.5
            and south >= 0.5
            and east <= width - 0.5
            and north <= height - 0.5
        )

    def covered(self, wanted: Box) -> int:
        """How much of what is already there a box covers."""
        return sum(_meet(wanted, other) for other in self.taken)

    def free(self, wanted: Box) -> bool:
        """Whether a box lies inside the map and covers nothing yet."""
        return self.holds(wanted) and self.covered(wanted) == 0


def take_line(view: View, line: LineString, *, half_mm: float) -> None:
    """Keep names off a line: mark it as a row of small boxes."""
    step_m = 2 * view.m_per_mm
    seen = line.intersection(view.box)
    for part in getattr(seen, "geoms", [seen]):
        if part.is_empty or not isinstance(part, LineString):
            continue
        for along in np.arange(0.0, part.length + step_m, step_m):
            point = part.interpolate(float(along))
            x, y = view.mm(point.x, point.y)
            view.taken.append((x - half_mm, y - half_mm, x + half_mm, y + half_mm))


def _write(axes: Axes, view: View, wanted: Box, text: str, *, bold: bool) -> None:
    view.taken.append(wanted)
    x_m, y_m = view.metres((wanted[0] + wanted[2]) / 2, (wanted[1] + wanted[3]) / 2)
    axes.text(
        x_m,
        y_m,
        text,
        fontsize=TEXT_PT,
        fontweight="bold" if bold else "normal",
        ha="center",
        va="center",
        zorder=8,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4},
    )


def _around(
    x: float,
    y: float,
    width: float,
    away: Sequence[float],
    *,
    clear_mm: float = _CLEAR_MM,
) -> Box:
    """A text box whose nearest edge keeps clear of a place, in a direction."""
    reach = width / 2 * abs(away[0]) + _TEXT_MM / 2 * abs(away[1]) + clear_mm
    middle_x, middle_y = x + reach * away[0], y + reach * away[1]
    return (
        middle_x - width / 2,
        middle_y - _TEXT_MM / 2,
        middle_x + width / 2,
        middle_y + _TEXT_MM / 2,
    )


def write_supports(
    axes: Axes, view: View, supports: Sequence[Support], *, always: Sequence[int]
) -> None:
    """Write the supports' names beside the line, on whichever side is free.

    Those at ``always`` (ends of the zones) are written first and whatever they cover;
    another that finds no room is left out, the section has them all.
    """
    along = np.array(
        [supports[-1].x_m - supports[0].x_m, supports[-1].y_m - supports[0].y_m]
    )
    along = along / max(float(np.hypot(*along)), 1e-9)
    left = np.array([-along[1], along[0]])
    slant = np.sqrt(0.5)
    beside = [left, -left]
    around = [
        *beside,
        *((left + along) * slant, (left - along) * slant),
        *((along - left) * slant, (-left - along) * slant),
        *(along, -along),
    ]
    order = [*always, *(n for n in range(len(supports)) if n not in always)]
    for number in order:
        x, y = view.mm(supports[number].x_m, supports[number].y_m)
        text = shortened(supports[number].id, most=10)
        width = text_width_mm(text) * 1.12 + 0.6
        ways = around if number in always else beside
        places = [
            _around(x, y, width, (float(way[0]), float(way[1])), clear_mm=clear_mm)
            for clear_mm in (_CLEAR_MM, *((3.2, 5.0) if number in always else ()))
            for way in ways
        ]
        wanted = next((place for place in places if view.free(place)), None)
        if wanted is None and number in always:
            inside = [place for place in places if view.holds(place)]
            wanted = min(inside, key=view.covered, default=None)
        if wanted is not None:
            _write(axes, view, wanted, text, bold=True)


def draw_muster(axes: Axes, view: View, lift: Lift) -> None:
    """Crosses for the muster points, which names keep off."""
    for point in lift.muster_points:
        x, y = view.mm(point.x_m, point.y_m)
        if not (0 < x < view.size_mm[0] and 0 < y < view.size_mm[1]):
            continue
        axes.plot(
            [point.x_m], [point.y_m], marker="P", markersize=8, color="black", zorder=7
        )
        view.taken.append((x - 1.5, y - 1.5, x + 1.5, y + 1.5))


def write_muster(axes: Axes, view: View, lift: Lift, words: Words) -> None:
    """Names of the muster points beside their crosses, where there is room."""
    for point in lift.muster_points:
        x, y = view.mm(point.x_m, point.y_m)
        if not (0 < x < view.size_mm[0] and 0 < y < view.size_mm[1]):
            continue
        long = words.say("figures.muster", name=point.name)
        texts = (shortened(long, most=28), words.say("figures.muster_short"))
        _write_beside(axes, view, [(x, y)], texts)


def write_hazards(axes: Axes, view: View, lift: Lift, words: Words) -> None:
    """Kind and name of each hazard seen, beside it, where there is room.

    One that finds none is left out; the section names all that lie below the zone.
    """
    seen = [(item, item.geometry.intersection(view.box)) for item in lift.hazards]
    seen = [(item, part) for item, part in seen if not part.is_empty]
    for _, part in seen:
        for line in getattr(part, "geoms", [part]):
            if isinstance(line, LineString):
                take_line(view, line, half_mm=0.5)
    for hazard, part in seen:
        places = [view.mm(point.x, point.y) for point in _spots(part)]
        whole = plain(hazard_text(hazard, words))
        # A name is written whole or not at all; its kind alone still warns.
        texts = (whole, hazard.kind) if len(whole) <= _MOST_NAME else (hazard.kind,)
        _write_beside(axes, view, places, texts)


def _spots(geometry: BaseGeometry) -> list[Point]:
    """Places of a hazard beside which its name may stand, the middle first."""
    parts = list(getattr(geometry, "geoms", [geometry]))
    longest = max(parts, key=lambda part: part.length)
    chain = longest.exterior if isinstance(longest, Polygon) else longest
    if not isinstance(chain, LineString):
        return [geometry.representative_point()]
    shares = (0.5, 0.3, 0.7, 0.15, 0.85, 0.4, 0.6)
    return [chain.interpolate(share, normalized=True) for share in shares]


def _write_beside(
    axes: Axes, view: View, places: Sequence[tuple[float, float]], texts: Sequence[str]
) -> None:
    """Write the first of some texts that finds room beside one of some places [mm]."""
    slant = float(np.sqrt(0.5))
    ways = [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)]
    ways += [(x, y) for x in (slant, -slant) for y in (slant, -slant)]
    for text in texts:
        width = text_width_mm(text) + 0.6
        for x, y in places:
            boxes = (_around(x, y, width, way) for way in ways)
            free = next((place for place in boxes if view.free(place)), None)
            if free is not None:
                _write(axes, view, free, text, bold=False)
                return


def whole_metres(length_m: float, words: Words) -> str:
    """A round length without decimals, with feet where they are asked for."""
    text = words.say("figures.whole_metres", whole=words.number(length_m, 0))
    if not words.feet:
        return text
    feet = words.number(length_m / FOOT_M, 0)
    return words.say("figures.whole_metres_feet", metres=text, feet=feet)


def write_scale_and_north(axes: Axes, view: View, words: Words) -> None:
    """Scale bar and north arrow in the corners that are free."""
    bar_m = max(
        (step for step in _BARS_M if step / view.m_per_mm <= _LONGEST_BAR_MM),
        default=_BARS_M[0],
    )
    bar_mm = bar_m / view.m_per_mm
    text = whole_metres(bar_m, words)
    scale = _corner(view, width=bar_mm + text_width_mm(text) + 3, height=5.0)
    _draw_bar(axes, view, scale, bar_mm, text)
    _draw_north(axes, view, _corner(view, width=7.0, height=14.0, off=scale), words)


def _corner(view: View, *, width: float, height: float, off: Box | None = None) -> Box:
    """A free corner for a box, else the one that covers least; it is taken.

    Where ``off`` lies it never is.
    """
    across, up = view.size_mm
    edge = 1.5
    corners: list[Box] = [
        (x, y, x + width, y + height)
        for y in (edge, up - edge - height)
        for x in (edge, across - edge - width)
    ]
    if off is not None:
        corners = [corner for corner in corners if not _meet(corner, off)]
    best = min(corners, key=view.covered)
    view.taken.append(best)
    return best


def _draw_bar(axes: Axes, view: View, place: Box, bar_mm: float, text: str) -> None:
    middle = (place[1] + place[3]) / 2
    west_m, y_m = view.metres(place[0] + 1, middle)
    east_m, _ = view.metres(place[0] + 1 + bar_mm, middle)
    axes.plot(
        [west_m, east_m],
        [y_m, y_m],
        color="black",
        linewidth=2.5,
        solid_capstyle="butt",
        zorder=9,
    )
    text_x_m, _ = view.metres(place[0] + 2 + bar_mm, middle)
    axes.text(
        text_x_m,
        y_m,
        text,
        fontsize=TEXT_PT,
        va="center",
        zorder=9,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4},
    )


def _draw_north(axes: Axes, view: View, place: Box, words: Words) -> None:
    x = (place[0] + place[2]) / 2
    axes.annotate(
        words.say("figures.north"),
        xy=view.metres(x, place[3]),
        xytext=view.metres(x, place[1]),
        ha="center",
        va="bottom",
        fontsize=TEXT_PT + 2,
        fontweight="bold",
        arrowprops={"arrowstyle": "-|>", "color": "black", "linewidth": 1.4},
        zorder=9,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4},
    )
