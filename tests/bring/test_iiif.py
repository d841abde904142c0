"""Reading IIIF documents. The outside check: iiif-prezi3 accepts our documents, and we its own."""

from __future__ import annotations

import json
from typing import Any

import pytest

from simsearch.bring.iiif import read_document
from simsearch.bring.iiif_parts import text_of, view_named
from simsearch.bring.image_api import sized_address
from simsearch.bring.offered import RefusedError
from tests.bring.documents import (
    BY,
    CREDIT,
    ZERO,
    canvas_three,
    collection_three,
    image_three,
    manifest_three,
    manifest_two,
)

BASE = "https://example.org"


def read(document: Any, path: str = "/m") -> Any:
    return read_document(document, BASE + path, side=1600)


def three(**more: Any) -> dict[str, Any]:
    canvases = [canvas_three(BASE, "a", "Front"), canvas_three(BASE, "b", "Reverse")]
    return manifest_three(BASE, "/m", "Trumpet brooch", canvases, **more)


def test_a_manifest_is_one_object_and_its_canvases_are_views() -> None:
    found = read(three())
    first, second = found.offered
    assert not found.left_out and not found.further
    assert first.picture_url == f"{BASE}/iiif/a/full/!1600,1600/0/default.jpg"
    assert first.fallback_url == f"{BASE}/images/a.jpg"
    assert first.title == "Trumpet brooch, Front"
    assert first.licence == "CC-BY-4.0"
    assert first.creator == first.credit_line == f"Provided by {CREDIT}"
    assert first.page_url == f"{BASE}/page/m"
    assert (first.view, second.view) == ("front", "back")
    assert first.object_key == second.object_key


def test_documents_are_as_another_reader_of_the_standard_wants_them() -> None:
    prezi = pytest.importorskip("iiif_prezi3")
    prezi.Manifest(**three())
    prezi.Collection(**collection_three(BASE, "/c", [("Manifest", "/m"), ("Collection", "/d")]))
    with pytest.raises(ValueError, match="rights"):  # it does look
        prezi.Manifest(**three(rights="not an address"))


def test_a_manifest_written_by_another_program_is_read() -> None:
    prezi = pytest.importorskip("iiif_prezi3")
    manifest = prezi.Manifest(id=f"{BASE}/m", label={"en": ["Knee brooch"]}, rights=ZERO)
    canvas = manifest.make_canvas(id=f"{BASE}/c", height=600, width=800, label={"en": ["Side"]})
    canvas.add_image(
        image_url=f"{BASE}/i.jpg",
        anno_page_id=f"{BASE}/p",
        anno_id=f"{BASE}/a",
        format="image/jpeg",
        height=600,
        width=800,
    )
    [offer] = read_document(json.loads(manifest.json()), f"{BASE}/m", side=1600).offered
    assert offer.picture_url == f"{BASE}/i.jpg"
    assert (offer.licence, offer.view, offer.title) == ("CC0-1.0", "side", "Knee brooch, Side")
    assert offer.creator == "not named"


def test_version_two_is_read() -> None:
    title = [{"@value": "Fibel", "@language": "de"}, {"@value": "Brooch", "@language": "en"}]
    found = read(manifest_two(BASE, "/m", title, ["obverse", "reverse"], related=f"{BASE}/about"))
    assert [offer.view for offer in found.offered] == ["front", "back"]
    offer = found.offered[0]
    assert offer.picture_url == f"{BASE}/iiif/obverse/full/!1600,1600/0/default.jpg"
    assert offer.title == "Brooch, obverse"
    assert (offer.licence, offer.credit_line) == ("CC-BY-SA-4.0", CREDIT)
    assert offer.page_url == f"{BASE}/about"


def test_a_choice_gives_the_image_meant_to_be_shown() -> None:
    manifest = three()
    annotation = manifest["items"][0]["items"][0]["items"][0]
    lit = image_three(BASE, "raking")
    annotation["body"] = {"type": "Choice", "items": [annotation["body"], lit]}
    assert read(manifest).offered[0].fallback_url == f"{BASE}/images/a.jpg"
    two = manifest_two(BASE, "/m", "Brooch", ["a"])
    image = two["sequences"][0]["canvases"][0]["images"][0]
    image["resource"] = {"@type": "oa:Choice", "default": image["resource"], "item": []}
    assert len(read(two).offered) == 1


def test_the_rights_nearest_to_the_picture_count() -> None:
    manifest = three()
    manifest["items"][0]["items"][0]["items"][0]["body"]["rights"] = (
        "http://creativecommons.org/licenses/by-nc/4.0/"
    )
    manifest["items"][1]["rights"] = ZERO
    found = read(manifest)
    assert [offer.licence for offer in found.offered] == ["CC0-1.0"]
    assert [item.reason for item in found.left_out] == ["its licence does not allow commercial use"]


@pytest.mark.parametrize("rights", [None, "", [], {}, 7])
def test_without_stated_rights_everything_is_left_out(rights: Any) -> None:
    told = {"label": {"en": ["Rights"]}, "value": {"en": ["CC0"]}}
    found = read(three(rights=rights, metadata=[told]))
    assert not found.offered
    assert {item.reason for item in found.left_out} == {"no licence is stated"}


