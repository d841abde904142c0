"""Print whether ground or colour gives a type away, and how much they sway the encoder.

python scripts/measure_shortcuts.py [types [specimens [pixels]]]
"""

from __future__ import annotations

import sys

from simsearch.encode import load_encoder
from simsearch.evaluation import shortcuts
from simsearch.evaluation.baselines import ColourLbp
from simsearch.synthetic.typed import typed_ids


def main(types: int = 20, specimens: int = 4, size: int = 128) -> None:
    """Render the finds and print one line a measurement."""
    finds = shortcuts.rendered_finds(typed_ids()[:types], specimens, size)
    encoder, plain = load_encoder(), ColourLbp(side=size)
    corners = shortcuts.ground_only(finds)
    vectors = {"ground, " + e.name: e.embed(corners) for e in (plain, encoder)}
    scores = {name: v @ v.T for name, v in vectors.items()}
    histograms = shortcuts.colour_histograms(finds)
    scores["object's mean colour"] = shortcuts.by_distance(shortcuts.mean_colours(finds))
    scores["object's colour histogram"] = histograms @ histograms.T
    by_chance = [shortcuts.chance(finds.labels, k) for k in (1, 5)]
    print(f"{len(finds.labels)} rendered finds, {types} types; "
          f"chance R@1 {by_chance[0]:.3f} R@5 {by_chance[1]:.3f}")  # fmt: skip
    for name, table in scores.items():
        f = shortcuts.leak(table, finds.labels)
        low, high = f.interval_1
        low5, high5 = f.interval_5
        print(f"{name}: R@1 {f.recall_1:.3f} ({low:.3f}-{high:.3f}), "
              f"R@5 {f.recall_5:.3f} ({low5:.3f}-{high5:.3f})")  # fmt: skip
    for name, other in (
        ("other ground", shortcuts.on_other_ground(finds)),
        ("other colour", shortcuts.recoloured(finds)),
    ):
        print(f"{name}: mean cosine drop {shortcuts.cosine_drop(encoder, finds.pixels, other):.3f}")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
