"""The browsing part of the page as HTML, read back with the standard library's parser."""

from __future__ import annotations

import json

import numpy as np
import pytest

from simsearch import open_set
from simsearch.browse.filters import Wanted, filter_types
from simsearch.browse.similar import similar_to_image, similar_to_photo
from simsearch.errors import SetError
from simsearch.page import browsing
from simsearch.page.browse import Filters, _filtered, _read_filters, _thumbs_of, similar_to_find
from simsearch.page.intake import Tray
from simsearch.sets.reference_set import ReferenceSet
from tests.page.listing import listing
from tests.page.small_set import COLOURS, HOSTILE, make_small_set
from tests.page.test_render import Read, tray_of
from tests.tiny_set import GridEncoder


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> ReferenceSet:
    return open_set(make_small_set(tmp_path_factory.mktemp("small") / "set"))


def types_in(page: Read) -> list[str]:
    return [a["data-type"] for a in page.all("a") if "data-type" in a]


def test_types_are_listed_by_group_and_filtered_by_words(reference: ReferenceSet) -> None:
    everything = Read(listing(reference))
    assert sorted(types_in(everything)) == sorted(reference.types)
    assert "6 types in this set." in everything.text
    # A rendered picture says so here too.
    pictured = [a for a in everything.all("span") if a.get("class") == "ss-tag"]
    assert len(pictured) == len(everything.all("img")) == 5
    assert everything.text.count("no photo yet") == 1
    few = Read(listing(reference, "disc 50 BC"))
    assert types_in(few) == ["early-disc"]
    assert "1 of 6 types fits." in few.text
    assert "No type holds these words" in Read(listing(reference, "zzz")).text


def test_a_slip_is_forgiven_and_said(reference: ReferenceSet) -> None:
    page = Read(listing(reference, "nee brotch dolfin"))
    assert types_in(page)[0] == "dolphin"
    assert "“dolfin” was taken for “dolphin”." in page.text
    assert [a for a in page.all("div") if a.get("role") == "status"]


def test_filters_show_counts_and_what_is_on(reference: ReferenceSet) -> None:
    wanted = Wanted(choices={"form": frozenset(["disc brooch"])})
    filtered = filter_types(reference.types.values(), wanted)
    page = Read(browsing.render_filters(filtered, wanted, ("50 BC", "x"), "“x” is not a year."))
    boxes = [a for a in page.all("input") if a["type"] == "checkbox"]
    assert [a["value"] for a in boxes if "checked" in a] == ["disc brooch"]
    assert "(2 on)" in page.text
    first, last = (a for a in page.all("input") if a["type"] == "text")
    assert (first["value"], last["value"]) == ("50 BC", "x")
    assert [a for a in page.all("p") if a.get("role") == "alert"]
    # The counts of the facet itself leave its own choice out: three bow brooches could be added.
    assert "bow brooch 3" in " ".join(page.text.split())


def test_dates_that_are_none_are_told_and_change_nothing_else(reference: ReferenceSet) -> None:
    filters, types, _ = _filtered(reference, "", Filters({}, ("soon", "")))
    assert "“soon” is not a year." in Read(filters).text
    assert len(types_in(Read(types))) == 6
    _, types, _ = _filtered(reference, "", Filters({}, ("", "1 BC")))
    assert types_in(Read(types)) == ["early-disc"]


@pytest.mark.parametrize(
    "sent",
    [{}, {"period": "Roman"}, {"period": [1, None, {}]}, {"form": {"a": 1}}, {"first": [], "x": 3}],
)
def test_anything_may_be_sent_for_filters(reference: ReferenceSet, sent: dict[str, object]) -> None:
    chosen = _read_filters(sent)
    assert all(isinstance(label, str) for labels in chosen.choices.values() for label in labels)
    _filtered(reference, "", chosen)


