"""Looking a find up in a reference set: photos in, leads out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, TypeAlias, cast

import numpy as np
from PIL import Image

from simsearch.errors import EncoderError, ObservationError, PhotoError, SetError
from simsearch.index import PHOTO_SIDE
from simsearch.index.photo_index import Floats, PhotoIndex, checked_array
from simsearch.leads.calibration import Calibration, Judgement
from simsearch.leads.calibration_file import load_calibration
from simsearch.leads.features import Combine, Doubles, combine_features, features_of, fused
from simsearch.leads.grouping import BEST, PhotoGroups
from simsearch.leads.model import Evidence, Lead, Leads, Placing, band_of
from simsearch.leads.observed import Observed, Reason
from simsearch.leads.refine import LIST_NOTE, REFINED_NOTE, notes_on, refine
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
    observed: Observed | None = None,
    k: int = 10,
    encoder: Encoder | None = None,
    combine: Combine = "near",
) -> Leads:
    """Rank the types of a set for one find, from one photo or several photos of it.

    Every photo of the set is compared. ``k`` is how many leads to return at most. ``observed`` is
    what was observed on the object; it moves the odds as ``refine`` says.
    Raises ``PhotoError`` for no photo or one that cannot be read, ``ObservationError`` for an
    ``observed`` of another kind, ``MissingIndexError`` or ``StaleIndexError`` for an index to be
    built.
    """
    if observed is not None and not isinstance(observed, Observed):
        raise ObservationError(
            f"What was observed is given as {type(observed).__name__}.",
            hint="Give simsearch.leads.observed.Observed(length_mm=Measure(38), ...).",
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
    judged = _judged(reference, groups, features, calibration, len(vectors), observed)
    return _leads(reference, rows, groups, similarities, features, placings, judged, note, k)


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


@dataclass(frozen=True, eq=False)
class _Judged:
    """Types judged by photos and observations. ``order`` (types,) ranks them, higher first."""

    order: Doubles
    odds: Doubles | None
    before: Doubles | None
    by_photos: Judgement | None
    closeness: float | None
    promise: str
    observed: Observed | None
    reasons: tuple[tuple[Reason, ...], ...]

    @property
    def close(self) -> bool:
        return self.by_photos is None or self.by_photos.close

    def shortlist(self, type_ids: Sequence[str]) -> tuple[str, ...] | None:
        """The list by the photos, for which its promise was measured, likeliest first."""
        if self.by_photos is None or self.by_photos.listed is None:
            return None
        return tuple(type_ids[p] for p in sorted(self.by_photos.listed, key=self._place))

    def _place(self, position: int) -> float:
        return -float(self.order[position])


def _judged(
    reference: ReferenceSet,
    groups: PhotoGroups,
    features: Doubles,
    calibration: Calibration | None,
    photos: int,
    observed: Observed | None,
) -> _Judged:
    by_photos = None if calibration is None else calibration.judge(features, photos)
    sums = fused(features) if by_photos is None else by_photos.sums
    odds = None if by_photos is None else by_photos.odds
    closeness = None if by_photos is None else by_photos.closeness
    promise = "" if calibration is None or by_photos is None else calibration.promise
    if observed is None or not observed.given:
        none: tuple[tuple[Reason, ...], ...] = ((),) * len(sums)
        return _Judged(sums, odds, None, by_photos, closeness, promise, None, none)
    types = [reference.types[type_id] for type_id in groups.type_ids]
    refined = refine(types, observed, sums=sums, odds=odds, closeness=closeness)
    promise = f"{promise} {LIST_NOTE}" if promise else ""
    return _Judged(
        refined.order, refined.odds, odds, by_photos, refined.closeness, promise, observed,
        refined.weighed.reasons,
    )  # fmt: skip


def _leads(
    reference: ReferenceSet,
    rows: Sequence[PhotoRow],
    groups: PhotoGroups,
    similarities: Floats,
    features: Doubles,
    placings: dict[int, Placing],
    judged: _Judged,
    note: str,
    k: int,
) -> Leads:
    nearest = similarities.max(axis=0)
    leads = []
    for rank, position in enumerate(np.argsort(-judged.order, kind="stable")[:k], start=1):
        chance = None if judged.odds is None else float(judged.odds[position])
        leads.append(
            Lead(
                rank=rank,
                type=reference.types[groups.type_ids[position]],
                score=float(features[position, 0]),
                odds=chance,
                band=band_of(chance, judged.close),
                evidence=_evidence(reference, rows, groups, nearest, int(position)),
                placing=placings.get(int(position)),
                before=None if judged.before is None else float(judged.before[position]),
                reasons=judged.reasons[position],
            )
        )
    listed = judged.shortlist(groups.type_ids)
    refined = judged.observed is not None
    return Leads(
        leads=tuple(leads),
        anything_close=judged.close,
        closeness=judged.closeness,
        odds_note=f"{note} {REFINED_NOTE}" if judged.before is not None else note,
        set_name=reference.title,
        encoder_name=reference.index.encoder_name,
        photo_count=len(similarities),
        shortlist=listed,
        shortlist_note="" if listed is None else judged.promise,
        observed=judged.observed,
        closeness_before=judged.by_photos.closeness if refined and judged.by_photos else None,
        observed_notes=() if judged.observed is None else notes_on(judged.observed),
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
