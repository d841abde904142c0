"""Reading answers of the MediaWiki API: ``action=query`` with a generator and ``imageinfo``.

Pure reading, and the questions as parameters; nothing is asked here. See API:Query (generators
and continuation), API:Imageinfo (``extmetadata``) and Manual:Maxlag parameter of the MediaWiki
documentation. What ``extmetadata`` holds is HTML written by anyone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from simsearch.bring.licences import contradiction, judge_any
from simsearch.bring.offered import BringError, LeftOut, Offered, RefusedError
from simsearch.bring.plain import one_line, plain_text, web_address

BATCH = 50  # the most pictures of a chosen size that one answer may hold
MAX_LAG = 5
_MAX_PAGES = 500
_KINDS = ("image/jpeg", "image/png", "image/webp", "image/tiff", "image/heic", "image/bmp")
_FIELDS = (
    "License", "LicenseShortName", "LicenseUrl", "UsageTerms", "Artist", "Credit", "Attribution",
    "ObjectName", "NonFree", "Restrictions", "Permission",
)  # fmt: skip


@dataclass(frozen=True)
class Reply:
    """One answer: pages by id, what continues it, whether its pages are complete, an error."""

    pages: dict[str, dict[str, Any]]
    go_on: dict[str, str]
    complete: bool
    error_code: str = ""
    error_text: str = ""


def question(*, category: str = "", search: str = "", side: int) -> dict[str, str]:
    """The parameters that ask for a category's files, or for files by words.

    Pictures are asked for with sides up to ``side`` pixels. Raises ``BringError`` unless exactly
    one of the two is given.
    """
    if bool(category.strip()) == bool(search.strip()):
        raise BringError("Give a category or words to search for, and not both.")
    asked = {
        "action": "query",
        "format": "json",
        "formatversion": "2",
        "maxlag": str(MAX_LAG),
        "prop": "imageinfo",
        "iiprop": "url|size|mime|extmetadata",
        "iiurlwidth": str(side),
        "iiurlheight": str(side),
        "iiextmetadatafilter": "|".join(_FIELDS),
        "iiextmetadatalanguage": "en",
    }
    if category.strip():
        name = category.strip().replace("_", " ")
        title = name if name.lower().startswith("category:") else f"Category:{name}"
        return asked | {
            "generator": "categorymembers",
            "gcmtitle": title,
            "gcmtype": "file",
            "gcmlimit": str(BATCH),
        }
    return asked | {
        "generator": "search",
        "gsrsearch": search.strip(),
        "gsrnamespace": "6",
        "gsrlimit": str(BATCH),
    }


def api_address(given: str, parameters: dict[str, str]) -> str:
    """The address that asks the API at ``given``; raises ``BringError`` if that is none."""
    address = web_address(given)
    if not address or not address.split("?")[0].split("#")[0].endswith("api.php"):
        raise BringError(
            f"'{given[:200]}' is not the address of a MediaWiki API.",
            hint="It ends in api.php; the wiki's page Special:Version names it.",
        )
    return f"{address.split('?')[0].split('#')[0]}?{urlencode(parameters)}"


def read_reply(document: object, where: str) -> Reply:
    """Take one answer apart; raises ``RefusedError`` if it is none of the API's."""
    if not isinstance(document, dict):
        raise RefusedError(f"{where} did not answer as the MediaWiki API does.")
    error = document.get("error")
    if isinstance(error, dict):
        code = plain_text(error.get("code"), limit=60) or "unknown"
        return Reply({}, {}, True, code, plain_text(error.get("info"), limit=200))
    query = document.get("query")
    if query is not None and not isinstance(query, dict):
        raise RefusedError(f"{where} did not answer as the MediaWiki API does.")
    if query is None and not ({"batchcomplete", "continue"} & document.keys()):
        raise RefusedError(f"{where} did not answer as the MediaWiki API does.")
    pages = query.get("pages") if query else None
    return Reply(
        _pages(pages), _continuation(document.get("continue")), "batchcomplete" in document
    )


def read_page(page: dict[str, Any], where: str) -> Offered | LeftOut:
    """One file page as an offer, or why it is left out."""
    title = _title(page)
    info = page.get("imageinfo")
    told = info[0] if isinstance(info, list) and info and isinstance(info[0], dict) else None
    if told is None:
        return LeftOut(title, where, "nothing is told about its file")
    page_url = web_address(told.get("descriptionurl")) or where
    outcome = _offer(title, page_url, told)
    return outcome if isinstance(outcome, Offered) else LeftOut(title, page_url, outcome)


def _offer(title: str, page_url: str, told: dict[str, Any]) -> Offered | str:
    kind = plain_text(told.get("mime"), limit=60)
    if kind not in _KINDS:
        return f"it is {kind or 'of an unknown kind'}, not a photo"
    about = told.get("extmetadata")
    values = {name: _value(about, name) for name in _FIELDS}
    if values["NonFree"].lower() not in ("", "false", "0", "no"):
        return "it is marked as not free"
    stated = [values[name] for name in ("LicenseUrl", "LicenseShortName", "License", "UsageTerms")]
    verdict = judge_any(stated)
    if not verdict.licence:
        return verdict.reason
    terms = (values["UsageTerms"], values["Permission"], values["Credit"], values["Attribution"])
    if reason := contradiction(terms):
        return reason
    original, sized = web_address(told.get("url")), web_address(told.get("thumburl"))
    if not (original or sized):
        return "its file has no http address"
    credit = values["Attribution"] or "; ".join(
        dict.fromkeys(text for text in (values["Artist"], values["Credit"]) if text)
    )
    others = values["Restrictions"]
    return Offered(
        picture_url=sized or original,
        page_url=page_url,
        title=values["ObjectName"] or title,
        creator=values["Artist"] or values["Attribution"] or "not named by the source",
        licence=verdict.licence,
        credit_line=one_line(credit),
        object_key=page_url,
        object_title=values["ObjectName"] or title,
        fallback_url=original if sized and original != sized else "",
        note=f"other restrictions stated: {others}" if others else verdict.caveat,
    )


def _pages(pages: object) -> dict[str, dict[str, Any]]:
    """Pages by id: a list in format version 2, an object by page id in version 1."""
    listed = list(pages.values()) if isinstance(pages, dict) else pages
    found = {}
    for page in listed[:_MAX_PAGES] if isinstance(listed, list) else []:
        if isinstance(page, dict):
            key = page.get("pageid")
            # Files that another wiki keeps have no page id here.
            found[str(key)[:30] if isinstance(key, int) else f"title {_title(page)}"] = page
    return found


def _title(page: dict[str, Any]) -> str:
    title = plain_text(page.get("title"), limit=200)
    name = title.partition(":")[2] if ":" in title else title
    return name.rpartition(".")[0] or name or "a file without a name"


def _continuation(value: object) -> dict[str, str]:
    if not isinstance(value, dict) or len(value) > 20:
        return {}
    plain = {str(key): str(item) for key, item in value.items() if isinstance(item, str | int)}
    return {key: item for key, item in plain.items() if len(key) <= 60 and len(item) <= 1_000}


def _value(about: object, name: str) -> str:
    entry = about.get(name) if isinstance(about, dict) else None
    value = entry.get("value") if isinstance(entry, dict) else None
    if isinstance(value, bool | int):
        return str(value)
    return plain_text(value)
