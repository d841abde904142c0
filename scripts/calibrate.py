"""Fit the odds of a set on held-out renders: python scripts/calibrate.py FOLDER [--set SET]

FOLDER as render_held_out.py writes it. Half of the finds also serve, with their own type taken
out of the set, as finds of unknown type. Writes index/calibration.json.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

import simsearch
from simsearch.encode import load_encoder
from simsearch.evaluation.renders import embedded, finds, groups_of, type_scores
from simsearch.leads.calibration import fit_calibration, save_calibration

NOTE = "They were measured on rendered finds: on photographs of real finds they are a guess."


def main() -> None:
    """Fit, save and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--set", default=None)
    options = parser.parse_args()
    reference = simsearch.open_set(options.set)
    groups = groups_of(reference)
    some = [f for f in finds(options.folder) if f.slice in ("complete", "half")]
    truth = np.array([groups.type_ids.index(f.type_id) for f in some])
    scores = type_scores(reference, groups, embedded(some, load_encoder()))
    unknown = scores[::2].copy()
    unknown[np.arange(len(unknown)), truth[::2]] = -1
    names = [f"{f.type_id} {f.number}" for f in some]
    objects = np.unique(names, return_inverse=True)[1]
    calibration = fit_calibration(
        np.concatenate([scores, unknown]),
        np.concatenate([truth, np.full(len(unknown), -1)]),
        encoder_fingerprint=reference.index.encoder_fingerprint,
        set_fingerprint=reference.fingerprint,
        groups=np.concatenate([objects, objects[::2]]),
        note=NOTE,
    )
    save_calibration(calibration, reference.index_folder)
    print(calibration)


if __name__ == "__main__":
    main()
