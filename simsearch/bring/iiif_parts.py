"""What both versions of IIIF Presentation share: texts in languages, credit, rights, a picture."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from simsearch.bring.image_api import sized_address
from simsearch.bring.licences import Verdict, contradiction, judge_all
from simsearch.bring.offered import Offered
from simsearch.bring.plain import MAX_TEXT, one_line, plain_text, web_address
from simsearch.sets.licences import LICENCES

PAINTED_BY_SEVERAL = "it is put together from several images"
_PART = "it shows only a part of an image"
_NO_ADDRESS = "its image has no http address"
_MAX_ITEMS = 20_000
_LANGUAGES = ("en", "en-GB", "en-US", "none", "@none")
_TAKEN_BY = re.compile(
    r"(?:photograph(?:er|y|ed by| by)?|photo(?: by| credit)?|image (?:creator|credit))s?:?",
    re.IGNORECASE,
)
_DETAIL = re.compile(r"\b(?:detail|close[- ]?up)\b", re.IGNORECASE)
_FRONT = re.compile(r"\b(?:front|obverse|recto)\b", re.IGNORECASE)
_BACK = re.compile(r"\b(?:back|reverse|verso|rear)\b", re.IGNORECASE)
_SIDE = re.compile(r"\b(?:side|profile|edge)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Picture:
    """An image as a document names it, the annotation around it, and whether a part is meant."""

    resource: dict[str, Any]
    annotation: dict[str, Any]
    is_part: bool


@dataclass(frozen=True)
class Holder:
    """What a manifest says for all its pictures."""

    manifest: dict[str, Any]
    key: str
    title: str
    page_url: str
    credit: str
    taken_by: str
    provider: str


def items(value: object) -> list[Any]:
    """``value`` if it is a list (bounded), else an empty list."""
    return value[:_MAX_ITEMS] if isinstance(value, list) else []


def text_of(value: object) -> str:
    """A text of either version as plain text; English if there is a choice.

    Version 3: a map from language to a list of texts. Version 2: a text, an object with
    ``@value`` and ``@language``, or a list of these.
    """
    return one_line("; ".join(_texts(value)))


def _texts(value: object) -> list[str]:
    if isinstance(value, str):
        return [text] if (text := plain_text(value)) else []
    if isinstance(value, list):
        return _texts_of_list(value)
    if not isinstance(value, dict):
        return []
    if "@value" in value:
        return _texts(value["@value"]) if isinstance(value["@value"], str) else []
    for language in (*_LANGUAGES, *list(value)[:5]):
        chosen = value.get(language)
        listed = chosen if isinstance(chosen, list) else [chosen]
        found = [text for item in listed[:20] if (text := plain_text(item))]
        if found:
            return found
    return []


def _texts_of_list(values: list[Any]) -> list[str]:
    some = values[:20]
    told = [item for item in some if isinstance(item, dict) and "@value" in item]
    english = [item for item in told if str(item.get("@language", ""))[:2] == "en"]
    chosen: list[Any] = english or [item for item in some if isinstance(item, str)] or told
    return [text for item in chosen for text in _texts(item)]


def holder_of(manifest: dict[str, Any], url: str) -> Holder:
    """What ``manifest``, found at ``url``, says for all its pictures."""
    key = web_address(manifest.get("id", manifest.get("@id"))) or url
    return Holder(
        manifest,
        key=key,
        title=text_of(manifest.get("label")) or "an object without a name",
        page_url=_page(manifest) or key,
        credit=_credit(manifest),
        taken_by=_taken_by(manifest),
        provider=_provider(manifest),
    )


def picture_offered(
    canvas: dict[str, Any], label: str, picture: Picture, holder: Holder, side: int
) -> Offered | str:
    """The picture on a canvas as an offer, or the reason why it is left out."""
    if picture.is_part:
        return _PART
    verdict = _verdict((picture.resource, picture.annotation, canvas, holder.manifest))
    if not verdict.licence:
        return verdict.reason
    credits = [_credit(part) for part in (picture.resource, canvas)]
    credit = "; ".join(dict.fromkeys(text for text in (*credits, holder.credit) if text))
    if reason := contradiction([credit]):
        return reason
    named = web_address(picture.resource.get("id", picture.resource.get("@id")))
    sized = sized_address(picture.resource, side)
    if not (sized or named):
        return _NO_ADDRESS
    taken_by = _taken_by(canvas) or holder.taken_by
    return Offered(
        picture_url=sized or named,
        page_url=holder.page_url,
        title=f"{holder.title}, {label}" if label else holder.title,
        creator=taken_by or credit or holder.provider or _unnamed(verdict.licence),
        licence=verdict.licence,
        credit_line=credit or holder.provider,
        object_key=holder.key,
        object_title=holder.title,
        view=view_named(label),
        fallback_url=named if sized and named != sized else "",
        note=verdict.caveat,
    )


def view_named(label: str) -> str:
    """Which view a label names; empty when it names none, or both front and back."""
    if _DETAIL.search(label):
        return "detail"
    front, back = _FRONT.search(label), _BACK.search(label)
    if front or back:
        return "" if front and back else "front" if front else "back"
    return "side" if _SIDE.search(label) else ""


def _unnamed(licence: str) -> str:
    asked = LICENCES[licence].needs_credit
    return "not named by the source" if asked else "not named"


def _verdict(parts: tuple[dict[str, Any], ...]) -> Verdict:
    """The rights stated nearest to the picture; what is stated further out is then not asked."""
    for part in parts:
        stated = [part.get("rights"), *_listed(part.get("license"))]
        verdict = judge_all(_addresses(stated))
        if verdict.known or verdict.reason != judge_all([]).reason:
            return verdict
    return judge_all([])


def _addresses(stated: list[Any]) -> list[str]:
    named = [item.get("@id", item.get("id")) if isinstance(item, dict) else item for item in stated]
    return [item for item in named if isinstance(item, str)]


def _listed(value: object) -> list[Any]:
    return value[:20] if isinstance(value, list) else [value]


def _credit(part: dict[str, Any]) -> str:
    """The text that must be shown: ``requiredStatement`` (3) or ``attribution`` (2)."""
    required = part.get("requiredStatement")
    if isinstance(required, dict):
        return text_of(required.get("value"))
    return text_of(part.get("attribution"))


def _provider(manifest: dict[str, Any]) -> str:
    agents: list[Any] = _listed(manifest.get("provider"))
    names = [text_of(agent.get("label")) for agent in agents if isinstance(agent, dict)]
    return one_line("; ".join(name for name in names if name), limit=MAX_TEXT)


def _taken_by(part: dict[str, Any]) -> str:
    for entry in items(part.get("metadata"))[:100]:
        if isinstance(entry, dict) and _TAKEN_BY.fullmatch(text_of(entry.get("label"))):
            return text_of(entry.get("value"))
    return ""


def _page(manifest: dict[str, Any]) -> str:
    """A page for people about the object: ``homepage`` (3) or ``related`` (2)."""
    for item in (*_listed(manifest.get("homepage")), *_listed(manifest.get("related"))):
        target = item.get("id", item.get("@id")) if isinstance(item, dict) else item
        if address := web_address(target):
            return address
    return ""
