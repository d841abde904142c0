"""The baselines do what their names say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from simsearch.encode import Encoder
from simsearch.errors import EncoderError, SetError
from simsearch.evaluation.baselines import ColourLbp, Hog, SiftSpatial, centre_square
from simsearch.evaluation.folders import load_labelled
from simsearch.evaluation.scoring import VectorScorer, turn

skimage_data = pytest.importorskip("skimage.data")


def picture(seed: int, size: tuple[int, int] = (96, 96)) -> Image.Image:
    small = np.random.default_rng(seed).integers(0, 256, (12, 12, 3), dtype=np.uint8)
    return Image.fromarray(small).resize(size, Image.Resampling.BICUBIC)


@pytest.mark.parametrize("encoder", [ColourLbp(), Hog(8), Hog(16)])
def test_vector_baselines_follow_the_protocol(encoder: Encoder) -> None:
    assert isinstance(encoder, Encoder)
    vectors = encoder.embed([picture(1), picture(2, (120, 60))])
    assert vectors.shape == (2, encoder.dim) and vectors.dtype == np.float32
    assert np.allclose(np.linalg.norm(vectors, axis=1), 1, atol=1e-5)
    assert encoder.embed([]).shape == (0, encoder.dim)
    with pytest.raises(EncoderError):
        encoder.patches([picture(1)])


def test_baselines_differ_in_fingerprint() -> None:
    assert len({ColourLbp().fingerprint, Hog(8).fingerprint, Hog(16).fingerprint}) == 3


def test_hog_is_the_librarys() -> None:
    from skimage.feature import hog

    photo = picture(3, (128, 128))
    expected = hog(np.asarray(photo.convert("L")), 9, (16, 16), (2, 2))
    assert np.allclose(Hog(16).embed([photo])[0], expected / np.linalg.norm(expected), atol=1e-5)


def test_colour_ignores_place_and_hog_ignores_colour() -> None:
    photo = picture(4)
    mirrored = photo.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
    grey = photo.convert("L").convert("RGB")
    colour = ColourLbp().embed([photo, mirrored, grey])
    assert colour[0] @ colour[1] > 0.99 > colour[0] @ colour[2]
    form = Hog(16).embed([photo, mirrored, grey])
    assert form[0] @ form[2] > 0.99 > form[0] @ form[1]


def test_the_square_comes_from_the_middle() -> None:
    photo = Image.new("RGB", (30, 10), "red")
    photo.paste((0, 0, 255), (10, 0, 20, 10))
    assert (np.asarray(centre_square(photo, 8)) == [0, 0, 255]).all()


def test_sift_finds_a_turned_and_scaled_copy() -> None:
    coins = Image.fromarray(skimage_data.coins()).convert("RGB")
    one, other = coins.crop((10, 20, 130, 140)), coins.crop((250, 150, 370, 270))
    changed = turn(one, 40).resize((150, 150))
    scores = SiftSpatial().scores([changed], [one, other])[0]
    assert scores[0] > 20 > 2 * scores[1]


def test_sift_on_photos_without_keypoints() -> None:
    blank = Image.new("RGB", (64, 64), "grey")
    photos = [blank, picture(1)]
    assert SiftSpatial().scores(photos, photos)[0, 1] == 0
    assert SiftSpatial().scores([], photos).shape == (0, 2)


def test_turns_find_a_turned_copy() -> None:
    gallery = [picture(seed) for seed in range(6)]
    queries = [turn(photo, 90) for photo in gallery]
    plain = VectorScorer(Hog(16)).scores(queries, gallery)
    turned = VectorScorer(Hog(16), turns=4).scores(queries, gallery)
    assert (turned.argmax(axis=1) == np.arange(6)).all()
    assert (turned >= plain).all() and (np.diagonal(turned) > np.diagonal(plain)).all()


def test_turns_that_an_encoder_averages_itself_are_not_looked_up() -> None:
    photos = [picture(seed) for seed in range(2)]
    assert len(VectorScorer(Hog(16), 8).look_up(photos)) == 8
    assert len(VectorScorer(Hog(16), 8, averaged=4).look_up(photos)) == 2
    assert len(VectorScorer(Hog(16), 1, averaged=4).look_up(photos)) == 1
    expected = Hog(16).embed([turn(photo, 45) for photo in photos])
    assert np.allclose(VectorScorer(Hog(16), 8, averaged=4).look_up(photos)[1], expected)


def labelled_folder(root: Path) -> Path:
    for label in ("disc", "bow"):
        (root / label).mkdir()
        for number in range(2):
            picture(number).save(root / label / f"{label}_scene_{number}.png")
    (root / "LICENSE").write_text("MIT License\n\nCopyright (c) 2020 A. N. Author\n\nwords")
    return root


def test_a_labelled_folder(tmp_path: Path) -> None:
    data = load_labelled(labelled_folder(tmp_path))
    assert data.labels == ["bow", "bow", "disc", "disc"]
    assert data.scenes == ["bow_scene"] * 2 + ["disc_scene"] * 2
    assert data.licence == "MIT License; Copyright (c) 2020 A. N. Author"


def test_a_folder_without_classes_is_refused(tmp_path: Path) -> None:
    picture(1).save(tmp_path / "a.png")
    with pytest.raises(SetError, match="two classes"):
        load_labelled(tmp_path)
