"""One scale for a photo: only where the card is seen from above."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from simsearch.measure.find_card import find_card
from simsearch.measure.scale import scale_of
from tests.measure.rendering import photo_of, scene


def test_a_photo_from_above_has_the_scale_that_its_card_has() -> None:
    photo, _ = photo_of(scene(tilt=1.0))
    found = scale_of(photo)
    assert found is not None
    view = find_card(photo)
    layout = view.layout
    # Two points 20 mm apart in the middle of the card, carried to the photo.
    middle = np.array([layout.width, layout.height]) / 2
    ends = view.plane.to_photo(middle + np.array([[-10.0, 0.0], [10.0, 0.0]]))
    apart = float(np.hypot(*(ends[1] - ends[0])))
    assert found * apart == pytest.approx(20.0, rel=0.03)


def test_without_a_card_or_from_aside_there_is_no_one_scale() -> None:
    assert scale_of(Image.new("RGB", (640, 480), (200, 200, 200))) is None
    photo, _ = photo_of(scene(tilt=30.0))
    assert scale_of(photo) is None
