"""Kill a process that imports, re-indexes, deletes, merges and relabels, and look what is left.

    python scripts/kill_test.py [KILLS] [SEED]

Half of the kills come at a random time, half just before a random call that moves, removes or
flushes a file. There are 50 without an argument, on a small invented set with a tiny stand-in for
an encoder. After each the set is opened and checked, every row that was committed before is
looked for, and the next kill goes on with the same set. Ends with 1 when anything was lost or
wrong.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.making.kills import kill_once, prepare

_LONGEST_MS = 1500
_MOST_CALLS = 400


def main(kills: int, seed: int) -> int:
    """Print one line for each kill and a summary; return the exit code."""
    seen: Counter[str] = Counter()
    committed = faulty = steps = 0
    print("kill  after ms  during       journal  steps  rows  found")
    with tempfile.TemporaryDirectory() as place:
        ground = prepare(Path(place))
        for number in range(1, kills + 1):
            if number % 2:
                kill = kill_once(ground, seed + number, longest_ms=_LONGEST_MS)
            else:
                kill = kill_once(ground, seed + number, most_calls=_MOST_CALLS)
            journal = "yes" if kill.committed else "no"
            found = "; ".join(kill.faults) or "nothing wrong"
            print(
                f"{number:4}  {kill.after_ms:8}  {kill.during:11}  {journal:7}  "
                f"{kill.steps:5}  {kill.rows:4}  {found}",
                flush=True,
            )
            seen[kill.during] += 1
            committed += kill.committed
            steps += kill.steps
            faulty += bool(kill.faults)
    print(f"{kills} kills, {steps} states written down before them, {faulty} with something wrong")
    print(f"with a journal to carry out: {committed}; by what was going on: {dict(seen)}")
    return 1 if faulty else 0


if __name__ == "__main__":
    if len(sys.argv) > 3:
        sys.exit(__doc__)
    given = [int(argument) for argument in sys.argv[1:]]
    sys.exit(main(*(given + [50, 1][len(given) :])))
