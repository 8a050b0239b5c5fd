"""JSON as we write it: sorted, rounded, never NaN."""

from __future__ import annotations

import json
import math


def finite(value: float) -> float | None:
    """The value to 0.001, or None where it is not known."""
    return round(float(value), 3) if math.isfinite(value) else None


def json_bytes(content: object) -> bytes:
    """One JSON text with sorted keys."""
    text = json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False)
    return (text + "\n").encode("utf-8")
