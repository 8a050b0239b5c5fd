"""Compile a numeric function once and keep the machine code between runs."""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import cache, partial
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

_settings: Any = numba.config
"""numba makes its settings at run time, where a type checker cannot see them."""

Function = TypeVar("Function", bound=Callable[..., object])


def inlined(function: Function) -> Function:
    """As `compiled`, but laid into every function that calls it.

    A call between two cached functions cannot be optimised away and costs as much
    as the dozen operations of a rope segment.
    """
    return _compile(function, inline="always")


def compiled(function: Function) -> Function:
    """Compile `function` with numba; keep the result on disk where that is possible.

    A compiled function may call compiled functions of its own file and of
    `evac.rope`, no others. Division by zero gives infinity or NaN, as in numpy, and no
    operation is reordered, so results do not depend on the machine's vector width.
    While it runs other threads go on: hand no array to two calls at once that either
    of them changes.

    Parameters
    ----------
    function : callable
        A function of numbers and arrays only.

    Returns
    -------
    callable
        The compiled function, called in the same way.

    Notes
    -----
    numba renews a function's cached code when the function's own file changes, but
    not when a function that it calls does: after an upgrade old formulas could live
    on inside new ones. So the cache lies in a folder named after the content of this
    package. It is sought beside the source, then (a read-only installation) in the
    user's cache. Where nothing can be written the functions are compiled afresh in
    every process, which costs seconds and gives the same numbers.
    """
    return _compile(function, inline="never")


def _compile(function: Function, *, inline: str) -> Function:
    make = partial(numba.njit, error_model="numpy", inline=inline, nogil=True)
    folder = _cache_folder()
    if folder is None:
        return cast(Function, make()(function))
    before = _settings.CACHE_DIR
    _settings.CACHE_DIR = str(folder)
    try:
        return cast(Function, make(cache=True)(function))
    finally:
        _settings.CACHE_DIR = before


@cache
def _cache_folder() -> Path | None:
    package = Path(__file__).parent
    content = hashlib.sha256(numba.__version__.encode())
    for source in sorted(package.glob("*.py")):
        content.update(source.read_bytes())
    name = f"evac-{content.hexdigest()[:16]}"
    asked = [Path(_settings.CACHE_DIR)] if _settings.CACHE_DIR else []
    for base in [*asked, package / "__pycache__", *_user_caches()]:
        folder = base / name
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        # An existing folder of another account may be readable and no more.
        if os.access(folder, os.W_OK):
            return folder
    return None


def _user_caches() -> list[Path]:
    if sys.platform == "win32":
        home = os.environ.get("LOCALAPPDATA")
    else:
        home = os.environ.get("XDG_CACHE_HOME")
    found = [Path(home)] if home else []
    # Accounts without a home folder exist on servers.
    with suppress(RuntimeError):
        found.append(Path.home() / ".cache")
    return found
