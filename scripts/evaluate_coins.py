"""Measure encoders and baselines on real coin photos sorted into one folder per class.

    python scripts/evaluate_coins.py FOLDER [--encoder NAME ...] [--turns 8] [--no-sift]

Prints class-mean R@1, R@5 and mAP with each photo looked up among all others, and R@1 with the
photos cut out of the same scene left out. HOG is tried with several cell sizes and all are
printed: the best of them is the one to beat.
"""

from __future__ import annotations

import argparse
import sys

from simsearch.encode import load_encoder
from simsearch.errors import SimsearchError
from simsearch.evaluation.baselines import ColourLbp, Hog, SiftSpatial
from simsearch.evaluation.folders import load_labelled
from simsearch.evaluation.report import chance, measure, table
from simsearch.evaluation.scoring import Scorer, VectorScorer

HOG_CELLS = (8, 16, 32)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("folder", help="photos, one folder per class")
    parser.add_argument("--encoder", action="append", default=[], metavar="NAME")
    parser.add_argument("--turns", type=int, default=8, help="turns of each query, 1 for none")
    parser.add_argument("--no-baselines", action="store_true")
    parser.add_argument("--no-sift", action="store_true", help="leave the slow baseline out")
    options = parser.parse_args()
    try:
        data = load_labelled(options.folder)
        encoders = [load_encoder(name) for name in options.encoder]
    except SimsearchError as error:
        print(error, file=sys.stderr)
        return 1
    methods: list[Scorer] = []
    if not options.no_baselines:
        hogs = [Hog(cell) for cell in HOG_CELLS]
        methods += [VectorScorer(encoder) for encoder in (ColourLbp(), *hogs)]
        if options.turns > 1:
            methods += [VectorScorer(encoder, options.turns) for encoder in hogs]
        methods += [] if options.no_sift else [SiftSpatial()]
    for encoder in encoders:
        methods += [VectorScorer(encoder, turns) for turns in sorted({1, options.turns})]
    classes, scenes = len(set(data.labels)), len(set(data.scenes))
    print(f"{len(data.photos)} photos, {classes} classes, {scenes} scenes")
    print(f"Photos: {options.folder} ({data.licence})")
    print(f"Chance: {100 * chance(data):.1f} % R@1\n")
    print(table([measure(method, data) for method in methods]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
