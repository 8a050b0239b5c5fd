"""What really stands on the pages of a PDF: every letter with its box and size.

Read with PDFium (pypdfium2), which shares no code with what set the pages.
"""

from __future__ import annotations

import ctypes
import math
from dataclasses import dataclass

import pypdfium2
import pypdfium2.raw as pdfium

MM_PER_PT = 25.4 / 72


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """One letter on a page; the box in points from the page's lower left."""

    number: int
    text: str
    size_pt: float
    left: float
    bottom: float
    right: float
    top: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page with its size in points, its text in reading order and its letters."""

    width: float
    height: float
    text: str
    letters: tuple[Letter, ...]

    @property
    def joined(self) -> str:
        """The text without any blanks or line breaks, for finding wrapped words."""
        return joined(self.text)


def joined(text: str) -> str:
    """Text without blanks, soft breaks and line breaks."""
    return "".join(text.split()).replace("\u200b", "")


def read_pages(pdf: bytes) -> list[Page]:
    """Every page of a PDF."""
    document = pypdfium2.PdfDocument(pdf)
    pages = []
    for page in document:
        text_page = page.get_textpage()
        width, height = page.get_size()
        pages.append(
            Page(
                width=width,
                height=height,
                text=text_page.get_text_range(),
                letters=tuple(_letters(text_page)),
            )
        )
        text_page.close()
        page.close()
    document.close()
    return pages


def _letters(text_page: pypdfium2.PdfTextPage) -> list[Letter]:
    found = []
    for number in range(text_page.count_chars()):
        code = pdfium.FPDFText_GetUnicode(text_page, number)
        if pdfium.FPDFText_IsGenerated(text_page, number) or not chr(code).strip(
            "\u200b"
        ):
            continue
        matrix = pdfium.FS_MATRIX()
        pdfium.FPDFText_GetMatrix(text_page, number, matrix)
        scale = math.sqrt(abs(matrix.a * matrix.d - matrix.b * matrix.c))
        sides = [ctypes.c_double() for _ in range(4)]
        pdfium.FPDFText_GetCharBox(text_page, number, *sides)
        left, right, bottom, top = (side.value for side in sides)
        found.append(
            Letter(
                number=number,
                text=chr(code),
                size_pt=pdfium.FPDFText_GetFontSize(text_page, number) * scale,
                left=left,
                bottom=bottom,
                right=right,
                top=top,
            )
        )
    return found


def outside(page: Page, *, margin_mm: float) -> list[Letter]:
    """Letters that stand nearer to the page's edge than the margin, or beyond it."""
    margin = margin_mm / MM_PER_PT
    return [
        letter
        for letter in page.letters
        if letter.left < margin
        or letter.bottom < margin
        or letter.right > page.width - margin
        or letter.top > page.height - margin
    ]


def too_small(page: Page, *, least_pt: float = 9.0) -> list[Letter]:
    """Letters below the least size; a hundredth of a point is rounding."""
    return [item for item in page.letters if item.size_pt < least_pt - 0.01]


def overlapping(page: Page) -> list[tuple[Letter, Letter]]:
    """Pairs of letters whose boxes cover each other by more than a quarter.

    Neighbours in one word may touch (kerning) or be one sign (fi), so letters next to
    each other in reading order, or in the very same box, do not count.
    """
    cells: dict[tuple[int, int], list[Letter]] = {}
    for letter in page.letters:
        key = (int(letter.left // 20), int(letter.bottom // 20))
        cells.setdefault(key, []).append(letter)
    found = []
    for (column, row), letters in cells.items():
        near = [
            other
            for step_x in (-1, 0, 1)
            for step_y in (-1, 0, 1)
            for other in cells.get((column + step_x, row + step_y), [])
        ]
        found += [
            (letter, other)
            for letter in letters
            for other in near
            if letter is not other
            and abs(letter.number - other.number) > 1
            and _box(letter) != _box(other)
            and _shared(letter, other) > 0.25
        ]
    return found


def _box(letter: Letter) -> tuple[float, float, float, float]:
    return (letter.left, letter.bottom, letter.right, letter.top)


def _shared(one: Letter, other: Letter) -> float:
    width = min(one.right, other.right) - max(one.left, other.left)
    height = min(one.top, other.top) - max(one.bottom, other.bottom)
    if width <= 0 or height <= 0:
        return 0.0
    areas = [(i.right - i.left) * (i.top - i.bottom) for i in (one, other)]
    return width * height / max(min(areas), 1e-6)
