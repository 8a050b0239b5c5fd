"""`python -m tests.fuzz --count 20000 --seed 1`: spoil folders, print what became.

Exits 1 at the first kind of fault found; every fault is printed with its seed, which
`--seed N --count 1` repeats.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent
TELL_EVERY = 1_000
sys.path[:0] = [str(HERE), str(HERE.parent / "inputs"), str(HERE.parent)]

from folder_judge import base_files, judge, warm_up  # noqa: E402 - the path is set above
from plan_judge import plan_and_judge  # noqa: E402 - likewise


def main() -> int:
    """Run the mutations and say what became of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only-read", action="store_true", help="make no plans")
    arguments = parser.parse_args()
    files = base_files()
    further = None if arguments.only_read else plan_and_judge
    warm_up(files, further=further)
    started = time.monotonic()
    verdicts: Counter[str] = Counter()
    for seed in range(arguments.seed, arguments.seed + arguments.count):
        outcome = judge(files, seed=seed, further=further)
        verdicts[outcome.verdict] += 1
        if outcome.verdict not in ("opened", "refused"):
            print(
                f"seed {seed}: {outcome.told}: {outcome.verdict}\n{outcome.text}",
                flush=True,
            )
        if verdicts.total() % TELL_EVERY == 0:
            print(f"... to seed {seed}: {dict(sorted(verdicts.items()))}", flush=True)
    shown = ", ".join(f"{count} {name}" for name, count in sorted(verdicts.items()))
    print(f"{arguments.count} mutations from seed {arguments.seed}: {shown}", end="")
    print(f" ({time.monotonic() - started:.0f} s)")
    return 0 if set(verdicts) <= {"opened", "refused"} else 1


if __name__ == "__main__":
    sys.exit(main())
