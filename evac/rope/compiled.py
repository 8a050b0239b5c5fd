"""Compile a numeric function once and keep the machine code between runs."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

Function = TypeVar("Function", bound=Callable[..., object])


def compiled(function: Function) -> Function:
    """Compile `function` with numba; keep the result on disk where that is possible.

    numba stores its cache beside the source or, in a read-only installation, in the
    user's cache folder. Where neither can be written (a locked-down account, a stick)
    it refuses to decorate; then the function is compiled afresh in every process,
    which costs seconds but gives the same numbers.

    Parameters
    ----------
    function : callable
        A function of numbers and arrays only.

    Returns
    -------
    callable
        The compiled function, called in the same way.
    """
    try:
        return cast(Function, numba.njit(cache=True)(function))
    except RuntimeError:
        return cast(Function, numba.njit(function))
