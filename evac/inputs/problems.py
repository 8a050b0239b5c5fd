"""How a fault in a file is told: what was found, what was expected, what to do."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, LiteralString, NoReturn

from pydantic_core import ErrorDetails, PydanticCustomError

from evac.errors import Problem
from evac.words import Value, Words

WORDS = Words()

OPEN = "?"
"""Stands for a value that a new folder leaves for the user to fill in."""

_LONGEST_QUOTE = 60


def problem(key: str, *, where: str, found: object = "", **values: Value) -> Problem:
    """The problem ``key`` of ``inputs.toml``, with its two sentences filled.

    Parameters
    ----------
    key : str
        A table ``[problem.<key>]`` of the words, with ``expected`` and ``remedy``.
    where : str
        Row and column, key or feature.
    found : object
        What stands there; shown in quotes, and as "nothing" where it is blank.
    **values : str, int, float or date
        What the sentences' placeholders need.
    """
    return Problem(
        where=where,
        found=quoted(found),
        expected=WORDS.say(f"inputs.problem.{key}.expected", **values),
        remedy=WORDS.say(f"inputs.problem.{key}.remedy", **values).strip(),
    )


def reject(kind: LiteralString, **context: Any) -> NoReturn:
    """Reject a value inside a pydantic validator.

    ``kind`` names the sentences ``[expected]`` and ``[remedy]``; ``context`` fills
    them, and its ``column`` says where, for checks of a whole row.
    """
    raise PydanticCustomError(kind, kind, context)


def quoted(value: object) -> str:
    """A value as a person would point at it: quoted, shortened, one line.

    Examples
    --------
    >>> quoted("1 412,5"), quoted("  "), quoted(3.0), quoted(None)
    ("'1 412,5'", 'nothing', '3', 'nothing')
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, date):
        return f"the date {value.isoformat()}"
    text = "" if value is None else str(value).strip()
    if not text:
        return WORDS.say("inputs.nothing")
    if len(text) > _LONGEST_QUOTE:
        text = text[: _LONGEST_QUOTE - 1] + "…"
    shown = "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)
    if not isinstance(value, str):
        return shown
    return f"'{shown}'"


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """A sentence that offers the nearest known name, or all where they are few.

    Examples
    --------
    >>> did_you_mean("distnace_m", ["distance_m", "ground_m"])
    'Did you mean distance_m?'
    """
    names = list(known)
    near = difflib.get_close_matches(name.lower(), names, n=1, cutoff=0.6)
    if near:
        return WORDS.say("inputs.did_you_mean", name=near[0])
    if not names:
        return WORDS.say("inputs.none_known")
    shown = ", ".join(names[:20]) + (", …" if len(names) > 20 else "")
    return WORDS.say("inputs.known_names", names=shown)


def nearest(name: str, known: Iterable[str]) -> str:
    """A sentence that offers the nearest known name; "" where none is near."""
    near = difflib.get_close_matches(name.lower(), list(known), n=1, cutoff=0.85)
    return WORDS.say("inputs.did_you_mean", name=near[0]) if near else ""


def told(
    detail: ErrorDetails, *, where: str, found: object, remedies: tuple[str, ...]
) -> Problem:
    """One pydantic error in our own words.

    Parameters
    ----------
    detail : ErrorDetails
        As `pydantic` gives it; its ``type`` names the sentence ``[expected]``.
    where : str
        Row and column, or key.
    found : object
        What stands in the file (pydantic's own ``input`` may be converted already).
    remedies : tuple of str
        Words keys to try in turn, the most telling first; a remedy that belongs to
        the kind of error itself (``[remedy]``) goes before all of them.
    """
    kind = detail["type"]
    values = _shown(detail.get("ctx", {}))
    # Three values of a row that are out of order are shown together.
    found = str(values["three"]) if kind == "not_in_order" else found
    if not WORDS.has(f"inputs.expected.{kind}"):
        kind = "other"
    expected = WORDS.say(f"inputs.expected.{kind}", **values)
    tried = (f"inputs.remedy.{kind}", *remedies, f"inputs.last_remedy.{kind}")
    for key in (*tried, "inputs.remedy.other"):
        if WORDS.has(key):
            remedy = WORDS.say(key, **values)
            break
    return Problem(where=where, found=quoted(found), expected=expected, remedy=remedy)


def _shown(context: Mapping[str, object]) -> dict[str, Value]:
    """Pydantic's context with its bounds as plain numbers."""
    return {
        name: f"{value:.10g}" if isinstance(value, (int, float)) else str(value)
        for name, value in context.items()
    }
