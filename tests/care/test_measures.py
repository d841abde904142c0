"""Blur against scikit-image, and the rules of thumb on pictures made to break them."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from simsearch.care.actions import Actions
from simsearch.care.measures import blur_of, measures_of
from simsearch.care.pictures import Pictures, grey_square
from simsearch.care.quality import quality_findings
from tests.care.making_pictures import textured
from tests.care.small import row


@pytest.mark.parametrize("sigma", [0, 1, 3])
def test_blur_is_what_scikit_image_measures(sigma: float) -> None:
    metrics = pytest.importorskip("skimage.measure")
    grey = np.asarray(textured(1).convert("L").filter(ImageFilter.GaussianBlur(sigma)))
    assert blur_of(grey) == pytest.approx(metrics.blur_effect(grey / 255.0, h_size=11), abs=1e-4)


def kinds(photo: Image.Image) -> set[str]:
    pictures = Pictures((row("a", "knee"),), grey_square(photo)[None], (measures_of(photo),))
    return {one.kind for one in quality_findings(pictures, Actions("set"))}


def test_a_good_photo_is_not_mentioned() -> None:
    assert kinds(textured(1, 400)) == set()


def test_faults_are_told_apart() -> None:
    photo = textured(1, 400)
    burnt = np.asarray(photo).copy()
    burnt[170:240, 170:240] = 255
    assert kinds(photo.filter(ImageFilter.GaussianBlur(6))) == {"blur"}
    assert kinds(photo.point(lambda v: int(0.3 * v))) == {"dark"}
    assert kinds(Image.fromarray(burnt)) == {"light"}
    assert kinds(photo.resize((200, 200))) == {"small"}
    assert kinds(Image.new("RGB", (400, 400), (180, 180, 180))) == {"no object"}


def test_a_white_ground_is_not_burnt_out() -> None:
    photo = np.asarray(textured(1, 400)).copy()
    photo[:60] = 255
    photo[:, :60] = 255
    assert "light" not in kinds(Image.fromarray(photo))


def test_lettering_over_a_photo_is_noticed() -> None:
    photo = textured(1, 400)
    font = ImageFont.load_default(22)
    ImageDraw.Draw(photo).text((20, 340), "HARROW FEN CLUB", font=font, fill=(20, 20, 20))
    assert kinds(photo) == {"lettering"}
