"""Run a benchmark by name: ``python tests/benchmarks assignment``.

Every module here has ``run() -> dict[str, float]``; each number is printed beside its
name, one a line.
"""

from __future__ import annotations

import runpy
import sys
from pathlib import Path

FOLDER = Path(__file__).parent


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
            print(measure, f"{value:.4g}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
