"""An invented club's set and photos, small enough to be made for every test."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from PIL import Image

from simsearch.making.plan import Defaults
from simsearch.sets.check import check_set
from simsearch.sets.datapackage import write_datapackage
from simsearch.sets.reference_set import open_set
from tests.tiny_set import make_set as make_tiny_set
from tests.tiny_set import type_row, write_types

DEFAULTS = Defaults(
    creator="Harrow Fen Finds Club (invented)",
    licence="CC-BY-4.0",
    source="photographed for the tests",
    labelled_by="A. Finder (invented)",
    label_basis="seen in the hand",
    labelled_on="2026-02-01",
)


def club_set(folder: Path) -> Path:
    """Make a sound set with the types knee, dolphin and hod-hill and a few photos."""
    make_tiny_set(folder, photos_per_type=2)
    links = {"knee": "dolphin", "dolphin": "knee"}
    rows = [
        type_row(kind, look_alikes=f"{links[kind]}: another colour" if kind in links else "")
        for kind in open_set(folder).types
    ]
    rows[0] |= {"name": "Knee brooch (invented)", "other_names": "angled bow"}
    rows.append(type_row("hod-hill", name="Hod Hill (invented)", other_names="Hill brooch"))
    write_types(folder, rows)
    write_datapackage(folder)
    return folder


def snap(path: Path, seed: int, size: tuple[int, int] = (40, 30), **saving: object) -> Path:
    """Save a noisy picture that is no other one's double."""
    path.parent.mkdir(parents=True, exist_ok=True)
    noise = np.random.default_rng(seed).integers(0, 256, size=(size[1], size[0], 3))
    Image.fromarray(noise.astype(np.uint8)).save(path, **saving)  # type: ignore[arg-type]
    return path


def errors(folder: Path) -> list[str]:
    """Return what is wrong with a set."""
    return [str(found) for found in check_set(folder) if found.severity == "error"]


def tree(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder, but the lock."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != ".simsearch.lock"
    }


def modified(folder: Path) -> dict[str, int]:
    """Return when files were last written, to tell that nothing was."""
    return {str(path.relative_to(folder)): os.stat(path).st_mtime_ns for path in folder.rglob("*")}
