"""IIIF Presentation 3.0 documents of a set.

Outside: the ``iiif-prezi3`` library, whose classes are made from the published schema of the
standard (https://iiif.io/api/presentation/3.0/); they refuse what the schema refuses.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from simsearch.sets.photos import PHOTO_COLUMNS
from simsearch.sets.reference_set import open_set
from simsearch.sets.types import TYPE_COLUMNS
from simsearch.share.manifest import export_iiif, iiif_manifest
from simsearch.share.problems import ShareError
from tests.share.packages import change_rows, club_set, everything_under, write_private

BASE = "https://club.example/finds"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return club_set(tmp_path / "set")


def valid(document: dict[str, Any]) -> dict[str, Any]:
    prezi = pytest.importorskip("iiif_prezi3")
    kind = prezi.Manifest if document["type"] == "Manifest" else prezi.Collection
    kind(**document)
    for canvas in document["items"] if document["type"] == "Manifest" else ():
        prezi.Canvas(**canvas)  # read one by one, where the library is strict
        prezi.Annotation(**canvas["items"][0]["items"][0])
    return document


def test_documents_keep_to_the_published_schema(folder: Path, tmp_path: Path) -> None:
    written = export_iiif(open_set(folder), tmp_path / "web", BASE + "/")
    documents = {p.relative_to(written).as_posix(): json.loads(p.read_text("utf-8"))
                 for p in written.rglob("*.json")}  # fmt: skip
    collection = valid(documents["collection.json"])
    assert [item["id"] for item in collection["items"]] == [
        f"{BASE}/types/{type_id}.json" for type_id in ("knee", "dolphin", "jetton")
    ]
    for item in collection["items"]:
        manifest = valid(documents[item["id"].removeprefix(BASE + "/")])
        assert manifest["id"] == item["id"]
        for canvas in manifest["items"]:
            body = canvas["items"][0]["items"][0]["body"]
            image = Image.open(written / body["id"].removeprefix(BASE + "/"))
            assert image.size == (body["width"], body["height"]) == (12, 12)
            assert body["format"] == Image.MIME[image.format or ""]


def test_the_library_would_see_a_fault(folder: Path) -> None:
    prezi = pytest.importorskip("iiif_prezi3")
    document = iiif_manifest(open_set(folder), BASE, type_id="knee")
    for spoilt in ({"items": 5}, {"metadata": [{"label": "x"}]}, {"rights": 5}, {"id": "knee"}):
        with pytest.raises(ValueError):
            prezi.Manifest(**(document | spoilt))
    with pytest.raises(ValueError):
        prezi.Canvas(**(document["items"][0] | {"width": "wide"}))


def test_dates_are_in_words_and_rendered_is_said(folder: Path) -> None:
    document = iiif_manifest(open_set(folder), BASE, type_id="knee")
    metadata = {pair["label"]["en"][0]: pair["value"]["en"][0] for pair in document["metadata"]}
    assert metadata["Dates"] == "c. AD 100 - AD 200"
    for canvas in document["items"]:
        assert "rendered" in canvas["label"]["en"][0]
        assert "Rendered" in canvas["requiredStatement"]["value"]["en"][0]
        # Spelled with http, as section 3.2 of the standard says.
        assert canvas["rights"] == "http://creativecommons.org/publicdomain/zero/1.0/"
    assert "not identifications" in document["summary"]["en"][0]


def test_a_licence_the_standard_has_no_uri_for_is_in_words(folder: Path) -> None:
    def other(rows: list[dict[str, str]]) -> None:
        rows[0]["licence"] = "MIT"

    change_rows(folder, "photos.csv", PHOTO_COLUMNS, other)
    document = valid(iiif_manifest(open_set(folder), BASE, type_id="knee"))
    assert "rights" not in document  # two licences in one manifest
    assert "rights" not in document["items"][0]
    assert "MIT License" in document["items"][0]["requiredStatement"]["value"]["en"][0]


def test_words_are_never_markup(folder: Path) -> None:
    def script(rows: list[dict[str, str]]) -> None:
        rows[0]["material"] = "<script>alert(1)</script>"

    change_rows(folder, "types.csv", TYPE_COLUMNS, script)
    text = json.dumps(iiif_manifest(open_set(folder), BASE, type_id="knee"))
    assert "<script" not in text and "<span>&lt;script" in text


def test_what_may_not_leave_does_not(folder: Path, tmp_path: Path) -> None:
    write_private(folder, {"photo": "knee-1", "consent": "refused", "findspot": "Long Meadow"},
                  {"photo": "knee-2"} | {"consent": "not asked"})  # fmt: skip
    reference = open_set(folder)
    written = export_iiif(reference, tmp_path / "web", BASE)
    for name, data in everything_under(written).items():
        assert "knee-" not in name and b"knee-" not in (data or b"")
    with pytest.raises(ShareError, match="knee"):
        iiif_manifest(reference, BASE, type_id="knee")
    assert iiif_manifest(reference, BASE, type_id="knee", with_not_asked=True)["items"]


def test_a_findspot_in_the_words_stops_it(folder: Path, tmp_path: Path) -> None:
    write_private(folder, {"photo": "knee-1", "consent": "given", "findspot": "Long Meadow"})

    def tell(rows: list[dict[str, str]]) -> None:
        rows[0]["specimen"] = "Long Meadow 1"

    change_rows(folder, "photos.csv", PHOTO_COLUMNS, tell)
    with pytest.raises(ShareError, match="findspot"):
        export_iiif(open_set(folder), tmp_path / "web", BASE)
    assert not (tmp_path / "web").exists()


@pytest.mark.parametrize(
    "url", ["", "club.example", "file:///x", "https://", "https://x y", "https://x/?a", "http://["]
)
def test_addresses_that_are_none(folder: Path, tmp_path: Path, url: str) -> None:
    with pytest.raises(ShareError, match="address"):
        export_iiif(open_set(folder), tmp_path / "web", url)


def test_a_photo_that_was_exchanged_leaves_nothing_behind(folder: Path, tmp_path: Path) -> None:
    (folder / "photos/knee-1.png").write_bytes(b"other")
    before = everything_under(tmp_path)
    with pytest.raises(ShareError, match="knee-1"):
        export_iiif(open_set(folder), tmp_path / "web", BASE)
    with pytest.raises(ShareError, match="already"):
        export_iiif(open_set(folder), folder, BASE)
    assert everything_under(tmp_path) == before
