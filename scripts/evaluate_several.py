"""Do several photos of one find help? python scripts/evaluate_several.py FOLDER [--set SET]

FOLDER/several/TYPE/N-VIEW.jpg with views front, back and side. Prints recall by single views and
by all of them combined in each way known here.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import simsearch
from simsearch.encode import load_encoder
from simsearch.evaluation.several import measured_views, several_table, views
from simsearch.leads.features import DEFAULT_WEIGHTS
from simsearch.leads.look import fitting_calibration


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--set", default=None)
    options = parser.parse_args()
    some = views(options.folder)
    if not some:
        parser.error(f"there are no finds with all views in {options.folder / 'several'}")
    reference = simsearch.open_set(options.set)
    calibration, note = fitting_calibration(reference, reference.index)
    weights = DEFAULT_WEIGHTS if calibration is None else calibration.odds.weights
    print(note, f"Weights {weights}.\n", sep="\n")
    print(several_table(measured_views(reference, some, load_encoder()), weights))


if __name__ == "__main__":
    main()
