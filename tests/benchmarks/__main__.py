"""Run a benchmark by name: ``python tests/benchmarks assignment``.

Every module here has ``run() -> dict[str, float]``; each number is printed beside its
name, one a line, with the unit that the name ends in.
"""

from __future__ import annotations

import re
import runpy
import sys
from pathlib import Path

FOLDER = Path(__file__).parent


UNITS = {"us": "us", "ms": "ms", "s": "s", "m": "m", "n": "N", "mb": "MB"}


def unit_of(measure: str) -> str:
    """The unit that a measure's name ends in; ``times`` for ratios, else a count."""
    last = re.split("[._]", measure)[-1]
    if ".vs_" in measure:
        return "times"
    return UNITS.get(last, "-")


def main(names: list[str]) -> None:
    """Run the named benchmarks, or all."""
    known = sorted(
        path.stem for path in FOLDER.glob("*.py") if not path.stem.startswith("__")
    )
    unknown = sorted(set(names) - set(known))
    if unknown:
        sys.exit(f"no benchmark {', '.join(unknown)}; there are {', '.join(known)}")
    for name in names or known:
        for measure, value in runpy.run_path(str(FOLDER / f"{name}.py"))[
            "run"
        ]().items():
            print(measure, f"{value:.4g}", unit_of(measure), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
