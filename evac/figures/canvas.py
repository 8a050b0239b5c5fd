"""Figures measured in millimetres, and how they become SVG, always the same bytes."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from numpy.typing import NDArray

TEXT_PT = 9.0
"""Smallest text on any paper: what is legible at arm's length."""

MM_PER_PT = 25.4 / 72
_MM_PER_INCH = 25.4

_LOOK = {
    "font.family": ["DejaVu Sans"],
    "font.size": TEXT_PT,
    # A dollar sign in a name is a dollar sign, not a formula.
    "text.parse_math": False,
    "axes.linewidth": 0.6,
    "hatch.linewidth": 0.5,
    "hatch.color": "0.45",
    "lines.linewidth": 1.0,
    "path.simplify": True,
    "svg.fonttype": "none",
    "svg.hashsalt": "evac",
    "svg.id": None,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Draw with our own look, whatever the user's matplotlib is set to."""
    # matplotlib types the names of its settings one by one; a mere mapping is meant.
    settings: dict[Any, Any] = {
        key: value
        for key, value in mpl.rcParamsDefault.items()
        if key.split(".")[0]
        in {"axes", "figure", "font", "hatch", "lines", "patch", "path", "svg", "text"}
    }
    with mpl.rc_context(settings | _LOOK):
        yield


def new_figure(width_mm: float, *, height_mm: float) -> Figure:
    """An empty white figure of a given size on paper."""
    figure = Figure(figsize=(width_mm / _MM_PER_INCH, height_mm / _MM_PER_INCH))
    FigureCanvasSVG(figure)
    return figure


def axes_mm(
    figure: Figure, *, left: float, bottom: float, width: float, height: float
) -> Axes:
    """Axes at a place of the paper; all four in millimetres from its lower left."""
    whole_width, whole_height = size_mm(figure)
    axes: Axes = figure.add_axes(
        (
            left / whole_width,
            bottom / whole_height,
            width / whole_width,
            height / whole_height,
        )
    )
    return axes


def bare(axes: Axes) -> None:
    """Take away frame and ticks."""
    axes.set_axis_off()


def size_mm(figure: Figure) -> tuple[float, float]:
    """Width and height of a figure on paper."""
    width, height = figure.get_size_inches()
    return float(width) * _MM_PER_INCH, float(height) * _MM_PER_INCH


def svg_bytes(figure: Figure) -> bytes:
    """The figure as SVG; the same figure gives the same bytes.

    Text stays text, in DejaVu Sans where the reader has it.
    """
    picture = io.BytesIO()
    with drawing(), warnings.catch_warnings():
        # A letter that the font lacks is named by a finding of the papers.
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from")
        figure.savefig(picture, format="svg", metadata={"Date": None})
    return picture.getvalue()


def plain(text: str) -> str:
    """Text without control characters, which SVG cannot hold, on one line."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def shortened(text: str, *, most: int) -> str:
    """Text of at most ``most`` characters; what is cut shows as an ellipsis.

    Examples
    --------
    >>> shortened("Valley feeder, 20 kV", most=12)
    'Valley feed…'
    """
    clean = plain(text)
    return clean if len(clean) <= most else clean[: most - 1].rstrip() + "…"


def spread(
    places: Sequence[float], *, gap: float, low: float, high: float
) -> NDArray[np.float64]:
    """Shift sorted places apart until neighbours keep ``gap``, moving each least.

    Labels are laid with it. Where ``low .. high`` is too short for all, they share it
    evenly.

    Parameters
    ----------
    places : sequence of float, shape (n,)
        Wanted places, ascending.
    gap : float
        Least distance between neighbours.
    low, high : float
        Where the first may start and the last may end.

    Returns
    -------
    numpy.ndarray, shape (n,)
        In the same order.

    Examples
    --------
    >>> spread([0.0, 1.0, 10.0], gap=3.0, low=0.0, high=20.0)
    array([ 0.,  3., 10.])
    """
    wanted = np.asarray(places, float)
    if wanted.size == 0:
        return wanted
    if (wanted.size - 1) * gap >= high - low:
        return np.linspace(low, high, wanted.size)
    # Pool neighbours that would touch: least squares under "at least gap apart".
    offset = wanted - gap * np.arange(wanted.size)
    pools: list[list[float]] = []
    for value in offset:
        pools.append([value, 1.0])
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            mean, count = pools.pop()
            before = pools[-1]
            total = before[1] + count
            before[0] = (before[0] * before[1] + mean * count) / total
            before[1] = total
    level = np.concatenate([np.full(int(count), mean) for mean, count in pools])
    top = high - gap * (wanted.size - 1)
    moved: NDArray[np.float64] = np.clip(level, low, top)
    return moved + gap * np.arange(wanted.size)


def text_width_mm(text: str, *, size_pt: float = TEXT_PT) -> float:
    """A safe estimate of a text's width in DejaVu Sans (0.62 em a letter)."""
    return 0.62 * size_pt * len(text) * MM_PER_PT
