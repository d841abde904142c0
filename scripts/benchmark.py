"""Measure every method on every task and print one table: the figures of the documents.

    python scripts/benchmark.py --renders FOLDER [--photos FOLDER ...] [--out table.md]

FOLDER of renders as scripts/render_held_out.py writes it: SLICE/TYPE/N.jpg, each sub-folder a
slice, and instances/TYPE/N-a.jpg with N-b.jpg for the same specimen twice. FOLDER of photos: a
folder for each class. Ancient coins come with scikit-image. Works without a network, other than
for a named open_clip checkpoint that is not yet on this computer. With --out the same is written
as JSON beside the table.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from simsearch.errors import SimsearchError
from simsearch.evaluation.benchmark import benchmark
from simsearch.evaluation.methods import BASELINES, OWN
from simsearch.evaluation.report import document
from simsearch.evaluation.tasks import NAMES, Options


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    add = parser.add_argument
    add("--renders", metavar="FOLDER", help="held-out renders")
    add("--photos", nargs="+", default=[], metavar="FOLDER", help="photos, a folder a class")
    add("--set", metavar="SET", help="reference set; the shipped one if not given")
    add("--encoder", nargs="+", default=[], metavar="NAME", help="open_clip:ARCHITECTURE/TAG")
    add("--weights", nargs="+", default=[], metavar="NAME=FILE", help="of the built-in network")
    add("--methods", nargs="+", default=[*BASELINES, *OWN], metavar="NAME",
        help=f"of {', '.join((*BASELINES, *OWN))}; all if not given")  # fmt: skip
    add("--tasks", nargs="+", default=NAMES, choices=NAMES, metavar="NAME",
        help=f"of {', '.join(NAMES)}; all if not given")  # fmt: skip
    add("--turns", type=int, default=8, help="query turns where a query may be turned")
    add("--seeds", type=int, default=3, help="ancient coins: queries made so many times")
    add("--limit", type=int, default=0, help="at most so many queries a class, to try it out")
    add("--out", type=Path, metavar="TABLE.md")
    given = parser.parse_args()
    unseen: tuple[str, ...] = ()
    if given.renders and "unseen" in given.tasks:
        from simsearch.synthetic.stream import HELD_OUT as unseen
    options = Options(
        given.renders, tuple(given.photos), given.set, tuple(given.tasks), unseen,
        given.turns, given.seeds, given.limit,
    )  # fmt: skip
    methods = [*given.methods, *(f"weights:{one}" for one in given.weights), *given.encoder]
    try:
        report = benchmark(methods, options, given.out, lambda line: print(line, file=sys.stderr))
    except SimsearchError as error:
        print(error, file=sys.stderr)
        return 1
    print(document(report))
    return 0


if __name__ == "__main__":
    sys.exit(main())
