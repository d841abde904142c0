"""Tables about fragments: how far off they are placed, and what placing does to the order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image

from simsearch.encode import Encoder
from simsearch.evaluation.metrics import class_mean
from simsearch.evaluation.placings import (
    SIDE,
    Part,
    cut_part,
    length_of,
    placing_error,
    true_places,
)
from simsearch.evaluation.renders import Find, finds, groups_of, ranks
from simsearch.index import PHOTO_SIDE
from simsearch.index.build import squares_of
from simsearch.leads.features import DEFAULT_WEIGHTS, features_of, fused
from simsearch.leads.look import fitting_calibration
from simsearch.leads.overlay import Box
from simsearch.leads.placing import Placed, place
from simsearch.photo import list_photos, open_photo
from simsearch.sets.reference_set import ReferenceSet

PARTS = {"half": (0.45, 0.55), "third": (0.28, 0.38)}
OFF = 0.1
"""An error above this share of the diameter or length is not the right place."""
_BATCH = 8

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class _Seen:
    """What the encoder makes of some photos: vectors, patches, and the squares of the patches."""

    vectors: Floats
    patches: Floats
    boxes: list[Box]


def _seen(photos: list[Image.Image], encoder: Encoder) -> _Seen:
    chunks = [photos[i : i + _BATCH] for i in range(0, len(photos), _BATCH)]
    rows = [(encoder.embed(c), encoder.patches(c), squares_of(c, encoder)) for c in chunks]
    vectors, patches, squares = (np.concatenate(column) for column in zip(*rows, strict=True))
    return _Seen(vectors, patches, [Box(*square) for square in squares.tolist()])


def coin_lines(folder: Path, encoder: Encoder, each: int, rng: np.random.Generator) -> list[str]:
    """Cut parts off coins and place them: a Markdown table, errors in coin diameters."""
    paths = [p for d in sorted(folder.iterdir()) if d.is_dir() for p in _even(list_photos(d), each)]
    photos = [open_photo(path, max_side=PHOTO_SIDE) for path in paths]
    whole = _seen(photos, encoder)
    lines = [
        f"Parts of {len(photos)} coins, each placed on the photo that it was cut from.",
        "",
        "| part | median error | 90th percentile | placed within a tenth | right coin first, by "
        "vector | by agreement | by both | agreement where right | where off |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name, kept in PARTS.items():
        parts = [cut_part(photo, kept, rng) for photo in photos]
        lines.append(_coin_line(name, parts, photos, whole, encoder))
    return lines


def _coin_line(
    name: str, parts: list[Part], photos: list[Image.Image], whole: _Seen, encoder: Encoder
) -> str:
    found = _seen([part.picture for part in parts], encoder)
    similar = (found.vectors @ whole.vectors.T).astype(np.float64)
    placed = [place(patches, whole.patches) for patches in found.patches]
    agreement = np.array([[one.agreement for one in row] for row in placed])
    own = np.arange(len(parts))
    error = np.array(
        [
            _coin_error(parts[i], placed[i][i], found.boxes[i], whole.boxes[i], photos[i].size)
            for i in own
        ]
    )
    right = error <= OFF
    both = DEFAULT_WEIGHTS[0] * similar + DEFAULT_WEIGHTS[1] * agreement
    firsts = [
        float((ranks(table.astype(np.float32), own) == 1).mean())
        for table in (similar, agreement, both)
    ]
    level = agreement[own, own]
    cells = [
        name, f"{np.median(error):.3f}", f"{np.quantile(error, 0.9):.3f}", _share(right.mean()),
        *map(_share, firsts), _quartiles(level[right]), _quartiles(level[~right]),
    ]  # fmt: skip
    return f"| {' | '.join(cells)} |"


def _coin_error(part: Part, placed: Placed, find: Box, whole: Box, size: tuple[int, int]) -> float:
    here = (np.argwhere(part.mask)[:, ::-1] + 0.5) / SIDE
    carried = whole.outward(placed.carry(find.inward(here))) * np.array(size)
    return float(np.linalg.norm(carried - part.true, axis=1).mean() / part.diameter)


def render_lines(
    folder: Path, reference: ReferenceSet, encoder: Encoder, points: Path | None, each: int
) -> list[str]:
    """Look held-out renders up with and without patches, and measure placings on their type."""
    groups = groups_of(reference)
    calibration, _ = fitting_calibration(reference, reference.index, columns=2)
    weights = DEFAULT_WEIGHTS if calibration is None else calibration.odds.weights
    lines = [
        f"Order by vector, and by vector and patches (weights {weights[0]:.1f}, {weights[1]:.1f}).",
        "",
        "| slice | n | R@1 by vector | with patches | R@5 by vector | with patches | placed on own "
        "type, n | median error | 90th percentile | within a tenth |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    some = [find for find in finds(folder) if find.number < each]
    for part in sorted({find.slice for find in some}):
        mine = [find for find in some if find.slice == part]
        seen = _seen([open_photo(f.path, max_side=PHOTO_SIDE) for f in mine], encoder)
        measured = features_of(reference.index, groups, seen.vectors, seen.patches)
        truth = np.array([groups.type_ids.index(find.type_id) for find in mine])
        labels = [find.type_id for find in mine]
        orders = [measured.values[..., 0], fused(measured.values, weights)]
        found = [ranks(table.astype(np.float32), truth) for table in orders]
        shares = [class_mean((r <= k).astype(np.float64), labels) for k in (1, 5) for r in found]
        errors = _render_errors(mine, seen, measured.placed, reference, points)
        lines.append(f"| {part} | {len(mine)} | {' | '.join(map(_share, shares))} | {errors} |")
    return lines


def _render_errors(
    some: list[Find],
    seen: _Seen,
    placed: Sequence[dict[int, Placed]],
    reference: ReferenceSet,
    points: Path | None,
) -> str:
    """Cells on the best placing of each find on a photo of a complete object of its own type (as
    the page draws it), where points are known."""
    index, rows = reference.index, {row.id: row for row in reference.photos}
    errors = []
    for find, box, ours in zip(some, seen.boxes, placed, strict=True):
        photos = {p: rows[index.photo_ids[p]] for p in ours}
        own = [
            p
            for p, row in photos.items()
            if row.type == find.type_id and row.completeness == "complete"
        ]
        if not own or points is None or index.squares is None:
            continue
        best = max(own, key=lambda position: ours[position].agreement)
        here = find.path.with_suffix(".npz")
        there = points / f"{index.photo_ids[best]}.npz"
        if here.is_file() and there.is_file():
            whole = Box(*index.squares[best].tolist())
            errors.append(_render_error(here, there, ours[best], box, whole))
    known = np.array([error for error in errors if error is not None])
    if not len(known):
        return "0 | - | - | -"
    within = _share((known <= OFF).mean())
    return f"{len(known)} | {np.median(known):.3f} | {np.quantile(known, 0.9):.3f} | {within}"


def _render_error(here: Path, there: Path, placed: Placed, find: Box, whole: Box) -> float | None:
    with np.load(here, allow_pickle=False) as one, np.load(there, allow_pickle=False) as other:
        places, true = true_places(
            one["point"].astype(np.float32), one["mask"].astype(bool),
            other["point"].astype(np.float32), other["mask"].astype(bool),
        )  # fmt: skip
        length = length_of(other["mask"].astype(bool))
    return placing_error(placed, find, whole, places, true, length) if len(places) else None


def _even(paths: Sequence[Path], most: int) -> list[Path]:
    if len(paths) <= most:
        return list(paths)
    return [paths[i] for i in np.linspace(0, len(paths) - 1, most).round().astype(int)]


def _share(value: float) -> str:
    return f"{100 * value:.1f}"


def _quartiles(values: npt.NDArray[np.float64]) -> str:
    if not len(values):
        return "-"
    low, middle, high = np.quantile(values, [0.25, 0.5, 0.75])
    return f"{middle:.2f} ({low:.2f}-{high:.2f})"
