"""Photos that look alike: by the index, by type, each object once, its own object apart."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from simsearch import open_set
from simsearch.browse.similar import PHOTOS_IN_GROUP, similar_to_image, similar_to_photo
from simsearch.errors import MissingIndexError, SetError
from simsearch.sets.reference_set import ReferenceSet
from tests.tiny_set import (
    COLOURS,
    GridEncoder,
    make_set,
    photo_row,
    picture,
    source_row,
    type_row,
    write_photos,
    write_sources,
    write_types,
)


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> ReferenceSet:
    """Two photos of each object; six objects of each of three colours."""
    folder = tmp_path_factory.mktemp("similar") / "set"
    (folder / "photos").mkdir(parents=True)
    rows = []
    for number, (type_id, colour) in enumerate(COLOURS.items()):
        for copy in range(12):
            photo_id = f"{type_id}-{copy + 1}"
            picture(colour, 100 * number + copy).save(folder / f"photos/{photo_id}.png")
            specimen = f"{type_id}-object-{copy // 2}"
            rows.append(photo_row(folder, photo_id, type_id, specimen=specimen))
    write_sources(folder, [source_row()])
    write_types(folder, [type_row(type_id) for type_id in COLOURS])
    write_photos(folder, rows)
    opened = open_set(folder)
    opened.rebuild_index(GridEncoder())
    return opened


def test_its_own_object_is_kept_apart(reference: ReferenceSet) -> None:
    alike = similar_to_photo(reference, "knee-1")
    assert [item.photo.id for item in alike.own] == ["knee-2"]
    listed = [item.photo.id for group in alike.groups for item in group.photos]
    assert "knee-1" not in listed and "knee-2" not in listed
    assert alike.groups[0].type.id == "knee"


def test_each_object_is_there_once_by_its_nearest_photo(reference: ReferenceSet) -> None:
    alike = similar_to_photo(reference, "dolphin-5")
    for group in alike.groups:
        specimens = [item.photo.specimen for item in group.photos]
        assert len(set(specimens)) == len(specimens) <= PHOTOS_IN_GROUP
        nearness = [item.similarity for item in group.photos]
        assert nearness == sorted(nearness, reverse=True)
    own_type = alike.groups[0]
    assert (len(own_type.photos), own_type.more) == (4, 1)  # of six objects, one is its own
    vectors, names = reference.index.vectors, list(reference.index.photo_ids)
    cosine = vectors @ vectors[names.index("dolphin-5")]
    by_object: dict[str, float] = {}
    for row in reference.photos_of("dolphin"):
        if row.specimen != "dolphin-object-2":
            near = float(cosine[names.index(row.id)])
            by_object[row.specimen] = max(by_object.get(row.specimen, -1.0), near)
    expected = sorted(by_object, key=lambda name: -by_object[name])[:4]
    assert [item.photo.specimen for item in own_type.photos] == expected


def test_types_stand_in_the_order_of_their_nearest_photo(reference: ReferenceSet) -> None:
    alike = similar_to_photo(reference, "jetton-1")
    first = [group.photos[0].similarity for group in alike.groups]
    assert first == sorted(first, reverse=True)
    assert len(similar_to_photo(reference, "jetton-1", groups=2).groups) == 2


def test_a_photo_from_outside_finds_its_colour(reference: ReferenceSet) -> None:
    image = picture(COLOURS["jetton"], seed=999)
    alike = similar_to_image(reference, image, encoder=GridEncoder())
    assert alike.groups[0].type.id == "jetton"
    assert alike.own == ()
    assert np.isclose(
        alike.groups[0].photos[0].similarity,
        (reference.index.vectors @ GridEncoder().embed([image])[0]).max(),
    )


def test_an_unknown_photo_is_told(reference: ReferenceSet) -> None:
    with pytest.raises(SetError, match="no photo 'nothing'"):
        similar_to_photo(reference, "nothing")


def test_without_an_index_the_command_is_named(tmp_path: Path) -> None:
    with pytest.raises(MissingIndexError) as caught:
        similar_to_photo(open_set(make_set(tmp_path / "set")), "knee-1")
    assert "simsearch index" in caught.value.hint
