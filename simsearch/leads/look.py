"""Looking a find up in a reference set: photos in, leads out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, TypeAlias, cast

import numpy as np
from PIL import Image

from simsearch.errors import EncoderError, ObservationError, PhotoError, SetError
from simsearch.index import PHOTO_SIDE
from simsearch.index.photo_index import Floats, PhotoIndex, checked_array
from simsearch.leads.calibration import Calibration
from simsearch.leads.calibration_file import load_calibration
from simsearch.leads.features import Combine, Doubles, combine_features, features_of, fused
from simsearch.leads.grouping import BEST, PhotoGroups
from simsearch.leads.model import Evidence, Lead, Leads, Placing, band_of
from simsearch.leads.showing import best_placings, find_photos
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
    combine: Combine = "near",
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
    opened = _opened(photos)
    vectors, patches = _encoded(opened, chosen, index)
    rows = _rows(reference, index)
    groups = PhotoGroups.of([(row.type, row.specimen) for row in rows])
    measured = features_of(index, groups, vectors, patches)
    features = combine_features(measured.values, combine)
    calibration, note = fitting_calibration(
        reference, index, photos=len(vectors), columns=features.shape[1]
    )
    similarities = index.similarities(vectors)
    placings: dict[int, Placing] = {}
    if patches is not None:
        shown = find_photos(chosen, opened, patches)
        placings = best_placings(reference, index, rows, groups, shown, measured.placed)
    return _leads(reference, rows, groups, similarities, features, placings, calibration, note, k)


def fitting_calibration(
    reference: ReferenceSet, index: PhotoIndex, *, photos: int = 1, columns: int | None = None
) -> tuple[Calibration | None, str]:
    """Return the set's calibration if it holds for this encoder and these photos.

    With it comes a sentence for people: what the odds rest on, or why there are none.
    ``photos`` is how many photos of the find there are, ``columns`` how many columns of features.
    """
    none = "No odds are given: "
    try:
        calibration = load_calibration(reference.index_folder)
    except SetError as error:
        return None, f"{none}{error.message}"
    if calibration is None:
        return None, f"{none}they have not been measured for this reference set."
    if calibration.encoder_fingerprint != index.encoder_fingerprint:
        return None, f"{none}they were measured with another encoder."
    if calibration.set_fingerprint != reference.fingerprint:
        return None, f"{none}the set's photos have changed since they were measured."
    if columns is not None and columns != len(calibration.columns):
        return None, f"{none}they were measured with patches in the index and now there are none."
    return calibration, odds_note(calibration, photos)


def odds_note(calibration: Calibration, photos: int = 1) -> str:
    """Say what the odds of a find shown in so many photos rest on."""
    measured = calibration.measured
    note = (
        f"Odds were measured on {measured.objects} objects of known type and hold if the find's "
        f"type is in this set (mean error {100 * measured.error:.0f} in 100, of which "
        f"{100 * min(measured.error, measured.error_by_chance):.0f} may be chance)."
    )
    if photos > measured.most_photos:
        once = "single photos" if measured.most_photos == 1 else f"{measured.most_photos} photos"
        note += f" They were measured on {once} of a find; for {photos} together they are a guess."
    if "type" in measured.false_accept:
        wrong = f"{100 * measured.false_accept['type']:.0f} in 100"
        note += f" Of finds whose type was taken out of the set, {wrong} were still called close."
    return f"{note} {calibration.note}".strip()


def _opened(photos: object) -> list[Image.Image]:
    from simsearch.photo import open_photo

    several = list(photos) if isinstance(photos, (list, tuple)) else [photos]
    if not several:
        raise PhotoError("No photo was given.", hint="Give at least one photo of the find.")
    return [open_photo(cast(PhotoSource, source), max_side=PHOTO_SIDE) for source in several]


def _encoded(
    opened: list[Image.Image], encoder: Encoder, index: PhotoIndex
) -> tuple[Floats, Floats | None]:
    """Encode the photos of a find: (photos, dim) and (photos, R, C, D), if there are patches."""
    vectors = checked_array(encoder.embed(opened), (len(opened), index.dim), encoder.name)
    if index.patches is None:
        return vectors, None
    try:
        grids = encoder.patches(opened)
    except EncoderError:  # how an encoder says that it has no patches
        return vectors, None
    depth = index.patches.shape[3]
    return vectors, checked_array(grids, (len(opened), None, None, depth), encoder.name)


def _rows(reference: ReferenceSet, index: PhotoIndex) -> list[PhotoRow]:
    """Return the photos in the order of the index, which may not be that of the table."""
    by_id = {row.id: row for row in reference.photos}
    return [by_id[photo_id] for photo_id in index.photo_ids]


def _leads(
    reference: ReferenceSet,
    rows: Sequence[PhotoRow],
    groups: PhotoGroups,
    similarities: Floats,
    features: Doubles,
    placings: dict[int, Placing],
    calibration: Calibration | None,
    note: str,
    k: int,
) -> Leads:
    judged = None if calibration is None else calibration.judge(features, len(similarities))
    sums = fused(features) if judged is None else judged.sums
    close = judged is None or judged.close
    listed = None if judged is None else judged.listed
    nearest = similarities.max(axis=0)
    leads = []
    for rank, position in enumerate(np.argsort(-sums, kind="stable")[:k], start=1):
        chance = None if judged is None else float(judged.odds[position])
        leads.append(
            Lead(
                rank=rank,
                type=reference.types[groups.type_ids[position]],
                score=float(features[position, 0]),
                odds=chance,
                band=band_of(chance, close),
                evidence=_evidence(reference, rows, groups, nearest, int(position)),
                placing=placings.get(int(position)),
            )
        )
    return Leads(
        leads=tuple(leads),
        anything_close=close,
        closeness=None if judged is None else judged.closeness,
        odds_note=note,
        set_name=reference.title,
        encoder_name=reference.index.encoder_name,
        photo_count=len(similarities),
        shortlist=None if listed is None else tuple(groups.type_ids[p] for p in listed),
        shortlist_note="" if calibration is None or listed is None else calibration.promise,
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
