"""Measure encoders and baselines on 24 real ancient coins.

    python scripts/evaluate_ancient_coins.py [--encoder NAME ...] [--seeds 5] [--turns 24]

The picture ships inside scikit-image. Prints R@1 (own coin first among 24, chance 4.2 %) for
coins turned, lit and scaled otherwise; for halves of coins; and for halves turned and lit.
"""

from __future__ import annotations

import argparse
import sys

from simsearch.encode import load_encoder
from simsearch.errors import SimsearchError
from simsearch.evaluation.ancient_coins import half_queries, mean_recall_at_1, whole_queries
from simsearch.evaluation.baselines import ColourLbp, Hog, SiftSpatial
from simsearch.evaluation.scoring import Scorer, VectorScorer


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--encoder", action="append", default=[], metavar="NAME")
    parser.add_argument("--seeds", type=int, default=5, help="queries made so many times")
    parser.add_argument("--turns", type=int, default=24, help="turns of each query, 1 for none")
    parser.add_argument("--no-baselines", action="store_true")
    options = parser.parse_args()
    turns = sorted({1, options.turns})
    methods: list[Scorer] = []
    if not options.no_baselines:
        methods += [VectorScorer(ColourLbp()), SiftSpatial()]
        methods += [VectorScorer(Hog(cell), n) for n in turns for cell in (8, 16, 32)]
    try:
        encoders = [load_encoder(name) for name in options.encoder]
    except SimsearchError as error:
        print(error, file=sys.stderr)
        return 1
    methods += [VectorScorer(encoder, n) for encoder in encoders for n in turns]
    kinds = [
        ("whole", whole_queries),
        ("half", half_queries),
        ("half, turned and lit", lambda seed: half_queries(seed, again=True)),
    ]
    print(f"R@1 in per cent, 24 coins x {options.seeds} seeds; chance 4.2")
    print(f"| method | {' | '.join(name for name, _ in kinds)} |\n| --- | --- | --- | --- |")
    for method in methods:
        found = [mean_recall_at_1(method, make, range(options.seeds)) for _, make in kinds]
        print(f"| {method.name} | {' | '.join(f'{100 * value:.1f}' for value in found)} |")
    return 0


if __name__ == "__main__":
    sys.exit(main())
