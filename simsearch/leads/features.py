"""What is known of every type about one find: a row of features per type.

Two columns (``FEATURES``): "vector", the mean similarity of the type's nearest specimens, and
"patches", how well the find can be laid over photos of the type. An encoder without patches
gives the first column only. Everything that follows (ranking, odds, shortlist, closeness) reads
this table and nothing else.

Laying a find over a photo is slow next to comparing vectors, so it is done for the types that
the vectors put first. A type that was not tried counts as the worst of those that were: it is
behind them already, and patches must not bring it forward unseen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from simsearch.index.photo_index import Floats, PhotoIndex
from simsearch.leads.grouping import PhotoGroups
from simsearch.leads.placing import Placed, place

Doubles = NDArray[np.float64]
Positions = NDArray[np.intp]
Combine = Literal["max", "mean", "near"]
COMBINATIONS: tuple[Combine, ...] = ("max", "mean", "near")
Place = Callable[[Floats, Floats], Sequence[Placed]]

FEATURES = ("vector", "patches")
DEFAULT_WEIGHTS = (14.0, 8.0)
"""Weights of the columns for a set without a calibration; they rank, but give no odds."""
TYPES_PLACED = 12
"""How many types a find is laid over, best by vector first."""
PHOTOS_PLACED = 2
"""Over how many photos of each: the nearest one of each of the nearest specimens."""
_NEARER = 15.0  # a photo whose nearest type is 0.1 nearer counts e ** 1.5 times as much


@dataclass(frozen=True, eq=False)
class FindFeatures:
    """``values`` is (photos of the find, types, F); ``placed`` has, for each photo of the find,
    the placing on each reference photo that was tried, by its position in the index."""

    values: Doubles
    placed: tuple[dict[int, Placed], ...]


def features_of(
    index: PhotoIndex,
    groups: PhotoGroups,
    vectors: Floats,
    patches: Floats | None,
    *,
    left_out: NDArray[np.bool_] | None = None,
    known: Sequence[dict[int, Placed]] | None = None,
    place: Place = place,
) -> FindFeatures:
    """Measure a find against every type of the index.

    ``vectors`` is (q, dim) and ``patches`` (q, R, C, D), or ``None`` for one column only.
    ``left_out`` (photos,) names photos of the index to do without; a type left without photos
    gets -inf in every column. ``known`` are placings of the same photos to use again.
    """
    similarities = index.similarities(vectors)
    if left_out is not None:
        similarities[:, left_out] = -np.inf
    scores = groups.type_scores(similarities).astype(np.float64)
    if patches is None or index.patches is None:
        return FindFeatures(scores[:, :, None], tuple({} for _ in scores))
    placed = tuple(
        _placed(index, photos_to_place(similar, own, groups), grid, place, before)
        for similar, own, grid, before in zip(
            similarities, scores, patches, known or [{}] * len(scores), strict=True
        )
    )
    second = [patch_scores(found, groups, own) for found, own in zip(placed, scores, strict=True)]
    return FindFeatures(np.stack([scores, np.stack(second)], axis=2), placed)


def photos_to_place(
    similarities: Floats, type_scores: Doubles, groups: PhotoGroups, types: int = TYPES_PLACED
) -> Positions:
    """Return the positions of the photos that a find should be laid over, nearest types first.

    ``similarities`` is (photos,), ``type_scores`` (types,); what is -inf is left out.
    """
    chosen: list[int] = []
    for type_position in np.argsort(-type_scores, kind="stable")[:types]:
        of_type = groups.type_of_specimen[groups.specimen_of_photo] == type_position
        own = np.flatnonzero(of_type & np.isfinite(similarities))
        nearest = own[np.argsort(-similarities[own], kind="stable")]
        _, first = np.unique(groups.specimen_of_photo[nearest], return_index=True)
        chosen.extend(int(p) for p in nearest[np.sort(first)[:PHOTOS_PLACED]])
    return np.array(chosen, dtype=np.intp)


def _placed(
    index: PhotoIndex,
    positions: Positions,
    grid: Floats,
    place: Place,
    known: dict[int, Placed],
) -> dict[int, Placed]:
    wanted = [int(position) for position in positions]
    new = [position for position in wanted if position not in known]
    found = dict(known)
    if new:
        references = index.patches_of(new)
        found |= dict(zip(new, place(grid, references), strict=True))
    return {position: found[position] for position in wanted}


def patch_scores(placed: dict[int, Placed], groups: PhotoGroups, type_scores: Doubles) -> Doubles:
    """Return the mean agreement of each type's placings: (types,).

    The mean, because one photo may fit by chance. Types that were not tried get the lowest.
    """
    found = np.full(len(groups.type_ids), np.nan)
    types = groups.type_of_specimen[groups.specimen_of_photo]
    for type_position in {int(types[position]) for position in placed}:
        own = [
            one.agreement for position, one in placed.items() if types[position] == type_position
        ]
        found[type_position] = float(np.mean(own))
    lowest = 0.0 if np.isnan(found).all() else float(np.nanmin(found))
    filled: Doubles = np.where(np.isnan(found), lowest, found)
    filled[np.isneginf(type_scores)] = -np.inf
    return filled


def fused(features: Doubles, weights: Sequence[float] = DEFAULT_WEIGHTS) -> Doubles:
    """Return the weighted sum by which types are ranked: (..., types) of (..., types, F)."""
    columns = features.shape[-1]
    if columns > len(weights):
        raise ValueError(f"{columns} columns of features, {len(weights)} weights")
    total: Doubles = features @ np.asarray(weights[:columns], np.float64)
    return total


def combine_features(features: Doubles, how: Combine = "near") -> Doubles:
    """Combine several photos of one find, (q, types, F), into one row per type, (types, F).

    "near", the default, is a mean in which a photo counts the more, the nearer its nearest type
    is: a side view that has nothing to be compared with is far from every type and spoils little
    of what the front shows. "max" takes each type's best photo, "mean" counts all photos alike: a
    weighted sum of means is the mean of the photos' log-odds. Of 240 rendered finds with front,
    back and side, the right type came first for 96.7 % by "near", 95.8 % by "mean", 94.6 % by
    "max" and 93.3 % by the front alone (scripts/evaluate_several.py).
    Raises ``ValueError`` for any other word.
    """
    if how not in COMBINATIONS:
        raise ValueError(f"photos are combined by one of {COMBINATIONS}, not '{how}'")
    if how == "max":
        best: Doubles = features.max(axis=0)
        return best
    weights = np.zeros(len(features))
    if how == "near":
        nearest = features[:, :, 0].max(axis=1)
        nearest = np.where(np.isfinite(nearest), nearest, 0.0)  # every type was left out
        weights = _NEARER * (nearest - nearest.max())
    share = np.exp(weights) / np.exp(weights).sum()
    mean: Doubles = np.tensordot(share, features, 1)
    return mean
