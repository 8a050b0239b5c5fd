"""Letters that the font of the papers lacks, named by a finding."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path

import matplotlib as mpl
from matplotlib.ft2font import FT2Font

from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift

_MOST_NAMED = 40
_FACES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")


def missing_glyphs(lift: Lift) -> tuple[Finding, ...]:
    """One finding that names every letter of the folder that the papers cannot show.

    The text itself is kept, so a search in the PDF still finds it.
    """
    letters = {letter for text in _texts(lift) for letter in text}
    lacking = sorted(
        letter
        for letter in letters
        if letter.isprintable() and ord(letter) not in _covered()
    )
    if not lacking:
        return ()
    shown = " ".join(
        f"{letter} (U+{ord(letter):04X})" for letter in lacking[:_MOST_NAMED]
    )
    if len(lacking) > _MOST_NAMED:
        shown += " …"
    return (
        Finding(key="sheet.glyphs", severity=Severity.WARN, values={"glyphs": shown}),
    )


@cache
def _covered() -> frozenset[int]:
    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    maps = [set(FT2Font(str(folder / face)).get_charmap()) for face in _FACES]
    return frozenset(set.intersection(*maps))


def _texts(fact: object) -> Iterator[str]:
    """Every text inside a fact."""
    if isinstance(fact, str):
        yield str(fact)
    elif isinstance(fact, Mapping):
        for key, value in fact.items():
            yield from _texts(key)
            yield from _texts(value)
    elif isinstance(fact, tuple | list):
        for value in fact:
            yield from _texts(value)
    elif is_dataclass(fact):
        for field in fields(fact):
            yield from _texts(getattr(fact, field.name))
