"""Odds of a set measured on its own objects. Everything in the sets is invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from simsearch.errors import SetError
from simsearch.index import PhotoIndex, save_index
from simsearch.leads import own_set
from simsearch.leads.calibration import MIN_FINDS
from simsearch.leads.calibration_file import CALIBRATION_FILE, load_calibration
from simsearch.leads.look import fitting_calibration
from simsearch.leads.own_set import measure_own_odds, own_odds
from simsearch.sets.reference_set import ReferenceSet, open_set
from tests.tiny_set import (
    photo_row,
    picture,
    source_row,
    type_row,
    write_photos,
    write_sources,
    write_types,
)

GROUP_OF = {"knee": "bow brooch", "dolphin": "bow brooch", "jetton": "household", "pin": "pin"}


def own(
    folder: Path, objects: int, photos: int = 1, noise: float = 0.6, with_patches: bool = False
) -> ReferenceSet:
    """A set of four types with so many objects of each; vectors are drawn, not encoded."""
    (folder / "photos").mkdir(parents=True)
    rng = np.random.default_rng(objects)
    rows, vectors = [], []
    for number, type_id in enumerate(GROUP_OF):
        centre = np.eye(8)[number] + (0.5 if number < 2 else 0.0)
        for one in range(objects):
            middle = centre + noise * rng.normal(size=8)
            for shot in range(photos):
                name = f"{type_id}-{one}-{shot}"
                # Files are not looked into here; they only have to be there.
                picture((90, 90, 90), len(rows), side=2).save(folder / f"photos/{name}.png")
                rows.append(photo_row(folder, name, type_id, specimen=f"{type_id}-{one}"))
                vector = middle + 0.1 * rng.normal(size=8)
                vectors.append(vector / np.linalg.norm(vector))
    write_sources(folder, [source_row()])
    write_types(folder, [type_row(name, group=group) for name, group in GROUP_OF.items()])
    write_photos(folder, rows)
    reference = open_set(folder)
    count = len(rows)
    patches = rng.integers(-90, 90, size=(count, 3, 3, 4)).astype(np.int8)
    index = PhotoIndex(
        vectors=np.array(vectors, np.float32),
        photo_ids=tuple(row.id for row in reference.photos),
        sha256=tuple(row.sha256 for row in reference.photos),
        encoder_name="drawn",
        encoder_fingerprint="f" * 64,
        patches=patches if with_patches else None,
        patch_scales=np.full(count, 0.01, np.float32) if with_patches else None,
    )
    save_index(index, reference.index_folder)
    return open_set(folder)


def test_a_set_that_is_large_enough_gets_odds(tmp_path: Path) -> None:
    reference = own(tmp_path / "set", 20)
    told: list[tuple[int, int]] = []
    fitted = measure_own_odds(reference, lambda done, total: told.append((done, total)))
    assert told[0] == (0, 80) and told[-1] == (80, 80)
    assert load_calibration(reference.index_folder) == fitted
    measured = fitted.measured
    assert (measured.photos, measured.objects, measured.most_photos) == (80, 80, 1)
    assert set(measured.false_accept) == {"type", "group"}
    # Knee and dolphin were drawn alike: without its whole group a find is easier to call far.
    assert measured.area["group"] > measured.area["type"]
    found, note = fitting_calibration(reference, reference.index)
    assert found == fitted and "80 objects" in note and "set's own objects" in note


def test_an_object_is_never_found_by_its_own_photos(tmp_path: Path) -> None:
    # With noise this large types cannot be told, only photos of one object. Odds that knew
    # the object's other photo would be high and right nearly always.
    fitted = own_odds(own(tmp_path / "set", 25, photos=2, noise=30.0))
    assert fitted.measured.length[0.8] > 2
    near = np.full((4, 1), 0.2)
    near[0] = 0.99
    assert fitted.odds.odds(near)[0] < 0.6


def test_several_photos_of_an_object_are_measured_together_too(tmp_path: Path) -> None:
    measured = own_odds(own(tmp_path / "set", 15, photos=2)).measured
    # Sixty objects: two photos each by themselves, and each pair together.
    assert (measured.photos, measured.objects, measured.most_photos) == (180, 60, 2)


def test_patches_of_the_index_are_used(tmp_path: Path) -> None:
    fitted = own_odds(own(tmp_path / "set", 13, with_patches=True))
    assert fitted.columns == ("vector", "patches")
    # They were drawn at random and say nothing.
    assert fitted.odds.weights[1] * 0.2 < fitted.odds.weights[0]


def test_too_few_objects_write_nothing(tmp_path: Path) -> None:
    reference = own(tmp_path / "set", 12)
    with pytest.raises(SetError, match="Not enough photos to give odds: 48 objects, 50 needed"):
        measure_own_odds(reference)
    assert MIN_FINDS == 50
    assert not (reference.index_folder / CALIBRATION_FILE).exists()


def test_objects_alone_of_their_type_do_not_count(tmp_path: Path) -> None:
    reference = own(tmp_path / "set", 1)
    with pytest.raises(SetError, match="0 objects, 50 needed"):
        own_odds(reference)


def test_a_large_set_is_sampled_evenly(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(own_set, "MOST_PHOTOS", 60)
    reference = own(tmp_path / "set", 30, photos=2)
    measured = own_odds(reference).measured
    assert (measured.photos, measured.objects) == (60, 60)
