"""Do the odds of a set hold? python scripts/evaluate_odds.py FOLDER [--set SET] [--diagram FILE]

FOLDER as render_held_out.py writes it, of another series than the odds were measured on. Prints
reliability, coverage of the list and closeness, over all finds, by slice and by group of types;
--diagram writes the reliability diagram as an SVG.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import simsearch
from simsearch.encode import load_encoder
from simsearch.evaluation.diagram import reliability_svg
from simsearch.evaluation.odds import (
    closeness_table,
    coverage_table,
    measured_finds,
    reliability_bins,
    reliability_table,
)
from simsearch.evaluation.renders import finds
from simsearch.files import write_text
from simsearch.leads.look import fitting_calibration


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--set", default=None)
    parser.add_argument("--diagram", type=Path, default=None)
    options = parser.parse_args()
    reference = simsearch.open_set(options.set)
    calibration, note = fitting_calibration(reference, reference.index)
    print(note)
    if calibration is None:
        return
    measured = measured_finds(reference, finds(options.folder), load_encoder())
    print(f"\n{reliability_table(calibration, measured)}")
    print(f"\n{coverage_table(calibration, measured)}")
    print(f"\n{closeness_table(calibration, measured)}")
    if options.diagram:
        bins = reliability_bins(calibration, measured)
        write_text(options.diagram, reliability_svg(bins, "Odds of first leads, rendered finds"))


if __name__ == "__main__":
    main()
