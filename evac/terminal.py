"""What the command line speaks through: console, progress bars, words as asked for."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Callable
from typing import TextIO, cast

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn

from evac.errors import EvacError, OutputError
from evac.words import Words


def words_for(*, feet: bool, number_locale: str) -> Words:
    """Words with the units and the way of writing numbers that a person asked for.

    Raises
    ------
    EvacError
        If nobody knows the locale.
    """
    # Reading locales costs a tenth of a second that `evac --help` need not pay.
    from babel import Locale, UnknownLocaleError

    try:
        Locale.parse(number_locale)
    except (UnknownLocaleError, ValueError):
        message = Words().say("summary.locale_unknown", code=repr(number_locale))
        raise EvacError(message) from None
    return Words(feet=feet, number_locale=number_locale)


def open_console() -> Console:
    """Console on the standard output."""
    # A pipe or a file has no width: wide enough that tables are not broken up.
    wide = None if sys.stdout.isatty() else 140
    return Console(
        file=_outlet(_Outlet, sys.stdout), width=wide, highlight=False, soft_wrap=False
    )


def guard_streams() -> None:
    """Let output that cannot be written end no command as a fault or a verdict.

    Whatever writes is covered: the help of the commands, refusals, progress.
    """
    sys.stdout = _outlet(_Outlet, sys.stdout)
    sys.stderr = _outlet(_Unheard, sys.stderr)


def _outlet(kind: type[_Outlet], stream: TextIO) -> TextIO:
    return stream if isinstance(stream, _Outlet) else cast("TextIO", kind(stream))


class _Outlet(io.TextIOBase):
    """Standard output that nobody may read to its end, or that has no space.

    The papers are written by then. A reader who has gone is no fault; a disk that is
    full is one, and must not look like a plan that reaches nobody.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._stream.encoding or "utf-8"

    def isatty(self) -> bool:
        return self._stream.isatty()

    def fileno(self) -> int:
        return self._stream.fileno()

    def write(self, text: str) -> int:
        self._try(lambda: self._stream.write(text))
        return len(text)

    def flush(self) -> None:
        self._try(self._stream.flush)

    def _try(self, call: Callable[[], object]) -> None:
        try:
            call()
        except OSError as error:
            # What is still held back would fail again when Python ends.
            os.dup2(os.open(os.devnull, os.O_WRONLY), self._stream.fileno())
            self._tell(error)

    def _tell(self, error: OSError) -> None:
        if not isinstance(error, BrokenPipeError):
            text = Words().say("summary.cannot_print", reason=str(error.strerror))
            raise OutputError(text) from None


class _Unheard(_Outlet):
    """Standard error that may have no space: the exit code still says how it ended."""

    def _tell(self, error: OSError) -> None:
        """Say nothing: there is no other place to say it."""


def say(console: Console, text: str) -> None:
    """Print a text as it stands, with no markup in it."""
    console.print(text, markup=False, highlight=False, soft_wrap=True)


def progress_bar() -> Progress:
    """Progress beside the output, gone when done."""
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        console=Console(stderr=True),
        transient=True,
    )


def stepper(progress: Progress, words: Words) -> Callable[[str, float], None]:
    """Call for every step of a plan that moves the bars of `progress`."""
    tasks: dict[str, TaskID] = {}

    def on_step(name: str, fraction: float) -> None:
        if name not in tasks:
            for done in tasks.values():
                progress.update(done, completed=1.0)
            tasks[name] = progress.add_task(
                words.say(f"summary.step_{name}"), total=1.0
            )
        progress.update(tasks[name], completed=fraction)

    return on_step
