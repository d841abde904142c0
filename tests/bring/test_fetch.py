"""From an address to a folder of pictures with a table, over a server on this computer."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from simsearch.bring.cache import Cache
from simsearch.bring.fetch import Outcome, bring_photos
from simsearch.bring.mediawiki import question
from simsearch.bring.offered import BringError, LeftOut, Offered, UnansweredError
from simsearch.bring.table import COLUMNS
from simsearch.bring.walk import offers_from_iiif, offers_from_mediawiki
from simsearch.making.add import add_photos
from simsearch.making.from_table import plan_from_table
from simsearch.making.new_set import make_set
from simsearch.making.plan import Defaults
from simsearch.sets.check import check_set
from simsearch.sets.licences import LICENCES
from simsearch.sets.reference_set import open_set
from tests.bring.documents import (
    CREDIT,
    canvas_three,
    collection_three,
    manifest_three,
    manifest_two,
    wiki_answer,
    wiki_page,
)
from tests.bring.server import Asked, Reply, Site, Waits, client_for


def put_object(site: Site, name: str, **more: Any) -> None:
    """A manifest /NAME with two views whose sized pictures are served."""
    canvases = [
        canvas_three(site.base, f"{name}-1", "Front"),
        canvas_three(site.base, f"{name}-2", "Seen from below"),
    ]
    site.put_json(
        f"/{name}", manifest_three(site.base, f"/{name}", f"Brooch {name}", canvases, **more)
    )
    for number in (1, 2):
        site.put_picture(
            f"/iiif/{name}-{number}/full/!1600,1600/0/default.jpg", (40 * number, 9, 9)
        )


def bring(site: Site, start: str, folder: Path, **more: Any) -> Outcome:
    with client_for(site, cache=Cache(folder / ".documents")) as client:
        offers = offers_from_iiif(client, site.base + start, side=1600)
        return bring_photos(client, offers, folder, **more)


def rows(folder: Path) -> list[dict[str, str]]:
    with (folder / "brought.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def reasons(outcome: Outcome) -> list[str]:
    return [item.reason for item in outcome.left_out]


def test_a_manifest_becomes_pictures_with_their_credit(site: Site, tmp_path: Path) -> None:
    put_object(site, "a")
    told: list[tuple[int, int]] = []
    outcome = bring(
        site, "/a", tmp_path, type_id="trumpet", progress=lambda *step: told.append(step)
    )
    assert (outcome.new, outcome.already, outcome.left_out) == (2, 0, [])
    assert told == [(1, 200), (2, 200)]
    first, second = rows(tmp_path)
    assert tuple(first) == COLUMNS
    assert first["type"] == "trumpet" and (first["view"], second["view"]) == ("front", "")
    assert first["specimen"] == second["specimen"] != ""
    assert first["creator"] == f"Provided by {CREDIT}" and first["licence"] == "CC-BY-4.0"
    assert first["source"] == f"{site.base}/page/a"
    assert CREDIT in first["note"] and "Brooch a, Front" in first["note"]
    served = site.routes["/iiif/a-1/full/!1600,1600/0/default.jpg"]
    assert isinstance(served, Reply)
    assert (tmp_path / first["file"]).read_bytes() == served.body


def test_nested_collections_with_a_circle_come_to_an_end(site: Site, tmp_path: Path) -> None:
    put_object(site, "a")
    put_object(site, "b")
    members = [("Manifest", "/a"), ("Collection", "/inner")]
    site.put_json("/top", collection_three(site.base, "/top", members))
    members = [("Collection", "/top"), ("Manifest", "/b"), ("Manifest", "/a")]
    site.put_json("/inner", collection_three(site.base, "/inner", members))
    assert bring(site, "/top", tmp_path).new == 4
    documents = [path for path in site.paths() if not path.startswith("/iiif")]
    assert documents == ["/top", "/a", "/inner", "/b"]


def test_pages_of_a_version_two_collection_are_followed(site: Site, tmp_path: Path) -> None:
    for number in (1, 2, 3):
        manifest = manifest_two(site.base, f"/{number}", f"Coin {number}", [f"obverse{number}"])
        site.put_json(f"/{number}", manifest)
        site.put_picture(f"/iiif/obverse{number}/full/!1600,1600/0/default.jpg")
        page = {
            "@id": f"{site.base}/page{number}",
            "@type": "sc:Collection",
            "manifests": [{"@id": f"{site.base}/{number}", "@type": "sc:Manifest"}],
        }
        following = {"next": f"{site.base}/page{number + 1}"} if number < 3 else {}
        site.put_json(f"/page{number}", page | following)
    top = {"@id": f"{site.base}/top", "@type": "sc:Collection", "first": f"{site.base}/page1"}
    site.put_json("/top", top)
    assert bring(site, "/top", tmp_path).new == 3
    assert [row["licence"] for row in rows(tmp_path)] == ["CC-BY-SA-4.0"] * 3


def test_a_collection_that_grows_for_ever_is_cut_off(site: Site, tmp_path: Path) -> None:
    def page(asked: Asked) -> Reply:
        number = int(asked.path.partition("?")[2] or 0)
        link = f'{{"id": "{site.base}/more?{number + 1}", "type": "Collection"}}'
        return Reply(f'{{"type": "Collection", "items": [{link}]}}'.encode())

    site.routes["/more"] = page
    with client_for(site) as client:
        found = list(offers_from_iiif(client, f"{site.base}/more", side=800, max_documents=20))
    assert len(site.asked) == 20
    assert [item.reason for item in found if isinstance(item, LeftOut)] == [
        "only the first 20 documents are read"
    ]


def test_a_member_that_cannot_be_read_is_left_out_and_the_rest_goes_on(
    site: Site, tmp_path: Path
) -> None:
    put_object(site, "a")
    site.put_json("/top", collection_three(site.base, "/top", [
        ("Manifest", "/gone"), ("Manifest", "/html"), ("Manifest", "/a"),
    ]))  # fmt: skip
    site.routes["/html"] = Reply(b"<p>", headers={"Content-Type": "text/html"})
    outcome = bring(site, "/top", tmp_path)
    assert outcome.new == 2
    assert "is not there (404)" in reasons(outcome)[0]
    assert "text/html that is not JSON" in reasons(outcome)[1]
    left = (tmp_path / "left-out.csv").read_bytes().decode("utf-8")
    assert left.startswith("what,where,reason\r\n") and "/gone" in left


def test_the_first_document_must_be_readable(site: Site, tmp_path: Path) -> None:
    with pytest.raises(BringError, match="not there"):
        bring(site, "/gone", tmp_path)


def test_a_service_that_does_not_answer_falls_back_to_the_image_itself(
    site: Site, tmp_path: Path
) -> None:
    site.put_json("/a", manifest_three(site.base, "/a", "B", [canvas_three(site.base, "x", "1")]))
    site.put_picture("/images/x.jpg")
    assert bring(site, "/a", tmp_path).new == 1


def test_a_stopped_run_goes_on_and_edited_rows_stay(site: Site, tmp_path: Path) -> None:
    for name in "abc":
        put_object(site, name)
    members = [("Manifest", f"/{name}") for name in "abc"]
    site.put_json("/top", collection_three(site.base, "/top", members))

    def stop(done: int, most: int) -> None:
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        bring(site, "/top", tmp_path, progress=stop)
    table = tmp_path / "brought.csv"
    before = rows(tmp_path)
    assert len(before) == 3
    edited = table.read_text(encoding="utf-8").replace(
        f"{before[0]['file']},,", f"{before[0]['file']},knee,"
    )
    table.write_text("\ufeff" + edited, encoding="utf-8", newline="")  # as a spreadsheet saves it
    so_far = len(site.asked)
    outcome = bring(site, "/top", tmp_path)
    assert (outcome.new, outcome.already) == (3, 3)
    assert [row["type"] for row in rows(tmp_path)] == ["knee", "", "", "", "", ""]
    again = site.paths()[so_far:]
    assert not {"/top", "/a"} & set(again)  # kept documents
    assert len([path for path in again if path.startswith("/iiif")]) == 3


def test_a_picture_saved_before_a_kill_is_not_asked_for_again(site: Site, tmp_path: Path) -> None:
    put_object(site, "a")
    bring(site, "/a", tmp_path)
    (tmp_path / "brought.csv").unlink()
    asked = len(site.asked)
    assert bring(site, "/a", tmp_path).new == 2
    assert len(site.asked) == asked and len(rows(tmp_path)) == 2


def test_a_table_that_is_none_is_left_alone(site: Site, tmp_path: Path) -> None:
    put_object(site, "a")
    (tmp_path / "brought.csv").write_text("file;type\nx;y\n", encoding="utf-8")
    with pytest.raises(BringError, match="There is no column 'specimen'"):
        bring(site, "/a", tmp_path)
    assert (tmp_path / "brought.csv").read_text(encoding="utf-8") == "file;type\nx;y\n"


def test_a_table_saved_by_a_spreadsheet_with_semicolons_is_gone_on_with(
    site: Site, tmp_path: Path
) -> None:
    put_object(site, "a")
    bring(site, "/a", tmp_path)
    with (tmp_path / "brought.csv").open("w", encoding="utf-8-sig", newline="") as handle:
        writer = csv.DictWriter(handle, [*COLUMNS, "mine"], delimiter=";")
        writer.writeheader()
        writer.writerow(dict.fromkeys(COLUMNS, "x") | {"mine": "kept"})
    assert bring(site, "/a", tmp_path).new == 2
    assert [row["mine"] for row in rows(tmp_path)] == ["kept", "", ""]


def test_what_was_brought_can_be_added_to_a_set(site: Site, tmp_path: Path) -> None:
    put_object(site, "a")
    brought, folder = tmp_path / "brought", tmp_path / "set"
    bring(site, "/a", brought, type_id="trumpet")
    make_set(folder, "The set of an invented club")
    defaults = Defaults(labelled_by="An invented member", label_basis="from the photo")
    plan = plan_from_table(open_set(folder), brought / "brought.csv", defaults)
    assert plan.problems == ()
    add_photos(folder, plan)
    assert not [item for item in check_set(folder) if item.severity == "error"]
    first, second = open_set(folder).photos
    assert first.specimen == second.specimen
    assert (first.type, first.licence) == ("trumpet", "CC-BY-4.0")
    assert first.creator == f"Provided by {CREDIT}" and first.source == f"{site.base}/page/a"


def test_no_more_than_asked_for(site: Site, tmp_path: Path) -> None:
    put_object(site, "a")
    outcome = bring(site, "/a", tmp_path, most=1)
    assert outcome.new == 1 and "as many as were asked for" in reasons(outcome)[0]


def test_texts_that_a_spreadsheet_would_work_out_are_made_harmless(
    site: Site, tmp_path: Path
) -> None:
    evil = {"en": ['=HYPERLINK("http://example.org")']}
    put_object(site, "a", requiredStatement={"label": evil, "value": evil})
    bring(site, "/a", tmp_path)
    assert rows(tmp_path)[0]["creator"].startswith("'=")


def test_a_silent_server_ends_the_run_with_what_there_is(site: Site, tmp_path: Path) -> None:
    put_object(site, "a")
    offers = [
        Offered(f"{site.base}/busy/{n}.jpg", site.base, "x", "y", "CC0-1.0", "", "k", "x")
        for n in range(9)
    ]
    site.routes.update({f"/busy/{n}.jpg": Reply(status=503) for n in range(9)})
    first = site.base + "/iiif/a-1/full/!1600,1600/0/default.jpg"
    offers.insert(0, Offered(first, site.base, "x", "y", "CC0-1.0", "", "k", "x"))
    with client_for(site) as client, pytest.raises(UnansweredError):
        bring_photos(client, offers, tmp_path)
    assert len(rows(tmp_path)) == 1


# The MediaWiki API.


def wiki(site: Site, folder: Path, waits: Waits | None = None, **asked: str) -> Outcome:
    api = f"{site.base}/w/api.php"
    with client_for(site, waits) as client:
        asked = asked or {"category": "Knee"}
        offers = offers_from_mediawiki(client, api, question(side=1600, **asked))
        return bring_photos(client, offers, folder)


def put_answers(site: Site, answers: Iterable[dict[str, Any]]) -> None:
    import json

    left = list(answers)
    site.routes["/w/api.php"] = lambda asked: Reply(json.dumps(left.pop(0)).encode())
    for number in range(10):
        site.put_picture(f"/thumb/{number}.jpg")


def test_a_category_is_read_to_its_end(site: Site, tmp_path: Path) -> None:
    go_on = {"gcmcontinue": "file|4b|2", "continue": "gcmcontinue||"}
    pages = [wiki_page(site.base, number, f"Knee {number}") for number in range(3)]
    pages[1]["imageinfo"][0]["extmetadata"]["NonFree"] = {"value": "true"}
    put_answers(site, [wiki_answer(pages[:2], go_on), wiki_answer(pages[2:])])
    outcome = wiki(site, tmp_path)
    assert outcome.new == 2 and reasons(outcome) == ["it is marked as not free"]
    assert "gcmcontinue=file%7C4b%7C2" in site.paths()[1 + 1]
    first = rows(tmp_path)[0]
    assert (first["creator"], first["licence"]) == (CREDIT, "CC-BY-SA-4.0")
    assert first["source"] == f"{site.base}/wiki/File:0.jpg"
    assert {row["licence"] for row in rows(tmp_path)} <= set(LICENCES)


def test_a_page_told_in_two_answers_is_read_once_it_is_whole(site: Site, tmp_path: Path) -> None:
    page = wiki_page(site.base, 1, "Knee")
    bare = {key: value for key, value in page.items() if key != "imageinfo"}
    half = {"continue": {"iicontinue": "x", "continue": "||"}, "query": {"pages": [bare]}}
    put_answers(site, [half, wiki_answer([page])])
    outcome = wiki(site, tmp_path, search="knee")
    assert (outcome.new, outcome.left_out) == (1, [])


def test_a_wiki_whose_databases_are_behind_is_waited_for(site: Site, tmp_path: Path) -> None:
    lag = {"error": {"code": "maxlag", "info": "Waiting for a database: 6 seconds lagged."}}
    put_answers(site, [lag, lag, wiki_answer([wiki_page(site.base, 1, "Knee")])])
    waits = Waits()
    assert wiki(site, tmp_path, waits).new == 1
    assert waits[0] == 5.0  # what Manual:Maxlag parameter recommends (from memory)


def test_an_error_of_the_wiki_is_told(site: Site, tmp_path: Path) -> None:
    put_answers(site, [{"error": {"code": "invalidcategory", "info": "The name is not valid."}}])
    with pytest.raises(BringError, match="invalidcategory"):
        wiki(site, tmp_path)


def test_a_wiki_that_repeats_itself_is_left(site: Site, tmp_path: Path) -> None:
    answer = wiki_answer([wiki_page(site.base, 1, "Knee")], {"gcmcontinue": "x", "continue": "-"})
    put_answers(site, [answer] * 9)
    outcome = wiki(site, tmp_path)
    assert outcome.new == 1
    assert reasons(outcome) == ["the server sends us round in a circle"]
