"""The scale of a photo that shows the photo card, for a scale bar drawn on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simsearch.measure.find_card import find_card
from simsearch.measure.model import CardError

if TYPE_CHECKING:
    from PIL import Image

FROM_ABOVE = 8.0
"""Most degrees of tilt at which one scale serves the whole photo: at 8 a length that runs away
from the camera looks 1 in 100 too short, as the cosine says."""


def scale_of(photo: Image.Image) -> float | None:
    """Millimetres a pixel in the middle of the card's room, in an upright RGB photo.

    ``None`` without a card that can be measured by, or with the camera too far from straight
    above for one scale.
    """
    try:
        view = find_card(photo)
    except CardError:
        return None
    return 1 / view.px_per_mm if view.camera.tilt <= FROM_ABOVE else None
