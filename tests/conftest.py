"""What every test may use: where the shared reference data is."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def shared_folder() -> Path | None:
    """The folder of published data, or None where this machine has none."""
    named = os.environ.get("EVAC_SHARED")
    folder = Path(named) if named else ROOT.parent / "shared"
    return folder if folder.is_dir() else None


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of published data; skips where there is none."""
    folder = shared_folder()
    if folder is None:
        pytest.skip("no shared reference data: set EVAC_SHARED or lay ../shared")
    return folder


@pytest.fixture(scope="session")
def demo() -> Path:
    """The lift folder of the demo."""
    return ROOT / "data_demo" / "larkfell_four"
