"""The sheet of the line section: its size, title, alarms, legend and key."""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.figures.canvas import TEXT_PT, axes_mm, plain, shortened
from evac.figures.carrier_words import say_of
from evac.figures.doubt import alarms
from evac.figures.reach import ReachLine, unused_kits
from evac.words import Words

WIDTH_MM, HEIGHT_MM = 400.0, 277.0
_LEFT_MM = 17.0
_RIGHT_MM, _RIGHT_FEET_MM = 16.0, 30.0
_HEAD_MM, _ALARM_MM, _ROW_MM = 17.0, 6.0, 4.3
_MOST_LETTERS = 195
_MOST_UNUSED = 150
_MOST_KEY_ROWS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What every part of the drawing needs to know."""

    figure: Figure
    plan: Plan
    words: Words
    low_m: float
    high_m: float

    @property
    def width_mm(self) -> float:
        """Of the drawing between its margins; heights in feet need a wider one."""
        right_mm = _RIGHT_FEET_MM if self.words.feet else _RIGHT_MM
        return WIDTH_MM - _LEFT_MM - right_mm

    @property
    def mm_per_m(self) -> float:
        """Scale along the line."""
        return self.width_mm / (self.high_m - self.low_m)

    @property
    def alarms(self) -> tuple[str, ...]:
        """What nobody may overlook."""
        return alarms(self.plan, self.words, not_reached="figures.not_reached")

    @property
    def head_mm(self) -> float:
        """From the upper edge down to the end of title and alarms."""
        return _HEAD_MM + _ALARM_MM * len(self.alarms)

    def axes(self, *, bottom: float, height: float) -> Axes:
        """Axes over the whole width, along the line in metres."""
        axes = axes_mm(
            self.figure,
            left=_LEFT_MM,
            bottom=bottom,
            width=self.width_mm,
            height=height,
        )
        axes.set_xlim(self.low_m, self.high_m)
        return axes

    def reach_text(self, line: ReachLine) -> str:
        """A reach's letter and height, as they stand beside its line."""
        words = self.words
        return words.say(
            "figures.reach_mark_feet" if words.feet else "figures.reach_mark",
            letter=line.letter,
            reach=words.number(line.rope_height_m, 1),
            reach_m=line.rope_height_m,
        )


def write_head(page: Page, subtitle: str, exaggeration: float) -> None:
    """Title, scale and stamp; below them the alarms in frames."""
    lift, words = page.plan.lift, page.words
    figure = page.figure
    left = _LEFT_MM / WIDTH_MM
    figure.text(
        left,
        1 - 6 / HEIGHT_MM,
        shortened(
            words.say("figures.section_title", lift=lift.name, kind=lift.kind), most=100
        ),
        fontsize=15,
        fontweight="bold",
        va="center",
    )
    scale = words.say(
        "figures.section_scale",
        scale=words.number(round(1000 / page.mm_per_m, -1), 0),
        exaggeration=words.number(exaggeration, 1),
        load=page.plan.heights.reference[Side.ASCENDING].load_name,
    )
    for row, text in enumerate((scale, subtitle)):
        figure.text(
            left,
            1 - (11.5 + 4.2 * row) / HEIGHT_MM,
            shortened(text, most=190),
            fontsize=TEXT_PT,
            va="center",
        )
    for row, text in enumerate(page.alarms):
        figure.text(
            left + 1.0 / WIDTH_MM,
            1 - (21.0 + _ALARM_MM * row) / HEIGHT_MM,
            text,
            fontsize=TEXT_PT + 1,
            fontweight="bold",
            va="center",
            bbox={"facecolor": "white", "edgecolor": "black", "pad": 2.0},
        )


def write_foot(page: Page, lines: tuple[ReachLine, ...]) -> float:
    """Legend, reach key and cautions at the bottom; return the height they take."""
    words, figure, lift = page.words, page.figure, page.plan.lift
    texts = [
        words.say("figures.legend_profile"),
        say_of(words, "figures.legend_panel", lift),
        say_of(words, "figures.legend_units", lift),
        words.say("figures.legend_reach"),
        *_keys(lines, words),
    ]
    unused = unused_kits(page.plan)
    if unused:
        kits = shortened(", ".join(unused), most=_MOST_UNUSED)
        texts.append(words.say("figures.reach_unused", kits=kits))
    texts.append(words.say("cautions.short"))
    for row, text in enumerate(reversed(texts)):
        figure.text(
            _LEFT_MM / WIDTH_MM,
            (3.0 + _ROW_MM * row) / HEIGHT_MM,
            plain(text),
            fontsize=TEXT_PT,
            va="center",
            fontweight="bold" if row == 0 else "normal",
        )
    return _ROW_MM * len(texts) + 3.0


def _keys(lines: tuple[ReachLine, ...], words: Words) -> list[str]:
    """What each letter stands for, in as few rows as hold it."""
    keys = [_key(line, words) for line in lines]
    rows = _filled(keys, most=_MOST_LETTERS)
    shown = len(keys)
    # The drawing needs its room; more kits than these stand in the plan document.
    while len(rows) > _MOST_KEY_ROWS:
        shown -= 1
        more = words.say("figures.reach_more", count=len(keys) - shown)
        rows = _filled([*keys[:shown], more], most=_MOST_LETTERS)
    return rows


def _key(line: ReachLine, words: Words) -> str:
    return words.say(
        "figures.reach_key_stance" if line.from_stance else "figures.reach_key",
        letter=line.letter,
        technique=shortened(line.technique, most=30),
        rope_m=line.rope_length_m,
        reach_m=line.rope_height_m,
        kits=shortened(", ".join(line.kits), most=30),
    )


def _filled(parts: list[str], *, most: int) -> list[str]:
    """Join parts to lines of at most ``most`` characters."""
    lines: list[str] = []
    for part in parts:
        if lines and len(lines[-1]) + len(part) + 3 <= most:
            lines[-1] += f"; {part}"
        else:
            lines.append(part)
    return lines
