"""Measure the odds of a set on held-out renders: python scripts/calibrate.py FOLDER [--set SET]

FOLDER as render_held_out.py writes it; all its slices count. Each find is also measured with its
own type, and with the whole group of its type, taken out of the set. Where there is a
FOLDER/several (see simsearch/evaluation/several.py) its finds are measured from two photos and
from all together, so that odds hold for several photos of one find too.
Writes index/calibration.json.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

import simsearch
from simsearch.encode import load_encoder
from simsearch.evaluation.odds import measured_finds
from simsearch.evaluation.renders import finds
from simsearch.evaluation.several import combinations_of, measured_views, views
from simsearch.leads.calibration import fit_calibration
from simsearch.leads.calibration_file import save_calibration

NOTE = "They were measured on rendered finds: on photographs of real finds they are a guess."


def main() -> None:
    """Fit, save and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--set", default=None)
    options = parser.parse_args()
    reference, encoder = simsearch.open_set(options.set), load_encoder()
    measured = measured_finds(reference, finds(options.folder), encoder, _tell)
    parts = [measured]
    several = views(options.folder)
    if several:
        parts.append(combinations_of(measured_views(reference, several, encoder)))
    calibration = fit_calibration(
        np.concatenate([part.whole for part in parts]),
        np.concatenate([part.truth for part in parts]),
        objects=np.concatenate([part.objects for part in parts]),
        without={
            kind: np.concatenate([part.without[kind] for part in parts])
            for kind in measured.without
        },
        photos=np.concatenate([part.photos for part in parts]),
        encoder_fingerprint=reference.index.encoder_fingerprint,
        set_fingerprint=reference.fingerprint,
        note=NOTE,
    )
    save_calibration(calibration, reference.index_folder)
    for name, value in vars(calibration).items():
        print(f"{name}: {value}")


def _tell(done: int, total: int) -> None:
    if done % 80 == 0 or done == total:
        print(f"measured {done} of {total} finds", flush=True)


if __name__ == "__main__":
    main()
