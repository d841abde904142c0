"""The placing of a find, drawn on the reference photo: its outline, and places that look alike.

Lines are dark with light dashes on top and marks are white with a dark rim and a number, so that
both can be told from any photo and from each other without colour.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from simsearch.page import words
from simsearch.page.thumbs import Picture, encode_picture, thumbnail
from simsearch.sets.licences import LICENCES

if TYPE_CHECKING:
    from simsearch.leads.model import Lead
    from simsearch.page.intake import Tray

_SIDE = 320
_MARKS = 6  # more numbers cannot be told apart on a phone


def placing_of(lead: Lead, tray: Tray) -> dict[str, Any] | None:
    """What the template needs to draw a lead's placing.

    ``None`` where the placing is not clear enough or one of the two pictures cannot be read.
    """
    placing = lead.placing
    if placing is None or not placing.clear or placing.find_photo >= len(tray.photos):
        return None
    whole = thumbnail(placing.path, _SIDE)
    if whole is None:
        return None
    drawn_on = "with the outline of your find drawn where it may fit"
    find = encode_picture(tray.photos[placing.find_photo].image, _SIDE)
    photo, pairs = placing.photo, placing.pairs[:_MARKS]
    kind = "rendered picture" if photo.is_rendered else "photo"
    alike = f", {len(pairs)} places that look alike numbered in both" if pairs else ""
    return {
        "find": _drawn(find, f"Your find{alike}", [(x, y) for x, y, _, _ in pairs]),
        "whole": _drawn(
            whole,
            f"{lead.type.name}, {kind}, {drawn_on}{alike}",
            [(x, y) for _, _, x, y in pairs],
        ),
        "lines": [_points(line, whole) for line in placing.outline],
        "words": words.placing_sentence(placing),
        "what": f"{photo.view}, {photo.completeness}, {photo.condition}",
        "rendered": photo.is_rendered,
        "creator": photo.creator,
        "licence": photo.licence,
        "licence_url": LICENCES[photo.licence].url if photo.licence in LICENCES else "",
    }


def _drawn(picture: Picture, alt: str, points: list[tuple[float, float]]) -> dict[str, Any]:
    """One picture and its marks; ``unit`` is the size by which lines and marks are drawn."""
    return {
        "data_uri": picture.data_uri,
        "width": picture.width,
        "height": picture.height,
        "unit": round(max(picture.width, picture.height) / 70, 2),
        "alt": alt,
        "points": [(round(x * picture.width, 1), round(y * picture.height, 1)) for x, y in points],
    }


def _points(line: tuple[tuple[float, float], ...], picture: Picture) -> str:
    return " ".join(f"{x * picture.width:.1f},{y * picture.height:.1f}" for x, y in line)
