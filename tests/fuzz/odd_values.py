"""What should never stand in a file, and does."""

from __future__ import annotations

from typing import Any

ODD_CELLS = (
    "", " ", "?", "nan", "NaN", "inf", "-inf", "-1", "0", "1e309", "-0.0", "1e-320",
    "99999999999", "1,5", "1.553,4", "2,100", "432'", "41'6\"", "6890 ft", "12 m",
    "\u2212 5", "=1+1", "@SUM(A1)", "<script>alert(1)</script>", "\u0000", "\u202e",
    "\U0001f6a1", "3-4", "03. Feb", "2027-02-30", "yes", "maybe", "None", "x" * 3000,
    "a|b", "|", "'; DROP TABLE", "../../etc/passwd", "{0}", "%s", "\u00a0", "1 412",
    "1'412", "TRUE",
)  # fmt: skip
"""What stands in cells of real tables, and what should never stand there."""

ODD_NUMBERS = (
    "0", "-1", "1e308", "1e-300", "nan", "inf", "-inf", "999999", "0x10", "true",
    '"2"', "[]", "{}", "[1, 2]", "[3, 2, 1]", "[nan, 1, 2]", "2027-02-28", '""', '"?"',
    "9223372036854775808", "-0.0", "[[1]]", "'''x'''",
)  # fmt: skip

ODD_JSON: tuple[Any, ...] = (
    None, True, -1, 1e308, "", "x", [], {}, [[]], "NaN", 91, 181, "road ", ["a"],
)  # fmt: skip
