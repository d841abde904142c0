"""Measuring a find on the photo card: from the photo to length, width and area with errors."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from PIL import Image

from simsearch.measure.find_card import CardView, find_card
from simsearch.measure.model import MeasureError, Measurement, Term, together
from simsearch.measure.outline import FindsObjects, Outlined, outline_on_paper
from simsearch.measure.sizes import Sizes, sizes_of, standing
from simsearch.measure.squared import square_up

MOST_THICKNESS = 6.0
"""Without a thickness, one between nothing and so many mm is assumed: most small finds."""
RULE_READING_MM = 0.5
"""How exactly the card's rule of 100 mm can be checked with a ruler."""
_RULE_RANGE = (80.0, 125.0)
_MARGIN_MM = 0.6  # the angles printed round the room
_DOUBTFUL = 0.5


def measure_on_card(
    photo: Image.Image,
    *,
    view: CardView | None = None,
    thickness_mm: float | None = None,
    rule_mm: float | None = None,
    encoder: FindsObjects | None = None,
) -> Measurement:
    """Measure the find on the photo card in an upright RGB photo.

    ``view`` is what ``find_card`` returned, if it was called before; ``thickness_mm`` the find's
    thickness; ``rule_mm`` what the printed card's 100 mm rule measures, where the printer changed
    the size. Raises CardError when the card cannot be used, MeasureError when the find cannot.
    """
    _check_given(thickness_mm, rule_mm)
    view = view or find_card(photo)
    room = view.layout.room.inside(_MARGIN_MM)
    squared = square_up(photo, view, room)
    found = outline_on_paper(squared.picture, squared.px_per_mm, encoder)
    sizes = sizes_of(found.mask, squared.px_per_mm)
    print_scale = 1.0 if rule_mm is None else rule_mm / view.layout.rule.width
    at = sizes.centre + np.array([room.x, room.y])
    thick = MOST_THICKNESS if thickness_mm is None else thickness_mm
    effect = standing(view.camera, at, thick / print_scale)
    terms = _terms(view, found, sizes, squared.px_per_mm)
    low, high = effect.range_of(sizes.length, sizes.along)
    height = Term("height", (high - low) / 2, _height_words(thickness_mm, view))
    terms = (*terms, height)
    narrow, wide = effect.range_of(sizes.box[1], sizes.across)
    small, large = effect.area_range(sizes)
    edge = next(term.mm for term in terms if term.name == "edge")
    shared = together(t.mm for t in terms if t.name in ("scale", "print")) / sizes.length
    width, area = (narrow + wide) / 2, (small + large) / 2
    area_error = together([(large - small) / 2, 2 * shared * area, _band(found, squared.px_per_mm)])
    measured = Measurement(
        (low + high) / 2, together(term.mm for term in terms),
        width, together([(wide - narrow) / 2, shared * width, edge]),
        area, area_error, 1 / view.px_per_mm,
        _how(view, rule_mm, found), terms,
    )  # fmt: skip
    return _printed_at(measured, print_scale)


def _check_given(thickness_mm: float | None, rule_mm: float | None) -> None:
    if thickness_mm is not None and not (math.isfinite(thickness_mm) and 0 <= thickness_mm <= 60):
        raise MeasureError(
            f"A thickness of {thickness_mm!r} mm cannot be used.", hint="Give 0 to 60 mm."
        )
    if rule_mm is not None and not _RULE_RANGE[0] <= rule_mm <= _RULE_RANGE[1]:
        raise MeasureError(
            f"The card's rule cannot be {rule_mm!r} mm long.",
            hint="Give the length in mm that a ruler shows for the rule marked 0 to 100, or print "
            "the card again at 100 %.",
        )


def _terms(view: CardView, found: Outlined, sizes: Sizes, px_per_mm: float) -> tuple[Term, ...]:
    apart = sizes_of(found.loose, px_per_mm).length - sizes_of(found.tight, px_per_mm).length
    edge = together([math.sqrt(2) * max(0.5 / px_per_mm, view.rise_mm / 4), apart / 2])
    scale = together([view.scale_error * sizes.length, view.off_mm])
    return (
        Term("scale", scale, f"how well the {len(view.markers)} markers agree"),
        Term(
            "print", RULE_READING_MM / view.layout.rule.width * sizes.length,
            "how well the printed rule can be checked",
        ),
        Term("edge", edge, "where the find ends and the paper begins"),
    )  # fmt: skip


def _band(found: Outlined, px_per_mm: float) -> float:
    """Half the area between the loose and the tight outline, in mm²."""
    return float(found.loose.sum() - found.tight.sum()) / 2 / px_per_mm**2


def _height_words(thickness_mm: float | None, view: CardView) -> str:
    thick = (
        f"a thickness between 0 and {MOST_THICKNESS:g} mm, assumed"
        if thickness_mm is None
        else f"the thickness of {thickness_mm:g} mm"
    )
    return (
        f"{thick}: what stands up looks larger and, seen {view.camera.tilt:.0f} degrees from "
        "straight above, leans outwards"
    )


def _how(view: CardView, rule_mm: float | None, found: Outlined) -> str:
    rule = (
        "the printed rule is taken to be 100 mm: check it"
        if rule_mm is None
        else f"the printed rule measures {rule_mm:g} mm"
    )
    words = (
        f"photo card {view.layout.name}, {len(view.markers)} of {len(view.layout.markers)} "
        f"markers, {view.camera.tilt:.0f} degrees from straight above; {rule}"
    )
    if found.agreement is not None and found.agreement < _DOUBTFUL:
        words += "; the encoder sees another outline: look at the squared-up picture"
    return words


def _printed_at(one: Measurement, scale: float) -> Measurement:
    """The same, where the card was printed ``scale`` times its size."""
    if scale == 1 or one.width_mm is None or one.width_error_mm is None:
        return one
    return replace(
        one,
        length_mm=one.length_mm * scale, error_mm=one.error_mm * scale,
        width_mm=one.width_mm * scale, width_error_mm=one.width_error_mm * scale,
        area_mm2=(one.area_mm2 or 0) * scale**2,
        area_error_mm2=(one.area_error_mm2 or 0) * scale**2,
        mm_per_px=one.mm_per_px * scale,
        terms=tuple(replace(term, mm=term.mm * scale) for term in one.terms),
    )  # fmt: skip
