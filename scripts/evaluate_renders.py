"""Measure the shipped set on held-out renders: python scripts/evaluate_renders.py FOLDER

FOLDER as render_held_out.py writes it (another series than the calibration's). Prints class-mean
R@1 and R@5 by slice with bootstrap 95 % intervals, for all types and for those that the encoder
was not trained on, beside colour + LBP and HOG. For odds see evaluate_odds.py.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

import simsearch
from simsearch.encode import Encoder, load_encoder
from simsearch.evaluation.baselines import ColourLbp, Hog
from simsearch.evaluation.metrics import bootstrap_interval, class_mean
from simsearch.evaluation.renders import Find, embedded, finds, groups_of, ranks, type_scores
from simsearch.index import PHOTO_SIDE
from simsearch.photo import open_photo
from simsearch.sets.reference_set import ReferenceSet
from simsearch.synthetic.train import HELD_OUT


def _line(name: str, rank: np.ndarray, labels: list[str]) -> str:
    cells = [name, str(len(rank))]
    for k in (1, 5):
        right = (rank <= k).astype(np.float32)
        low, high = bootstrap_interval(right, labels)
        cells.append(f"{100 * class_mean(right, labels):.1f} ({100 * low:.1f}-{100 * high:.1f})")
    return "| " + " | ".join(cells) + " |"


def _with_other(reference: ReferenceSet, encoder: Encoder, some: list[Find]) -> np.ndarray:
    """Ranks by another encoder, straight from its vectors of the set's photos."""
    groups, order = groups_of(reference), {r.id: r for r in reference.photos}
    photos = [
        open_photo(reference.path_of(order[i]), max_side=PHOTO_SIDE)
        for i in reference.index.photo_ids
    ]
    scores = groups.type_scores(embedded(some, encoder) @ encoder.embed(photos).T)
    return ranks(scores, _truth(some, groups.type_ids))


def _truth(some: list[Find], ids: tuple[str, ...]) -> np.ndarray:
    return np.array([ids.index(f.type_id) for f in some])


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--set", default=None)
    parser.add_argument("--no-baselines", action="store_true")
    options = parser.parse_args()
    reference = simsearch.open_set(options.set)
    groups, some = groups_of(reference), finds(options.folder)
    vectors = embedded(some, load_encoder())
    truth = _truth(some, groups.type_ids)
    by_best = {b: type_scores(reference, groups, vectors, b) for b in (1, 2, 3)}
    methods = {f"built-in, best {b}": ranks(s, truth) for b, s in by_best.items()}
    if not options.no_baselines:
        methods["HOG"] = _with_other(reference, Hog(cell=16), some)
        methods["colour + LBP"] = _with_other(reference, ColourLbp(), some)
    print("| slice, method | n | R@1 | R@5 |\n| --- | --- | --- | --- |")
    for part in sorted({f.slice for f in some}):
        for new in (False, True):
            pick = [
                i for i, f in enumerate(some)
                if f.slice == part and (not new or f.type_id in HELD_OUT)
            ]  # fmt: skip
            labels = [some[i].type_id for i in pick]
            for name, rank in methods.items():
                title = f"{part}, {name}" + (", types never trained on" if new else "")
                print(_line(title, rank[pick], labels), flush=True)


if __name__ == "__main__":
    main()