def test_a_required_statement_can_take_the_licence_back() -> None:
    statement = {"label": {"en": ["Rights"]}, "value": {"en": ["All rights reserved"]}}
    found = read(three(requiredStatement=statement))
    assert not found.offered
    assert "all rights reserved" in found.left_out[0].reason


def test_the_photographer_named_for_people_is_kept_as_creator() -> None:
    told = {"label": {"en": ["Photographer"]}, "value": {"none": ["An Invented Member"]}}
    offer = read(three(metadata=[told])).offered[0]
    assert offer.creator == "An Invented Member"
    assert offer.credit_line == f"Provided by {CREDIT}"


def test_what_shows_no_single_whole_image_is_left_out() -> None:
    manifest = three()
    page = manifest["items"][0]["items"][0]
    page["items"].append({**page["items"][0], "id": f"{BASE}/second"})
    part = manifest["items"][1]["items"][0]["items"][0]
    part["body"] = {"type": "SpecificResource", "source": part["body"], "selector": {}}
    manifest["items"].append({"type": "Canvas", "id": f"{BASE}/empty", "items": []})
    reasons = [item.reason for item in read(manifest).left_out]
    assert reasons == [
        "it is put together from several images",
        "it shows only a part of an image",
        "there is no still image on it",
    ]


def test_collections_name_what_to_read_next_in_order() -> None:
    document = collection_three(BASE, "/c", [("Manifest", "/1"), ("Collection", "/2")])
    assert read(document).further == [f"{BASE}/1", f"{BASE}/2"]
    paged = {
        "@type": "sc:Collection",
        "@id": f"{BASE}/c",
        "manifests": [{"@id": f"{BASE}/1", "@type": "sc:Manifest"}, f"{BASE}/2"],
        "collections": [{"@id": f"{BASE}/3"}],
        "next": f"{BASE}/c?page=2",
    }
    names = [f"{BASE}/1", f"{BASE}/2", f"{BASE}/3", f"{BASE}/c?page=2"]
    assert read(paged).further == names


def test_a_manifest_inside_a_collection_is_read_at_once() -> None:
    collection = collection_three(BASE, "/c", [])
    collection["items"] = [three()]
    assert len(read(collection).offered) == 2


@pytest.mark.parametrize("document", [None, 3, "x", [], {}, {"type": "Canvas"}, {"type": ["a"]}])
def test_anything_else_is_refused(document: Any) -> None:
    with pytest.raises(RefusedError, match="neither an IIIF manifest"):
        read(document)


# Sizes after section 4.2 of both versions of the Image API and their compliance documents: level
# 2 must support "!w,h", level 1 "w,", level 0 only the listed sizes.
@pytest.mark.parametrize(
    ("version", "level", "size"), [(3, 2, "!1600,1600"), (3, 1, "1600,"), (2, 1, "1600,")]
)
def test_the_size_asked_for_is_one_that_the_level_promises(
    version: int, level: int, size: str
) -> None:
    image = image_three(BASE, "a", level=level)
    if version == 2:
        profile = f"http://iiif.io/api/image/2/level{level}.json"
        image["service"] = {"@id": f"{BASE}/iiif/a", "@type": "ImageService2", "profile": profile}
    assert sized_address(image, 1600) == f"{BASE}/iiif/a/full/{size}/0/default.jpg"


def test_no_picture_is_asked_to_be_larger_than_it_is() -> None:
    assert sized_address(image_three(BASE, "a", level=1), 9000).endswith("/full/max/0/default.jpg")
    tall = image_three(BASE, "a", level=1) | {"width": 1000, "height": 4000}
    assert sized_address(tall, 1600).endswith("/full/400,/0/default.jpg")


def test_level_zero_gives_listed_sizes_only() -> None:
    image = image_three(BASE, "a", level=0)
    assert sized_address(image, 1600) == ""
    image["service"][0]["sizes"] = [
        {"width": 4000, "height": 3000},
        {"width": 1000, "height": 750},
        {"width": 500, "height": 375},
    ]
    assert sized_address(image, 1600).endswith("/full/1000,750/0/default.jpg")
    assert sized_address(image_three(BASE, "a", level=None), 1600) == ""


def test_texts_of_both_versions() -> None:
    assert text_of({"en": ["One", "Two"]}) == "One; Two"
    assert text_of({"fr": ["Fibule"]}) == "Fibule"
    assert text_of({"none": ["<i>A</i> &amp; B<script>x()</script>"]}) == "A & B"
    assert text_of("plain") == text_of({"@value": "plain"}) == text_of(["plain"]) == "plain"
    assert text_of({"en": [3, None]}) == text_of(None) == text_of([[["x"]]]) == ""


@pytest.mark.parametrize(
    ("label", "view"),
    [
        ("Front side", "front"),
        ("obverse", "front"),
        ("Detail of the reverse", "detail"),
        ("front and back", ""),
        ("profile", "side"),
        ("1", ""),
        ("backdrop", ""),
    ],
)
def test_views_are_taken_from_labels(label: str, view: str) -> None:
    assert view_named(label) == view


def test_licence_used_here_is_the_one_of_the_specification() -> None:
    # "rights" in section 3.1 of the Presentation API 3.0 shows exactly this address.
    assert BY == "http://creativecommons.org/licenses/by/4.0/"
