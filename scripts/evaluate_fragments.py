"""Measure where fragments are placed: python scripts/evaluate_fragments.py [FOLDER] [--coins DIR]

FOLDER as render_held_out.py writes it, best with N.npz (surface points) beside N.jpg; with
``--points DIR`` also PHOTO_ID.npz for the set's photos. Prints class-mean R@1 and R@5 by slice by
vector alone and with the patches, and, where points are known, how far off the placings on
photos of the right type are. ``--coins DIR`` (a folder a class) cuts parts off photos of coins
and prints how far off they are placed on the whole, and how often the right coin comes first.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

import simsearch
from simsearch.encode import load_encoder
from simsearch.evaluation.fragments import coin_lines, render_lines


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--set", default=None)
    parser.add_argument("--points", type=Path, help="folder of PHOTO_ID.npz of the set's photos")
    parser.add_argument("--coins", type=Path, help="folder of photos of coins, a folder a class")
    parser.add_argument("--limit", type=int, default=6, help="coins or specimens of each class")
    options = parser.parse_args()
    encoder = load_encoder()
    if options.folder is not None:
        reference = simsearch.open_set(options.set)
        lines = render_lines(options.folder, reference, encoder, options.points, options.limit)
        print("\n".join(lines), flush=True)
    if options.coins is not None:
        lines = coin_lines(options.coins, encoder, options.limit, np.random.default_rng(0))
        print("\n".join(lines), flush=True)


if __name__ == "__main__":
    main()
