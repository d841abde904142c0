"""Measuring the odds of a set that somebody built, from the set itself.

Each object is looked up among all *others*: every photo of it is left out, or the set would find
the very thing again and every odd would be too good. For closeness its type is left out as well,
and then its group. Nothing is encoded again; the vectors and patches of the index are enough.

What this measures are finds like those in the set: photographed by the same people, as complete
and as clean. A set of whole, clean objects says little about a corroded half.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from simsearch.errors import SetError
from simsearch.index import PhotoIndex
from simsearch.leads.calibration import MIN_FINDS, Calibration, fit_calibration
from simsearch.leads.calibration_file import save_calibration
from simsearch.leads.features import Doubles, combine_features
from simsearch.leads.grouping import PhotoGroups
from simsearch.leads.left_out import KINDS, features_with_and_without
from simsearch.sets.reference_set import ReferenceSet

MOST_PHOTOS = 400
"""How many photos are looked up. Laying one over others takes a tenth of a second, so that a set
of any size is measured in minutes; with 400 the promises hold within 3 in 100."""
_NOTE = "They were measured on the set's own objects, each looked up among the others."

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class _Lookup:
    """Photos to look up, by position in the index, and what each shows."""

    photos: tuple[int, ...]
    objects: tuple[int, ...]


def measure_own_odds(reference: ReferenceSet, progress: Progress | None = None) -> Calibration:
    """Measure the odds of a set on its own objects and write them into its index folder.

    ``progress`` is called with (photos done, photos in all).
    Raises ``SetError``, and writes nothing, when fewer than ``MIN_FINDS`` objects are of a type
    that has other objects too, and ``MissingIndexError`` or ``StaleIndexError``.
    """
    from simsearch.sets.write import locked

    calibration = own_odds(reference, progress)
    with locked(reference.folder):
        save_calibration(calibration, reference.index_folder)
    return calibration


def own_odds(reference: ReferenceSet, progress: Progress | None = None) -> Calibration:
    """Measure without writing; see ``measure_own_odds``."""
    index = reference.index
    by_id = {row.id: row for row in reference.photos}
    rows = [by_id[photo_id] for photo_id in index.photo_ids]
    groups = PhotoGroups.of([(row.type, row.specimen) for row in rows])
    families = [reference.types[name].group for name in groups.type_ids]
    chosen = _chosen(groups)
    measured = _looked_up(index, groups, families, chosen, progress)
    # Without a second group there is nothing left when one is taken out.
    kinds = [kind for kind in KINDS if kind == "type" or len(set(families)) > 1]
    truth = groups.type_of_specimen[np.array(chosen.objects)]
    tables = {kind: np.stack([row[kind] for row in measured]) for kind in ("whole", *kinds)}
    objects, photos, tables = _with_several(np.array(chosen.objects), tables)
    return fit_calibration(
        tables.pop("whole"),
        np.concatenate([truth, groups.type_of_specimen[objects[len(truth) :]]]),
        objects=objects,
        photos=photos,
        without=tables,
        encoder_fingerprint=index.encoder_fingerprint,
        set_fingerprint=reference.fingerprint,
        note=_NOTE,
    )


def _chosen(groups: PhotoGroups) -> _Lookup:
    """Choose a photo of every object that is not alone of its type, then second photos.

    Where there are too many, objects are taken evenly over the set, in the order of its table.
    """
    in_type = np.bincount(groups.type_of_specimen, minlength=len(groups.type_ids))
    usable = np.flatnonzero(in_type[groups.type_of_specimen] > 1)
    if len(usable) < MIN_FINDS or len(groups.type_ids) < 2:
        raise SetError(
            f"Not enough photos to give odds: {len(usable)} objects, {MIN_FINDS} needed.",
            hint="Only objects count whose type has another object, in a set of two or more "
            "types. Nothing has been changed.",
        )
    photos_of: dict[int, list[int]] = defaultdict(list)
    for photo, specimen in enumerate(groups.specimen_of_photo):
        photos_of[int(specimen)].append(photo)
    even = np.linspace(0, len(usable) - 1, min(MOST_PHOTOS, len(usable))).round().astype(int)
    objects = [int(usable[place]) for place in even]
    pairs: list[tuple[int, int]] = []
    for turn in range(max(len(photos_of[one]) for one in objects)):
        pairs += [(photos_of[one][turn], one) for one in objects if turn < len(photos_of[one])]
    pairs = pairs[:MOST_PHOTOS]
    return _Lookup(tuple(photo for photo, _ in pairs), tuple(one for _, one in pairs))


def _looked_up(
    index: PhotoIndex,
    groups: PhotoGroups,
    families: list[str],
    chosen: _Lookup,
    progress: Progress | None,
) -> list[dict[str, Doubles]]:
    measured: list[dict[str, Doubles]] = []
    for photo, specimen in zip(chosen.photos, chosen.objects, strict=True):
        if progress:
            progress(len(measured), len(chosen.photos))
        patches = None if index.patches is None else index.patches_at(photo)
        find = (np.ascontiguousarray(index.vectors[photo]), patches)
        own_type = int(groups.type_of_specimen[specimen])
        own = groups.specimen_of_photo == specimen
        measured.append(
            features_with_and_without(index, groups, families, find, own_type, always_out=own)
        )
    if progress:
        progress(len(measured), len(measured))
    return measured


def _with_several(
    objects: np.ndarray, tables: dict[str, Doubles]
) -> tuple[np.ndarray, np.ndarray, dict[str, Doubles]]:
    """Add, for objects looked up by several photos, a row in which these are combined.

    Only where enough objects have several: odds for several photos are measured or not given
    as such. Returns objects, number of photos, and tables with the rows added at the end.
    """
    names, counts = np.unique(objects, return_counts=True)
    several = names[counts > 1]
    photos = np.ones(len(objects), np.int64)
    if len(several) < MIN_FINDS:
        return objects, photos, tables
    added = {
        kind: np.stack([combine_features(table[objects == name]) for name in several])
        for kind, table in tables.items()
    }
    return (
        np.concatenate([objects, several]),
        np.concatenate([photos, counts[counts > 1]]),
        {kind: np.concatenate([table, added[kind]]) for kind, table in tables.items()},
    )
