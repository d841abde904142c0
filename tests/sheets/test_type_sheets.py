"""Type sheets and look-alike sheets."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from simsearch.sets.reference_set import ReferenceSet, open_set
from simsearch.sheets.errors import SheetError
from simsearch.sheets.fragments import cut_parts, object_box
from simsearch.sheets.look_alikes import look_alike_sheet
from simsearch.sheets.type_sheet import type_sheet
from tests.sheets.made import DAY, IMAGE, bounds, reference_in, words_of


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> ReferenceSet:
    return reference_in(tmp_path_factory.mktemp("types"))


def test_a_type_sheet_says_what_the_set_says(reference: ReferenceSet) -> None:
    kind = replace(
        reference.types["knee"], survives="The leg (invented).", breaks="The head (invented).",
        checks=("Look for coils",), date_note="Sources differ (invented).",
    )  # fmt: skip
    held = replace(reference, types={**reference.types, "knee": kind})
    pdf = type_sheet(held, "knee", made_on=DAY)
    words = words_of(pdf)
    for said in (
        "Knee (invented)", "c. AD 100 - AD 200", "A red square.", "25 to 60 mm", "sprung",
        "Usually survives: The leg (invented).", "Breaks off: The head (invented).",
        "Look for coils", "Dolphin (invented): another colour", "Sources differ (invented).",
        "Harrow Fen Finds Club, notes (invented) (from memory)", "(rendered, clean)",
        "Rendered picture: Harrow Fen Finds Club (invented), CC0-1.0 (Creative Commons Zero 1.0",
    ):  # fmt: skip
        assert said in words, said
    metadata = PdfReader(io.BytesIO(pdf)).metadata
    assert metadata is not None and metadata.title == "Type sheet: Knee (invented)"
    assert metadata.author == reference.title


def test_fragments_are_photos_marked_so_or_else_parts_that_are_called_cut(
    reference: ReferenceSet, tmp_path: Path
) -> None:
    whole = Image.new("RGB", (80, 200), "white")
    whole.paste((60, 40, 20), (30, 20, 50, 180))
    path = tmp_path / "whole.png"
    whole.save(path)
    first, *others = reference.photos_of("knee")
    drawn = replace(reference, photos=(replace(first, file=str(path)),))
    words = words_of(type_sheet(drawn, "knee", made_on=DAY))
    assert words.count("Part cut from the rendered picture above (front)") == 2
    broken = replace(reference, photos=(first, replace(others[0], completeness="fragment")))
    words = words_of(type_sheet(broken, "knee", made_on=DAY))
    assert "Part cut" not in words and "knee-1, knee-2" in words


def test_parts_are_cut_across_the_longer_side() -> None:
    photo = Image.new("RGB", (100, 60), (200, 200, 200))
    photo.paste((40, 60, 30), (10, 20, 90, 40))
    assert object_box(photo) == (10, 20, 90, 40)
    left, right = cut_parts(photo)
    assert left.height == right.height < 60 and left.width + right.width == 86
    dark = [int((np.asarray(part)[..., 0] < 100).sum()) for part in (left, right)]
    assert dark == [800, 800]
    assert cut_parts(Image.new("RGB", (10, 10))) == ()


def test_a_type_without_pictures_still_has_a_sheet(reference: ReferenceSet) -> None:
    words = words_of(type_sheet(replace(reference, photos=()), "jetton", made_on=DAY))
    assert "no picture of a complete one" in words and "The set names none." in words


def test_look_alikes_stand_side_by_side(reference: ReferenceSet) -> None:
    pdf = look_alike_sheet(reference, ["knee", "dolphin", "jetton"], made_on=DAY)
    words = words_of(pdf)
    assert "Knee (invented), not Dolphin (invented): another colour" in words
    assert "Knee (invented), not Jetton (invented): the set says nothing of this pair." in words
    images = [box for page, kind, box in bounds(pdf) if page == 0 and kind == IMAGE]
    assert len(images) == 3
    assert len({round(box[3]) for box in images}) == 1, "one row"
    assert images[0][2] < images[1][0] and images[1][2] < images[2][0]


@pytest.mark.parametrize(
    "ids", [[], ["knee"], ["knee", "knee"], ["knee", "dolphin", "jetton", "x"]]
)
def test_two_or_three_different_types_are_needed(reference: ReferenceSet, ids: list[str]) -> None:
    with pytest.raises(SheetError, match="was asked for of"):
        look_alike_sheet(reference, ids)


def test_an_unknown_type_names_those_spelt_alike(reference: ReferenceSet) -> None:
    with pytest.raises(SheetError, match=r"no type 'kneee'.*Did you mean knee"):
        type_sheet(reference, "kneee")


def test_the_same_input_gives_the_same_bytes(reference: ReferenceSet) -> None:
    ids = ["knee", "dolphin"]
    assert type_sheet(reference, "knee", made_on=DAY) == type_sheet(reference, "knee", made_on=DAY)
    assert look_alike_sheet(reference, ids, made_on=DAY) == look_alike_sheet(
        reference, ids, made_on=DAY
    )


def test_sheets_of_shipped_types_stay_on_the_page() -> None:
    shipped = open_set()
    for pdf in (
        type_sheet(shipped, "knee", made_on=DAY),
        look_alike_sheet(shipped, ["knee", "t-shaped-developed"], made_on=DAY),
    ):
        for _, _, (left, bottom, right, top) in bounds(pdf):
            assert left >= 30 and bottom >= 20 and right <= 566 and top <= 822
