"""Real photographs sorted into one folder per class."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from simsearch.errors import SetError
from simsearch.photo import list_photos, open_photo


@dataclass(frozen=True)
class LabelledPhotos:
    """Photos with the class of each and the scene it was cut from, in the same order."""

    photos: list[Image.Image]
    labels: list[str]
    scenes: list[str]
    licence: str


def load_labelled(folder: str | Path, *, max_side: int = 256) -> LabelledPhotos:
    """Read ``folder/CLASS/PHOTO`` for every class.

    Photos that were cut out of one picture are told by their names: ``SCENE_NUMBER.jpg``. The
    licence is the first line and the copyright line of a file called LICENSE or LICENCE.
    Raises SetError if there are fewer than two classes or a class has a single photo.
    """
    root = Path(folder)
    paths = [path for path in list_photos(root) if path.parent != root]
    labels = [path.relative_to(root).parts[0] for path in paths]
    if len(set(labels)) < 2 or min(labels.count(label) for label in set(labels)) < 2:
        raise SetError(
            f"{root} does not hold photos of at least two classes.",
            hint="Put two or more photos of each class into a folder with the name of the class.",
        )
    scenes = [re.sub(r"_\d+$", "", path.stem) for path in paths]
    photos = [open_photo(path, max_side=max_side) for path in paths]
    return LabelledPhotos(photos, labels, scenes, licence_of(root))


def licence_of(root: Path) -> str:
    """Return the first line and the copyright line of the folder's licence file."""
    for name in ("LICENSE", "LICENCE", "LICENSE.txt", "LICENCE.txt"):
        if (root / name).is_file():
            text = (root / name).read_text("utf-8", errors="replace")
            lines = [line.strip() for line in text.splitlines() if line.strip()]
            rights = [line for line in lines if line.lower().startswith("copyright")]
            return "; ".join([*lines[:1], *rights[:1]])
    return "no licence file found"
