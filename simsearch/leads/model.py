"""What a search gives back: leads, each with its evidence."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simsearch.leads.observed import Observed, Reason
from simsearch.sets.licences import LICENCES
from simsearch.sets.photos import PhotoRow
from simsearch.sets.types import Type

STRONG, FAIR, WEAK, UNMEASURED = "strong lead", "fair lead", "weak lead", "lead"
STRONG_FROM = 0.5
"""Odds from which a lead is strong: likelier than all other types of the set together."""
FAIR_FROM = 0.15
"""Odds from which a lead is fair: about one in seven, worth an evening with the books."""


def band_of(odds: float | None, anything_close: bool) -> str:
    """Put odds into plain words; without odds a lead is just a "lead".

    Where nothing is close the odds only say which type is the least far, so every lead is weak.
    """
    if odds is None:
        return UNMEASURED if anything_close else WEAK
    if not anything_close or odds < FAIR_FROM:
        return WEAK
    return STRONG if odds >= STRONG_FROM else FAIR


@dataclass(frozen=True)
class Evidence:
    """One reference photo that looks like the find; ``similarity`` is a cosine, -1..1."""

    photo: PhotoRow
    similarity: float
    path: Path

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; the file is named relative to the set's folder."""
        licence = LICENCES[self.photo.licence]
        return {
            "photo": self.photo.id,
            "file": self.photo.file,
            "similarity": self.similarity,
            "specimen": self.photo.specimen,
            "view": self.photo.view,
            "completeness": self.photo.completeness,
            "condition": self.photo.condition,
            "kind": self.photo.kind,
            "creator": self.photo.creator,
            "licence": licence.id,
            "licence_name": licence.name,
            "licence_url": licence.url,
            "source": self.photo.source,
        }


Line = tuple[tuple[float, float], ...]
"""A closed line: points as x, y."""


@dataclass(frozen=True)
class Placing:
    """Where the find seems to fit on one reference photo.

    ``find_photo`` says which photo of the find was laid over it, counted from 0. ``agreement``,
    0..1, is the mean likeness over the find; ``seen``, 0..1, the share of the reference's
    object that the find covers; ``turn`` is in degrees, counter-clockwise as seen. ``clear``
    says whether it agrees well enough to be shown. ``outline`` holds the find's outline on the
    reference photo, ``pairs`` places that look alike as (x, y on the find's photo, x, y on the
    reference photo); all as fractions of the width and height of the photo they lie on.
    """

    photo: PhotoRow
    path: Path
    find_photo: int
    agreement: float
    seen: float
    turn: float
    clear: bool
    outline: tuple[Line, ...]
    pairs: tuple[tuple[float, float, float, float], ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "photo": self.photo.id,
            "file": self.photo.file,
            "kind": self.photo.kind,
            "completeness": self.photo.completeness,
            "find_photo": self.find_photo,
            "agreement": self.agreement,
            "seen": self.seen,
            "turn": self.turn,
            "clear": self.clear,
            "outline": [[list(point) for point in line] for line in self.outline],
            "pairs": [list(pair) for pair in self.pairs],
        }


@dataclass(frozen=True)
class Lead:
    """One type proposed for a find.

    ``rank`` counts from 1; ``score`` is the mean similarity of the type's nearest specimens, by
    which alone leads are not ranked: how well the find can be laid over their photos counts too.
    ``odds`` are 0..1 given that the type is in the set, ``None`` when they were not measured;
    ``evidence`` holds the nearest photo of each of the nearest specimens, nearest first;
    ``placing`` where the find fits best on a photo of the type, ``None`` without patches or
    where the type was too far down to be tried. ``before`` are the odds from the photos alone
    and ``reasons`` what each observation says of this type, where something was observed.
    """

    rank: int
    type: Type
    score: float
    odds: float | None
    band: str
    evidence: tuple[Evidence, ...]
    placing: Placing | None = None
    before: float | None = None
    reasons: tuple[Reason, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        dates = self.type.dates
        return {
            "rank": self.rank,
            "type": self.type.id,
            "name": self.type.name,
            "other_names": list(self.type.other_names),
            "dates": {
                "edtf": dates.edtf,
                "words": dates.words(),
                "earliest": dates.earliest,
                "latest": dates.latest,
                "note": self.type.date_note,
                "basis": self.type.basis,
            },
            "score": self.score,
            "odds": self.odds,
            "before": self.before,
            "band": self.band,
            "reasons": [reason.to_dict() for reason in self.reasons],
            "checks": list(self.type.checks),
            "look_alikes": [
                {"type": other.type_id, "separates": other.separates}
                for other in self.type.look_alikes
            ],
            "cautions": list(self.type.cautions),
            "sources": list(self.type.sources),
            "evidence": [evidence.to_dict() for evidence in self.evidence],
            "placing": None if self.placing is None else self.placing.to_dict(),
        }


@dataclass(frozen=True)
class Leads:
    """The leads for one find, best first.

    ``anything_close`` is false where the find looks like nothing in the set; ``closeness`` is
    how likely (0..1) its type is in the set at all, ``None`` when that was not measured.
    ``odds_note`` says in plain words what the odds rest on, or why there are none.
    ``photo_count`` is how many photos of the find were looked at. ``shortlist`` holds the ids of
    the types among which the find's is in a promised share of cases, likeliest first, and
    ``shortlist_note`` that promise in words; ``None`` and empty where none was measured.

    ``observed`` is what was observed on the object. ``closeness`` then takes it into account and
    ``closeness_before`` does not; ``anything_close`` is about the photos alone, for which it was
    measured. ``observed_notes`` say what moved nothing, and why.
    """

    leads: tuple[Lead, ...]
    anything_close: bool
    closeness: float | None
    odds_note: str
    set_name: str
    encoder_name: str
    photo_count: int
    shortlist: tuple[str, ...] | None = None
    shortlist_note: str = ""
    observed: Observed | None = None
    closeness_before: float | None = None
    observed_notes: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "leads": [lead.to_dict() for lead in self.leads],
            "anything_close": self.anything_close,
            "closeness": self.closeness,
            "odds_note": self.odds_note,
            "set_name": self.set_name,
            "encoder_name": self.encoder_name,
            "photo_count": self.photo_count,
            "shortlist": None if self.shortlist is None else list(self.shortlist),
            "shortlist_note": self.shortlist_note,
            "observed": None if self.observed is None else self.observed.to_dict(),
            "closeness_before": self.closeness_before,
            "observed_notes": list(self.observed_notes),
            "caution": "Leads to verify, not an identification.",
        }
