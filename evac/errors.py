"""The errors a user can meet, as one tree.

EvacError
├── InputError      the lift folder cannot be read as it stands (exit code 2)
│   └── FolderError several of its files cannot, each with all that is wrong in it
├── RopeError       no rope can hang as asked (exit code 2)
├── NoPlanError     the chain cannot end in a plan (exit code 2)
└── OutputError     the output folder cannot be written (exit code 2)
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path


class EvacError(Exception):
    """Anything that `evac` refuses, with a sentence for the person who asked."""


class RopeError(EvacError):
    """No rope hangs as asked: impossible input or no equilibrium."""


class NoPlanError(EvacError):
    """The inputs are readable, yet no honest plan can be made of them."""


class OutputError(EvacError):
    """The results cannot be written where the user wants them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing that is wrong in a file, as the user will mend it.

    Parameters
    ----------
    where : str
        Row and column, key or layer, as a spreadsheet counts them, such as
        ``"row 3, column distance_m"`` or ``"[tension] force_kn"``.
    found : str
        What stands there, quoted.
    expected : str
        What should stand there.
    remedy : str
        What to do, as a sentence.
    """

    where: str
    found: str
    expected: str
    remedy: str

    def __str__(self) -> str:
        return (
            f"{self.where}: found {self.found}, expected {self.expected}. {self.remedy}"
        )


class InputError(EvacError):
    """A file of the lift folder cannot be used; lists every problem found in it.

    Parameters
    ----------
    file : str or Path
        The file as the user knows it: its name inside the lift folder.
    problems : list of Problem
        At least one.
    """

    def __init__(self, file: str | Path, problems: list[Problem]) -> None:
        self.file = str(file)
        self.problems = tuple(problems)
        if len(problems) == 1:
            message = f"{self.file}, {problems[0]}"
        else:
            lines = [f"{self.file} has {len(problems)} problems; nothing was planned."]
            lines += [f"  {problem}" for problem in problems]
            message = "\n".join(lines)
        super().__init__(message)


class FolderError(InputError):
    """Several files of a lift folder cannot be used: all that is wrong in all of them.

    Sorted by file, and within a file by row.

    Parameters
    ----------
    errors : sequence of InputError
        At least two, of different files or of one.
    """

    def __init__(self, errors: Sequence[InputError]) -> None:
        told = [
            (error.file, _row(problem), problem)
            for error in errors
            for problem in error.problems
        ]
        told.sort(key=lambda item: item[:2])
        files = list(dict.fromkeys(file for file, _, _ in told))
        self.errors = tuple(errors)
        super().__init__(files[0], [problem for _, _, problem in told])
        some = "1 file" if len(files) == 1 else f"{len(files)} files"
        lines = [f"{len(told)} problems in {some}; nothing was planned."]
        lines += [f"  {file}, {problem}" for file, _, problem in told]
        self.args = ("\n".join(lines),)


def _row(problem: Problem) -> int:
    """The number of the row, line or feature of a problem; 0 for a whole file."""
    number = re.search(r"\b(?:row|line|feature) (\d+)", problem.where)
    return int(number[1]) if number else 0
