"""The find sheet: what it says, how it lies on the page, and what it never says."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from simsearch.register.grid import Findspot, read_findspot
from simsearch.register.records import FindRecord
from simsearch.sheets.errors import SheetError
from simsearch.sheets.find import find_sheet, unknown_words
from simsearch.sheets.words import Note
from tests import tiny_set
from tests.sheets.made import (
    DAY,
    IMAGE,
    PATH,
    TEXT,
    awkward,
    awkward_photos,
    bounds,
    everything_in,
    leads_of,
    photo,
    record,
    reference_in,
    register_photo,
    words_of,
)

# ISO 216: A4 is 210 mm by 297 mm. A PDF point is 1/72 inch, an inch 25.4 mm (ISO 32000, 8.3.2.3).
A4 = (210 / 25.4 * 72, 297 / 25.4 * 72)


@pytest.fixture(scope="module")
def long_sheet(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    reference = reference_in(tmp_path_factory.mktemp("long"))
    return find_sheet(
        awkward(), awkward_photos(), leads_of(reference), types=reference.types, made_on=DAY
    )


def test_it_says_what_the_finds_officer_needs(tmp_path: Path) -> None:
    reference = reference_in(tmp_path)
    find = record(
        photos=(register_photo(),), measured_how="photo card", completeness="half or more"
    )
    pdf = find_sheet(
        find, [photo()], leads_of(reference), types=reference.types, made_on=DAY,
        errors_mm={"length_mm": 0.4},
    )  # fmt: skip
    words = words_of(pdf)
    for said in (
        "Leads to verify, not an identification", "Part of a bow brooch (invented)",
        "at least 34.2 mm ± 0.4 mm, broken", "7.4 g, error not stated", "photo card",
        "Knee (invented)", "about 7 in 10 (68 in 100)", "Dated c. AD 100 - AD 200",
        "Knee (invented), not Dolphin (invented) (also a lead): another colour",
        "Looked behind the head: two coils of a spring", "Whether the foot was a knob",
        "Back not photographed.", "Side not photographed.", "given in writing",
        "A. Finder (invented)", "2026-03-14", "TG 51 13 (to 1 km)", "Harrow Fen parish (invented)",
        "nobody yet", "Rendered picture: Harrow Fen Finds Club (invented), CC0-1.0",
        "Dashed: where photo 1 of the find may lie on knee-1, covering about 5 in 10",
        "Most likely", "For the finds officer", "Made with simsearch on 2026-05-01", "Page 1 of",
    ):  # fmt: skip
        assert said in words, said
    assert "signature" not in words.casefold() and "signed" not in words.casefold()


def test_leads_of_a_real_look_up_fit_on_it(tmp_path: Path) -> None:
    reference = reference_in(tmp_path)
    reference.rebuild_index(tiny_set.GridEncoder())  # type: ignore[arg-type]
    encoder = tiny_set.GridEncoder()
    leads = reference.look(tiny_set.picture((200, 40, 40), 7), encoder=encoder)  # type: ignore[arg-type]
    words = words_of(find_sheet(record(), [], leads, types=reference.types, made_on=DAY))
    assert "1. Knee (invented)" in words and "no odds measured" in words
    assert leads.odds_note[:30] in words


def test_an_empty_record_says_plainly_what_is_unknown() -> None:
    words = words_of(find_sheet(FindRecord(title="unknown object"), [], made_on=DAY))
    for said in (
        "Not photographed.", "Not weighed.", "Length not measured.", "not weighed",
        "Findspot not recorded.", "No leads were looked up", "Nothing has been checked",
        "Not seen by a finds officer.", "Landowner not asked for consent.",
    ):  # fmt: skip
        assert said in words, said


def test_nothing_is_called_unknown_that_is_known() -> None:
    views = tuple(register_photo(view) for view in ("front", "back", "side"))
    full = record(
        photos=views, width_mm=9.0, thickness_mm=2.0, completeness="complete", condition="worn",
        fixing="sprung", verified_by="F. Officer (invented)", verified_on="2026-04-01", unknowns=(),
    )  # fmt: skip
    assert unknown_words(full) == ()
    assert unknown_words(replace(full, weight_g=None)) == ("Not weighed.",)


def test_pages_are_a4_and_named(long_sheet: bytes) -> None:
    reader = PdfReader(io.BytesIO(long_sheet))
    assert len(reader.pages) > 3
    for page in reader.pages:
        assert [float(page.mediabox.width), float(page.mediabox.height)] == pytest.approx(
            A4, abs=0.01
        )
    assert reader.metadata is not None and reader.metadata.title is not None
    assert reader.metadata.title.startswith("Find sheet find-0001: A very long title")
    assert reader.metadata.author == "simsearch"
    assert reader.trailer["/Root"]["/Lang"] == "en-GB"


def test_every_font_is_embedded(long_sheet: bytes) -> None:
    fonts = []
    for page in PdfReader(io.BytesIO(long_sheet)).pages:
        fonts += [font.get_object() for font in page["/Resources"]["/Font"].values()]
    used = [font for font in fonts if font["/Subtype"] == "/TrueType"]
    assert used and all("/FontFile2" in font["/FontDescriptor"] for font in used)
    # reportlab names Helvetica in every file; nothing is written in it.
    assert {font["/BaseFont"] for font in fonts if font not in used} <= {"/Helvetica"}


def test_nothing_lies_outside_the_page(long_sheet: bytes) -> None:
    for page, kind, (left, bottom, right, top) in bounds(long_sheet):
        inside = left >= 30 and bottom >= 20 and right <= A4[0] - 30 and top <= A4[1] - 20
        assert inside, (page, kind, left, bottom, right, top)


def test_no_text_lies_over_other_text_or_a_photo(long_sheet: bytes) -> None:
    drawn: dict[int, list[tuple[int, tuple[float, float, float, float]]]] = {}
    for page, kind, box in bounds(long_sheet):
        if kind in (TEXT, IMAGE):
            drawn.setdefault(page, []).append((kind, box))
    assert any(kind == IMAGE for things in drawn.values() for kind, _ in things)
    for page, things in drawn.items():
        for number, (kind, one) in enumerate(things):
            for other_kind, other in things[:number]:
                if TEXT in (kind, other_kind):
                    wide = min(one[2], other[2]) - max(one[0], other[0])
                    high = min(one[3], other[3]) - max(one[1], other[1])
                    # Accents reach a little into the line above.
                    assert wide <= 0.6 or high <= 1.6, (page, one, other)


def test_long_texts_come_out_whole(long_sheet: bytes) -> None:
    words = words_of(long_sheet)
    assert words.count("how ") >= 700 and words.count("note ") >= 900
    assert words.replace(" ", "").count("x") >= 3000
    assert "photo cannot be read" in words and "no scale" in words


def test_letters_that_cannot_be_set_are_replaced_where_all_can_see(long_sheet: bytes) -> None:
    words = words_of(long_sheet)
    assert "Ŵyn ŷ āb Łódź ḃ Кіт \ufffd\ufffd \ufffd\ufffd\ufffd" in words
    assert "<b>&</para>" in words and "é" in words
    assert "stands for a letter that cannot be printed here" in words
    assert "山" not in words and "א" not in words


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    reference = reference_in(tmp_path)
    find = record(photos=(register_photo(),))
    made = [find_sheet(find, [photo()], leads_of(reference), made_on=DAY) for _ in range(2)]
    assert made[0] == made[1]


def test_the_scale_bar_is_true_to_the_photo() -> None:
    """200 pixels at 0.05 mm are 10 mm across; the bar says how much of that it is."""
    pdf = find_sheet(record(photos=(register_photo(),)), [photo(200, 150)], made_on=DAY)
    drawn = [(kind, box) for page, kind, box in bounds(pdf) if page == 0]
    image = next(box for kind, box in drawn if kind == IMAGE)
    below = [
        box
        for kind, box in drawn
        if kind == PATH and image[1] - 12 < box[1] < image[1] - 2 and box[3] - box[1] < 6
    ]
    bar = max(box[2] for box in below) - min(box[0] for box in below) - 0.6  # its own line
    assert "0 2 mm" in words_of(pdf)
    assert bar / (image[2] - image[0]) * 10 == pytest.approx(2, rel=0.02)


@pytest.mark.parametrize(
    ("spot", "secrets"),
    [
        (
            read_findspot("TG 51409 13177"),
            ("5140913177", "tg514131", "514131", "651409", "313177", "51409", "13177"),
        ),
        (read_findspot("O 15904 34671"), ("1590434671", "o159346", "15904", "34671")),
        (read_findspot("52.65757, 1.71792"), ("52.6575", "1.7179", "52.657", "1.717")),
        (
            Findspot("words", "Long Meadow, by the north gate", None, "Harrow Fen"),
            ("longmeadow", "northgate"),
        ),
    ],
    ids=["grid GB", "grid Ireland", "degrees", "words"],
)
def test_an_exact_findspot_leaks_nowhere(spot: Findspot, secrets: tuple[str, ...]) -> None:
    unseen = "\u200b".join(spot.value)
    said = f"Lay at {spot.value} by the hedge. {unseen}. {spot.value.lower()}, "
    said += spot.value.replace(" ", "")
    find = record(
        findspot=spot, title=f"Brooch {spot.value}", description=said, leads_note=said,
        finder=said, nearby=said, method=said, measured_how=said, condition=said, surface=said,
        checked=(said,), unknowns=(said,), object_name=said,
        photos=(register_photo(caption=said),),
    )  # fmt: skip
    pdf = find_sheet(find, [photo()], made_on=DAY, author=said, cautions=[Note("Note", said)])
    found = everything_in(pdf)
    assert "by the hedge" in words_of(pdf) and "[place left out]" in words_of(pdf)
    for secret in (*secrets, "secret", "exif"):
        assert secret not in found, secret
    if spot.kind != "words":
        exact = everything_in(find_sheet(find, [photo()], made_on=DAY, exact_findspot=True))
        assert secrets[0] in exact and "keepprivate" in exact and "secret" not in exact


def test_urgent_cautions_stand_before_the_photos() -> None:
    notes = [Note("Lead", "Wear gloves."), Note("Ammunition", "Leave it.", urgent=True)]
    words = words_of(find_sheet(record(), [], cautions=notes, made_on=DAY))
    assert words.index("Ammunition. Leave it.") < words.index("Photos") < words.index("Wear gloves")


def test_precious_metal_is_noted_from_the_material() -> None:
    words = words_of(find_sheet(record(material="Silver gilt"), [], made_on=DAY))
    assert "May be gold or silver." in words
    assert "May be gold" not in words_of(find_sheet(record(), [], made_on=DAY))


def test_photos_must_be_those_of_the_record() -> None:
    with pytest.raises(SheetError, match="has 1 photos, 0 were given"):
        find_sheet(record(photos=(register_photo(),)), [])
