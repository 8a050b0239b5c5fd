"""Building blocks of running documents, as the template ``document.typ`` reads them."""

from __future__ import annotations

from collections.abc import Sequence

from evac.documents.typeset import Fact

Block = dict[str, Fact]


def heading(text: str, *, level: int = 1) -> Block:
    """A numbered heading that the list of contents shows."""
    return {"kind": "heading", "level": level, "text": text}


def paragraph(text: str, *, strong: bool = False) -> Block:
    """Running text; line breaks of the text are kept as paragraphs."""
    return {"kind": "text", "text": text, "strong": strong}


def points(items: Sequence[str]) -> Block:
    """A list with dots."""
    return {"kind": "list", "items": list(items)}


def steps(items: Sequence[str]) -> Block:
    """A list to tick off."""
    return {"kind": "steps", "items": list(items)}


def box(text: str) -> Block:
    """A framed sentence that nobody should miss."""
    return {"kind": "box", "text": text}


def gap(text: str) -> Block:
    """Something the lift folder does not say, and what to supply."""
    return {"kind": "gap", "text": text}


def table(
    head: Sequence[str],
    *,
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
    right: Sequence[int] = (),
) -> Block:
    """A table whose head is repeated on every page.

    ``widths`` are shares of the page's width, 0 for as wide as needed; columns listed
    in ``right`` are set flush right.
    """
    return {
        "kind": "table",
        "head": list(head),
        "rows": [list(row) for row in rows],
        "widths": list(widths),
        "right": list(right),
    }


def figure(svg: bytes, *, width_mm: float) -> Block:
    """A drawing at its own size."""
    return {"kind": "figure", "svg": svg.decode("utf-8"), "width_mm": width_mm}


def blanks(items: Sequence[str]) -> Block:
    """Lines to write on, each with its name."""
    return {"kind": "blanks", "items": list(items)}


def page_break() -> Block:
    """Go on at the top of a page."""
    return {"kind": "break"}
