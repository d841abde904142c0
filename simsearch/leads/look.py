"""Looking a find up in a reference set: photos in, leads out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, TypeAlias, cast

import numpy as np
from PIL import Image

from simsearch.errors import ObservationError, PhotoError, SetError
from simsearch.index import PHOTO_SIDE
from simsearch.index.photo_index import Floats, PhotoIndex, checked_array
from simsearch.leads.calibration import Calibration, load_calibration
from simsearch.leads.grouping import BEST, Combine, PhotoGroups, combine_photos
from simsearch.leads.model import Evidence, Lead, Leads, band_of
from simsearch.sets.photos import PhotoRow
from simsearch.sets.reference_set import ReferenceSet

if TYPE_CHECKING:
    from simsearch.encode import Encoder

PhotoSource: TypeAlias = str | Path | bytes | BinaryIO | Image.Image


def look(
    reference: ReferenceSet,
    photos: PhotoSource | Sequence[PhotoSource],
    *,
    observed: None = None,
    k: int = 10,
    encoder: Encoder | None = None,
    combine: Combine = "mean",
) -> Leads:
    """Rank the types of a set for one find, from one photo or several photos of it.

    Every photo of the set is compared. ``k`` is how many leads to return at most.
    Raises ``PhotoError`` for no photo or one that cannot be read, ``ObservationError`` for any
    ``observed``, ``MissingIndexError`` or ``StaleIndexError`` for an index to be built.
    """
    if observed is not None:
        raise ObservationError(
            "Observations about the find are not used yet.",
            hint="Leave them out: the leads come from the photos alone.",
        )
    if k < 1:
        raise ValueError(f"k is {k}; at least one lead must be asked for")
    index = reference.index
    chosen = encoder if encoder is not None else reference.encoder()
    index.require_encoder(chosen, reference.folder)
    similarities = index.similarities(_vectors(photos, chosen, index.dim))
    rows = _rows(reference, index)
    groups = PhotoGroups.of([(row.type, row.specimen) for row in rows])
    scores = combine_photos(groups.type_scores(similarities), combine)
    calibration, note = fitting_calibration(reference, index)
    return _leads(reference, rows, groups, similarities, scores, calibration, note, k)


def fitting_calibration(
    reference: ReferenceSet, index: PhotoIndex
) -> tuple[Calibration | None, str]:
    """Return the set's calibration if it holds for this encoder and these photos.

    With it comes a sentence for people: what the odds rest on, or why there are none.
    """
    try:
        calibration = load_calibration(reference.index_folder)
    except SetError as error:
        return None, f"No odds are given: {error.message}"
    if calibration is None:
        return None, "No odds are given: they have not been measured for this reference set."
    if calibration.encoder_fingerprint != index.encoder_fingerprint:
        return None, "No odds are given: they were measured with another encoder."
    if calibration.set_fingerprint != reference.fingerprint:
        return None, "No odds are given: the set's photos have changed since they were measured."
    note = (
        f"Odds were measured on {calibration.n_fitted} photos of known type and hold if the "
        f"find's type is in this set (mean error {100 * calibration.ece:.0f} in 100). "
        f"{calibration.note}"
    )
    return calibration, note.strip()


def _vectors(photos: object, encoder: Encoder, dim: int) -> Floats:
    """Open the photos of a find and encode them: float32 (photos, dim)."""
    from simsearch.photo import open_photo

    several = list(photos) if isinstance(photos, (list, tuple)) else [photos]
    if not several:
        raise PhotoError("No photo was given.", hint="Give at least one photo of the find.")
    opened = [open_photo(cast(PhotoSource, source), max_side=PHOTO_SIDE) for source in several]
    return checked_array(encoder.embed(opened), (len(opened), dim), encoder.name)


def _rows(reference: ReferenceSet, index: PhotoIndex) -> list[PhotoRow]:
    """Return the photos in the order of the index, which may not be that of the table."""
    by_id = {row.id: row for row in reference.photos}
    return [by_id[photo_id] for photo_id in index.photo_ids]


def _leads(
    reference: ReferenceSet,
    rows: Sequence[PhotoRow],
    groups: PhotoGroups,
    similarities: Floats,
    scores: Floats,
    calibration: Calibration | None,
    note: str,
    k: int,
) -> Leads:
    odds = None if calibration is None else calibration.odds(scores)
    closeness = None if calibration is None else calibration.closeness_of(scores)
    threshold = None if calibration is None else calibration.threshold
    close = closeness is None or threshold is None or closeness >= threshold
    nearest = similarities.max(axis=0)
    leads = []
    for rank, position in enumerate(np.argsort(-scores, kind="stable")[:k], start=1):
        chance = None if odds is None else float(odds[position])
        leads.append(
            Lead(
                rank=rank,
                type=reference.types[groups.type_ids[position]],
                score=float(scores[position]),
                odds=chance,
                band=band_of(chance, close),
                evidence=_evidence(reference, rows, groups, nearest, int(position)),
            )
        )
    return Leads(
        leads=tuple(leads),
        anything_close=close,
        closeness=closeness,
        odds_note=note,
        set_name=reference.title,
        encoder_name=reference.index.encoder_name,
        photo_count=len(similarities),
    )


def _evidence(
    reference: ReferenceSet,
    rows: Sequence[PhotoRow],
    groups: PhotoGroups,
    nearest: Floats,
    type_position: int,
) -> tuple[Evidence, ...]:
    """Return the nearest photo of each of the type's nearest specimens, nearest first.

    ``nearest`` is (photos,): the similarity to whichever photo of the find is closest.
    """
    of_type = groups.type_of_specimen[groups.specimen_of_photo] == type_position
    own = np.flatnonzero(of_type)
    ordered = own[np.argsort(-nearest[own], kind="stable")]
    found: dict[int, Evidence] = {}
    for position in ordered:
        specimen = int(groups.specimen_of_photo[position])
        if specimen not in found:
            row = rows[position]
            similarity = float(nearest[position])
            found[specimen] = Evidence(row, similarity, reference.path_of(row))
        if len(found) == BEST:
            break
    return tuple(found.values())
