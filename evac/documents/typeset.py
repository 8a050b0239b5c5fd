"""Pages from a typst template and facts; words arrive as data, never as markup."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import cache
from importlib import resources
from pathlib import Path

import matplotlib as mpl
import typst

Fact = str | int | float | bool | None | list["Fact"] | dict[str, "Fact"]
"""What a template may be given: JSON."""


@cache
def _fonts() -> typst.Fonts:
    # matplotlib ships DejaVu: the same letters on every machine, no system fonts.
    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    return typst.Fonts(
        include_system_fonts=False,
        include_embedded_fonts=False,
        font_paths=[str(folder)],
    )


@cache
def _template(name: str) -> bytes:
    folder = resources.files("evac.documents") / "typst"
    style = (folder / "style.typ").read_text("utf-8")
    return (style + (folder / f"{name}.typ").read_text("utf-8")).encode()


def _root() -> str:
    """Where a template would read files from; it reads none.

    Left out it is the working folder, which may have vanished.
    """
    return str(mpl.get_data_path())


def pdf_bytes(template: str, *, facts: Mapping[str, Fact]) -> bytes:
    """Set one document as PDF; the same facts give the same bytes.

    Parameters
    ----------
    template : str
        A file of ``evac/documents/typst`` without its ending.
    facts : mapping
        What the template reads as ``facts``; texts are printed as they stand.
    """
    pages = typst.compile(  # type: ignore[call-overload]  # one kind of all paths
        _template(template),
        root=_root(),
        format="pdf",
        font_paths=_fonts(),
        sys_inputs=_inputs(facts),
        pdf_tags=False,
    )
    if not isinstance(pages, bytes):
        message = "the typesetter gave no single document"
        raise TypeError(message)
    return pages


def page_pictures(
    template: str, *, facts: Mapping[str, Fact], dots_per_inch: int
) -> tuple[bytes, ...]:
    """The pages of one document as PNG pictures, for a screen."""
    pages = typst.compile(  # type: ignore[call-overload]  # one kind of all paths
        _template(template),
        root=_root(),
        format="png",
        ppi=dots_per_inch,
        font_paths=_fonts(),
        sys_inputs=_inputs(facts),
    )
    return (pages,) if isinstance(pages, bytes) else tuple(pages or ())


def _inputs(facts: Mapping[str, Fact]) -> dict[str, str]:
    return {"facts": json.dumps(facts, ensure_ascii=False, sort_keys=True)}


def page_count(pdf: bytes) -> int:
    """Pages of a PDF that `pdf_bytes` made."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))
