"""Several photos of one find: does looking at its front, back and side together help?

Finds are folders of pictures, FOLDER/several/TYPE/N-VIEW.jpg, where N is the specimen and VIEW is
front, back or side.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np
import numpy.typing as npt

from simsearch.encode import Encoder
from simsearch.evaluation.metrics import bootstrap_interval, class_mean
from simsearch.evaluation.odds import MeasuredFinds, measured_finds
from simsearch.evaluation.renders import Find, ranks
from simsearch.leads.features import COMBINATIONS, combine_features, fused
from simsearch.sets.reference_set import ReferenceSet

FOLDER = "several"
VIEWS = ("front", "back", "side")
_NAME = re.compile(rf"(\d+)-({'|'.join(VIEWS)})\.jpg")
Doubles = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class MeasuredViews:
    """Finds measured view by view: one ``MeasuredFinds`` for each, in the same order of finds."""

    by_view: dict[str, MeasuredFinds]


def views(folder: Path) -> dict[str, list[Find]]:
    """The finds that have all views, in one order for each view; empty without any."""
    found: dict[tuple[str, int], dict[str, Find]] = {}
    for path in sorted((folder / FOLDER).glob("*/*.jpg")):
        name = _NAME.fullmatch(path.name)
        if name:
            find = Find(path, FOLDER, path.parent.name, int(name[1]))
            found.setdefault((find.type_id, find.number), {})[name[2]] = find
    whole = [some for some in found.values() if len(some) == len(VIEWS)]
    return {view: [some[view] for some in whole] for view in VIEWS} if whole else {}


def measured_views(
    reference: ReferenceSet, some: Mapping[str, list[Find]], encoder: Encoder
) -> MeasuredViews:
    """Measure every view of every find by itself."""
    return MeasuredViews(
        {view: measured_finds(reference, finds, encoder) for view, finds in some.items()}
    )


def combinations_of(measured: MeasuredViews) -> MeasuredFinds:
    """The finds seen from each pair of views and from all, combined as in use."""
    chosen = [views for count in range(2, len(VIEWS) + 1) for views in combinations(VIEWS, count)]
    every = [together(measured, views) for views in chosen]
    return MeasuredFinds(
        whole=np.concatenate([part.whole for part in every]),
        without={
            kind: np.concatenate([part.without[kind] for part in every])
            for kind in every[0].without
        },
        truth=np.concatenate([part.truth for part in every]),
        objects=np.concatenate([part.objects for part in every]),
        slices=np.concatenate([part.slices for part in every]),
        families=np.concatenate([part.families for part in every]),
        photos=np.concatenate([part.photos for part in every]),
    )


def together(measured: MeasuredViews, chosen: tuple[str, ...]) -> MeasuredFinds:
    """The finds, each seen from the chosen views at once."""
    parts = [measured.by_view[view] for view in chosen]
    first = parts[0]
    return MeasuredFinds(
        whole=_combined([part.whole for part in parts]),
        without={kind: _combined([part.without[kind] for part in parts]) for kind in first.without},
        truth=first.truth,
        objects=np.array([f"{FOLDER} {name}" for name in first.objects]),
        slices=np.array([" + ".join(chosen)] * len(first.truth)),
        families=first.families,
        photos=np.full(len(first.truth), len(chosen)),
    )


def _combined(tables: list[Doubles]) -> Doubles:
    """Combine tables (n, types, F), one for each photo, find by find."""
    return np.stack([combine_features(rows) for rows in np.stack(tables, axis=1)])


def several_table(measured: MeasuredViews, weights: tuple[float, ...]) -> str:
    """Markdown: class-mean R@1 and R@5 of each view and of all together, 95 % intervals."""
    lines = ["| photos | n | R@1 | R@5 |", "| --- | --- | --- | --- |"]
    for view in VIEWS:
        if view in measured.by_view:
            part = measured.by_view[view]
            lines.append(_line(view, fused(part.whole, weights), part.truth))
    stacked = np.stack([measured.by_view[view].whole for view in VIEWS], axis=1)
    truth = measured.by_view[VIEWS[0]].truth
    for how in COMBINATIONS:
        rows = np.stack([combine_features(find, how) for find in stacked])
        lines.append(_line(f"all, by {how}", fused(rows, weights), truth))
    return "\n".join(lines)


def _line(name: str, sums: Doubles, truth: npt.NDArray[np.int64]) -> str:
    rank = ranks(sums.astype(np.float32), truth)
    cells = [name, str(len(rank))]
    for k in (1, 5):
        right = (rank <= k).astype(np.float64)
        low, high = bootstrap_interval(right, truth.tolist())
        mean = class_mean(right, truth.tolist())
        cells.append(f"{100 * mean:.1f} ({100 * low:.1f}-{100 * high:.1f})")
    return f"| {' | '.join(cells)} |"
