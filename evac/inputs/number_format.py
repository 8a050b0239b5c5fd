r"""What a spreadsheet shows of a number: the value and the text of its number format.

A cell that shows ``30 ft`` may hold the number 30 and the format ``0" ft"``. Whoever
reads the value alone takes feet for metres, so the words of the format go with it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

_GENERAL = "General"
_TOKEN = re.compile(
    r'"(?P<quoted>[^"]*)"|\\(?P<escaped>.)|[_*].|\[(?P<bracket>[^\]]*)\]'
    r"|(?P<whole>general|standard)|(?P<exponent>e[+-])|(?P<digit>[0#?])"
    r"|(?P<point>[.,])|(?P<percent>%)|(?P<text>@)|(?P<next>;)|(?P<literal>.)",
    re.IGNORECASE | re.DOTALL,
)
_CURRENCY_CODE = re.compile(r"\$[A-Z]{3}")
_SIGNS = " \u00a0\u202f-+()=~\u20ac$\u00a3\u00a5"
"""Alone beside a number these say sign or currency, never a unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Section:
    """One part of a number format: the texts around the digits, and how many."""

    before: str
    after: str
    between: str
    has_digits: bool
    zeros: int
    is_percent: bool
    is_conditional: bool
    shows_text: bool


def shown_number(value: float, *, number_format: str) -> str:
    r"""A number as its cell shows it, all its digits kept.

    Parameters
    ----------
    value : int or float
        What the cell holds.
    number_format : str
        The cell's format, such as ``0.0" ft"``.

    Examples
    --------
    >>> shown_number(30, number_format='0" ft"'), shown_number(7, number_format='"T"0')
    ('30 ft', 'T7')
    >>> shown_number(0.07, number_format="0%"), shown_number(12.5, number_format="0")
    ('7%', '12.5')
    """
    is_whole = float(value).is_integer() and abs(value) < 1e15
    number = str(int(value)) if is_whole else str(value)
    if number_format == _GENERAL:
        return number
    sections = _sections(number_format)
    if any(section.is_conditional for section in sections):
        chosen = sections
    else:
        chosen = (_section_of(sections, value),)
    first = chosen[0]
    if first.after and not first.has_digits:
        return first.after.strip()
    if first.is_percent:
        number = f"{(Decimal(str(value)) * 100).normalize():f}%"
    elif is_whole and value >= 0:
        number = number.zfill(first.zeros)
    # Where a condition picks the text, all of it goes along: it is not a number then.
    after = "".join(dict.fromkeys(f"{s.between}{s.after}" for s in chosen))
    before = "".join(dict.fromkeys(section.before for section in chosen))
    return f"{before}{number}{after}".strip()


def shown_text(text: str, *, number_format: str) -> str:
    r"""A text as its cell shows it.

    Examples
    --------
    >>> shown_text("30", number_format='@" ft"')
    '30 ft'
    """
    if "@" not in number_format or number_format == "@":
        return text
    section = next((s for s in _sections(number_format) if s.shows_text), None)
    return text if section is None else f"{section.before}{text}{section.after}"


def _section_of(sections: tuple[_Section, ...], value: float) -> _Section:
    numeric = [section for section in sections if not section.shows_text] or sections
    if value < 0 and len(numeric) > 1:
        return numeric[1]
    if value == 0 and len(numeric) > 2:
        return numeric[2]
    return numeric[0]


@cache
def _sections(number_format: str) -> tuple[_Section, ...]:
    parts: list[list[re.Match[str]]] = [[]]
    for token in _TOKEN.finditer(number_format):
        if token["next"]:
            parts.append([])
        else:
            parts[-1].append(token)
    return tuple(_read(part) for part in parts)


def _read(tokens: list[re.Match[str]]) -> _Section:
    pieces: list[tuple[bool, str]] = []
    for token in tokens:
        if token["digit"] or token["whole"] or token["text"]:
            pieces.append((True, token[0]))
        elif not token["exponent"]:
            pieces.append((False, _literal(token)))
    places = [place for place, (is_digit, _) in enumerate(pieces) if is_digit]
    first, last = (places[0], places[-1]) if places else (0, -1)
    digits = "".join(text for is_digit, text in pieces if is_digit)
    between = "".join(text for is_digit, text in pieces[first:last] if not is_digit)
    has_point = any(token["point"] for token in tokens)
    return _Section(
        before=_words(pieces[:first]),
        after=_words(pieces[last + 1 :]),
        # Marks between the digits group them: 1'412, 1+412.
        between="".join(c for c in between if c.isalpha()),
        has_digits=bool(places),
        zeros=len(digits) if set(digits) == {"0"} and not has_point else 0,
        is_percent=any(token["percent"] for token in tokens),
        is_conditional=any(
            token["bracket"] and token["bracket"][0] in "<>=" for token in tokens
        ),
        shows_text=any(token["text"] for token in tokens),
    )


def _words(pieces: list[tuple[bool, str]]) -> str:
    text = "".join(piece for _, piece in pieces)
    return text if text.strip(_SIGNS) else ""


def _literal(token: re.Match[str]) -> str:
    bracket = token["bracket"]
    if bracket is None:
        return token["quoted"] or token["escaped"] or token["literal"] or ""
    # [$CHF-807] and [$CHF] are currencies, [Red] a colour; [$ft] may be anything.
    is_currency = "-" in bracket or bool(_CURRENCY_CODE.fullmatch(bracket))
    return "" if is_currency or not bracket.startswith("$") else bracket[1:]
