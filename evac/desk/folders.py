"""Which lift folders are at hand for a notebook."""

from __future__ import annotations

import os
from pathlib import Path

_NAMED_BY = "EVAC_FOLDER"
_DEPTH = 3
_PASSED_OVER = ("tests",)
"""Lifts made for the project's own tests are nobody's lift."""


def find_folders(start: Path | None = None) -> tuple[Path, ...]:
    """Folders that hold a ``lift.toml``: the one ``EVAC_FOLDER`` names, then nearby.

    Looks below `start` (the notebook's folder) and below the folder above it, three
    levels deep, the nearest first; hidden folders and ``tests`` are passed over.
    """
    found: list[Path] = []
    named = os.environ.get(_NAMED_BY)
    if named:
        found.append(Path(named).resolve())
    here = (start or Path.cwd()).resolve()
    for root in (here, here.parent):
        for depth in range(_DEPTH):
            found += sorted(
                path.parent
                for path in root.glob("/".join(["*"] * depth + ["lift.toml"]))
                if not any(
                    part.startswith(".") or part in _PASSED_OVER
                    for part in path.relative_to(root).parts
                )
            )
    return tuple(dict.fromkeys(found))


def labelled(folders: tuple[Path, ...]) -> tuple[tuple[str, Path], ...]:
    """Folders with a name each, no two alike.

    Examples
    --------
    >>> [label for label, _ in labelled((Path("/a/lift"), Path("/b/lift")))]
    ['a/lift', 'b/lift']
    """
    return tuple((_label(path, folders), path) for path in folders)


def _label(path: Path, folders: tuple[Path, ...]) -> str:
    for length in range(1, len(path.parts)):
        tail = path.parts[-length:]
        if sum(other.parts[-length:] == tail for other in folders) == 1:
            return "/".join(tail)
    return str(path)
