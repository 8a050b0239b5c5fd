"""Where the project stands, and the shared reference data beside it."""

from __future__ import annotations

import os
from pathlib import Path

ROOT = Path(__file__).parents[1]


def shared_folder() -> Path | None:
    """The folder of published data, or None where this machine has none."""
    named = os.environ.get("EVAC_SHARED")
    folder = Path(named) if named else ROOT.parent / "shared"
    return folder if folder.is_dir() else None
