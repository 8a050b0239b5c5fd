"""What the command line speaks through: console, progress bars, words as asked for."""

from __future__ import annotations

import sys
from collections.abc import Callable

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn

from evac.errors import EvacError
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
    return Console(width=wide, highlight=False, soft_wrap=False)


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
