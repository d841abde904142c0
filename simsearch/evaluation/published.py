"""Published figures that the measuring code must print too, on outlines that others collected.

Three sets of the UCR time-series archive come inside the package sktime (and aeon): ArrowHead
(outlines of projectile points as series of distances), OSULeaf (outlines of leaves) and GunPoint
(a hand's movement). The archive publishes the error of the nearest neighbour for each, with the
plain distance and with dynamic time warping over the full window.

Source: H. A. Dau et al., "The UCR Time Series Archive", 2018 (arXiv 1810.07758) says how the
figures are made (nearest neighbour, fixed parting into training and test) and that the archive's
own summary table holds them. That table was not read itself: the figures below are as copied
into the list of data sets of the code published with C. W. Tan et al., "MultiRocket"
(arXiv 2102.00457), read on 2026-11-25: training, test, classes, length, error, error with a
learned window, error with the full window.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import numpy.typing as npt

from simsearch.evaluation.metrics import recall_at, relevance_by_rank

Series = npt.NDArray[np.float64]
Labels = npt.NDArray[np.str_]


@dataclass(frozen=True)
class Published:
    """One set: its sizes and the errors that were published, shares from 0 to 1."""

    name: str
    training: int
    test: int
    length: int
    error: float
    warped_error: float


PUBLISHED = (
    Published("ArrowHead", 36, 175, 251, 0.2000, 0.2971),
    Published("OSULeaf", 200, 242, 427, 0.4793, 0.4091),
    Published("GunPoint", 50, 150, 150, 0.0867, 0.0933),
)


def data_folder() -> Path | None:
    """Return the folder of data sets in the installed package that has them, if any.

    The package is found, not imported: that would take seconds.
    """
    for package in ("sktime", "aeon"):
        spec = find_spec(package)
        for place in (spec.submodule_search_locations or []) if spec else []:
            folder = Path(place) / "datasets" / "data"
            if all((folder / one.name / f"{one.name}_TEST.ts").is_file() for one in PUBLISHED):
                return folder
    return None


def read_series(path: Path) -> tuple[Series, Labels]:
    """Read a .ts file of series of one length: float64 ``(n, length)`` and labels ``(n,)``.

    After the line ``@data`` every line is numbers parted by commas, a colon, and the label.
    """
    lines = [line.strip() for line in path.read_text("utf-8").splitlines()]
    start = next(i for i, line in enumerate(lines) if line.lower() == "@data") + 1
    rows = [line.rsplit(":", 1) for line in lines[start:] if line]
    series = [[float(number) for number in numbers.split(",")] for numbers, _ in rows]
    return np.array(series), np.array([label for _, label in rows])


def read_both(folder: Path, name: str) -> tuple[tuple[Series, Labels], tuple[Series, Labels]]:
    """Return training and test series of one set, each with labels."""
    training, test = (folder / name / f"{name}_{part}.ts" for part in ("TRAIN", "TEST"))
    return read_series(training), read_series(test)


def distances(queries: Series, gallery: Series) -> Series:
    """Return Euclidean distances ``(queries, gallery)``."""
    rows = [np.linalg.norm(gallery - one, axis=1) for one in queries]
    return np.stack(rows)


def nearest_error(apart: Series, labels: Labels, gallery_labels: Labels) -> float:
    """Return the share of queries whose nearest neighbour has another label, by our metrics."""
    right = recall_at(relevance_by_rank(-apart, list(labels), list(gallery_labels)), 1)
    return float(1 - right.mean())


def check_lines() -> list[str]:
    """Return one sentence for each set: the error found here and the one published."""
    folder = data_folder()
    if folder is None:
        return [
            "Published figures were not checked: the package sktime, which holds the sets, is not "
            "installed (it comes with the dev extra)."
        ]
    lines = []
    for one in PUBLISHED:
        (gallery, gallery_labels), (queries, labels) = read_both(folder, one.name)
        found = nearest_error(distances(queries, gallery), labels, gallery_labels)
        verdict = "the same" if f"{found:.4f}" == f"{one.error:.4f}" else "NOT THE SAME"
        lines.append(
            f"{one.name} (UCR archive), nearest of {one.training} by plain distance, "
            f"{one.test} queries: error {found:.4f}, published {one.error:.4f}: {verdict}."
        )
    return lines