def test_what_looks_alike_says_what_it_shows(reference: ReferenceSet) -> None:
    alike = similar_to_photo(reference, "knee-1")
    page = Read(browsing.render_similar(reference, "knee-1", alike))
    assert "Photos that look like this one" in page.text
    assert "no proof that a type is the same" in page.text
    assert types_in(page)[0] == "knee"
    liked = [a["data-like"] for a in page.all("a") if "data-like" in a]
    assert "knee-1" not in liked  # the photo asked for offers itself nowhere
    assert len(liked) == len(page.all("img")) - 1
    tags = [a for a in page.all("span") if a.get("class") == "ss-tag"]
    assert len(tags) == sum("rendered picture" in a["alt"] for a in page.all("img")) > 0
    assert page.text.count("Harrow Fen Finds Club (invented)") == len(page.all("img"))


def test_what_looks_like_the_find_shows_the_find(reference: ReferenceSet) -> None:
    photo = tray_of(COLOURS["dolphin"]).photos[0]
    alike = similar_to_image(reference, photo.image, encoder=GridEncoder())
    page = Read(browsing.render_similar_to_find(reference, photo, alike))
    assert page.all("img")[0]["alt"] == "Your find: find.jpg"
    assert types_in(page)[0] == "dolphin"


@pytest.mark.parametrize("position", [None, "0", -1, 5, 0.0])
def test_a_find_that_is_gone_is_told(reference: ReferenceSet, position: object) -> None:
    html = similar_to_find(Tray(), position, reference)
    assert "no longer held" in html
    assert "Nothing was lost." in html


def test_the_overview_carries_every_photo_in_the_order_of_the_index(
    reference: ReferenceSet,
) -> None:
    points = np.random.default_rng(0).random((len(reference.photos), 2), np.float32)
    page = Read(browsing.render_overview(reference, points))
    data = json.loads(next(a for a in page.all("section"))["data-points"])
    assert tuple(data["ids"]) == reference.index.photo_ids
    assert data["x"] == [round(float(x) * 10_000) for x in points[:, 0]]
    by_id = {row.id: row for row in reference.photos}
    shown = [data["types"][number][0] for number in data["type"]]
    assert shown == [by_id[photo_id].type for photo_id in data["ids"]]
    assert sum(data["rendered"]) == sum(row.is_rendered for row in reference.photos)
    assert "mean little" in page.text  # how far apart groups lie
    assert f"{sum(data['rendered'])} of them are rendered" in page.text
    assert [name for name, _ in data["types"]].count("odd") == 1
    assert not [a for _, a in page.elements if any(name.startswith("on") for name in a)]


def test_filters_dim_the_overview(reference: ReferenceSet) -> None:
    def shown(wanted: Wanted) -> dict[str, str]:
        filtered = filter_types(reference.types.values(), wanted)
        return Read(browsing.render_shown(filtered, wanted)).all("span")[0]

    assert shown(Wanted())["data-everything"] == "yes"
    some = shown(Wanted("knee"))
    assert (some["data-everything"], some["data-shown"]) == ("no", "knee")


def test_the_photo_picked_is_credited_and_an_unknown_one_refused(reference: ReferenceSet) -> None:
    page = Read(browsing.render_picked(reference, "odd-1"))
    assert types_in(page) == ["odd"]
    assert "rendered" in page.text and "CC0-1.0" in page.text
    assert HOSTILE[:20] in page.text and len(page.all("img")) == 1
    with pytest.raises(SetError, match="no photo"):
        browsing.render_picked(reference, "../types.csv")


def test_small_pictures_are_given_for_photos_of_the_set_only(reference: ReferenceSet) -> None:
    thumbs = _thumbs_of(reference)
    got = thumbs(["knee-1", "../types.csv", 7, None, "dolphin-2"])
    assert list(got) == ["knee-1", "dolphin-2"]
    assert all(uri.startswith("data:image/jpeg;base64,") for uri in got.values())
    assert thumbs("knee-1") == thumbs(None) == thumbs({"a": 1}) == {}
    every = [row.id for row in reference.photos] * 10
    assert len(thumbs(every)) <= 64
