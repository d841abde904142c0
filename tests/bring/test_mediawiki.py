"""Reading answers of the MediaWiki API.

Parameters after API:Imageinfo and API:Query on mediawiki.org (names read there in part, the shape
of answers from memory of the published documentation).
"""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from simsearch.bring.mediawiki import api_address, question, read_page, read_reply
from simsearch.bring.offered import BringError, LeftOut, Offered, RefusedError
from tests.bring.documents import CREDIT, wiki_answer, wiki_page

BASE = "https://wiki.example.org"
API = f"{BASE}/w/api.php"


def offer(**about: str) -> Offered | LeftOut:
    return read_page(wiki_page(BASE, 7, "Knee brooch, front", **about), API)


def test_the_question_asks_for_bounded_pictures_with_their_licence() -> None:
    asked = parse_qs(urlsplit(api_address(API, question(category="Knee", side=1600))).query)
    assert asked["action"] == ["query"]
    assert asked["generator"] == ["categorymembers"]
    assert asked["gcmtitle"] == ["Category:Knee"]
    assert asked["iiprop"] == ["url|size|mime|extmetadata"]
    assert asked["iiurlwidth"] == asked["iiurlheight"] == ["1600"]
    assert asked["maxlag"] == ["5"]
    words = question(search="knee brooch", side=800)
    assert (words["generator"], words["gsrnamespace"]) == ("search", "6")
    assert question(category="Category:A_b", side=1)["gcmtitle"] == "Category:A b"


@pytest.mark.parametrize("given", [{}, {"category": "a", "search": "b"}, {"search": "  "}])
def test_one_of_category_and_words_is_needed(given: dict[str, str]) -> None:
    with pytest.raises(BringError, match="not both"):
        question(**given, side=800)


@pytest.mark.parametrize(
    "given", ["", "wiki.example.org", f"{BASE}/wiki/Category:A", "ftp://x/api.php"]
)
def test_the_address_must_be_an_api(given: str) -> None:
    with pytest.raises(BringError, match="MediaWiki API"):
        api_address(given, {})


def test_a_file_page_becomes_an_offer_with_plain_texts() -> None:
    found = offer()
    assert isinstance(found, Offered)
    assert found.title == "Knee brooch, front"
    assert found.picture_url == f"{BASE}/thumb/7.jpg"
    assert found.fallback_url == f"{BASE}/original/7.jpg"
    assert found.page_url == f"{BASE}/wiki/File:7.jpg"
    assert (found.creator, found.licence) == (CREDIT, "CC-BY-SA-4.0")
    assert found.credit_line == f"{CREDIT}; Own work"


def test_an_attribution_asked_for_is_the_credit() -> None:
    found = offer(Attribution="<i>The Club</i>, invented")
    assert isinstance(found, Offered)
    assert found.credit_line == "The Club, invented"


def test_public_domain_in_words_is_enough() -> None:
    found = offer(LicenseUrl="", LicenseShortName="Public domain", License="pd", UsageTerms="")
    assert isinstance(found, Offered)
    assert found.licence == "LicenseRef-PublicDomain"


@pytest.mark.parametrize(
    ("about", "reason"),
    [
        ({"NonFree": "true"}, "not free"),
        ({"LicenseShortName": "CC BY-NC 4.0"}, "commercial"),
        ({"LicenseShortName": "CC BY 4.0"}, "different ways"),
        ({"UsageTerms": "All rights reserved"}, "all rights reserved"),
        ({"LicenseUrl": "", "LicenseShortName": "GFDL", "License": "gfdl", "UsageTerms": ""},
         "not an open licence"),
        ({"LicenseUrl": "", "LicenseShortName": "", "License": "", "UsageTerms": ""},
         "no licence is stated"),
    ],
)  # fmt: skip
def test_what_is_not_open_is_left_out(about: dict[str, str], reason: str) -> None:
    found = offer(**about)
    assert isinstance(found, LeftOut)
    assert reason in found.reason


@pytest.mark.parametrize("kind", ["image/svg+xml", "application/pdf", "video/webm", ""])
def test_what_is_no_photo_is_left_out(kind: str) -> None:
    page = wiki_page(BASE, 7, "Drawing")
    page["imageinfo"][0]["mime"] = kind
    found = read_page(page, API)
    assert isinstance(found, LeftOut)
    assert "not a photo" in found.reason


def test_other_restrictions_are_kept_in_the_note() -> None:
    found = offer(Restrictions="trademarked")
    assert isinstance(found, Offered)
    assert "trademarked" in found.note


def test_answers_of_both_format_versions_are_read() -> None:
    page = wiki_page(BASE, 7, "A")
    new = read_reply(
        wiki_answer([page], {"gcmcontinue": "file|x", "continue": "gcmcontinue||"}), API
    )
    old = read_reply({"batchcomplete": "", "query": {"pages": {"7": page}}}, API)
    assert list(new.pages) == list(old.pages) == ["7"]
    assert new.go_on == {"gcmcontinue": "file|x", "continue": "gcmcontinue||"}
    assert new.complete and old.complete and not old.go_on
    assert read_reply({"batchcomplete": True}, API).pages == {}  # an empty category


def test_an_error_is_told() -> None:
    reply = read_reply({"error": {"code": "maxlag", "info": "Waiting for <b>db</b>"}}, API)
    assert (reply.error_code, reply.error_text) == ("maxlag", "Waiting for db")


@pytest.mark.parametrize("document", [None, [], "x", {}, {"query": 3}, {"query": ["x"]}])
def test_anything_else_is_refused(document: Any) -> None:
    with pytest.raises(RefusedError, match="MediaWiki API"):
        read_reply(document, API)
