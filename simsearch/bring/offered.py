"""What a server offers: pictures with their licence and credit, and what is left out and why."""

from __future__ import annotations

from dataclasses import dataclass

from simsearch.errors import SimsearchError


class BringError(SimsearchError):
    """Photos cannot be brought in from this place."""


class RefusedError(BringError):
    """An address or an answer that is not accepted; asking again would not help."""


class UnansweredError(BringError):
    """A server did not answer, or is too busy; asking again later may help."""


@dataclass(frozen=True)
class Offered:
    """One picture on offer.

    ``picture_url`` asks for a bounded size where the standard allows that; ``fallback_url`` is
    the picture as the document names it, or empty. ``licence`` is an SPDX id of
    ``simsearch.sets.licences``. Pictures with the same ``object_key`` show one object. ``view``
    is front, back, side, detail, or empty when nothing says so. All texts are plain.
    """

    picture_url: str
    page_url: str
    title: str
    creator: str
    licence: str
    credit_line: str
    object_key: str
    object_title: str
    view: str = ""
    fallback_url: str = ""
    note: str = ""


@dataclass(frozen=True)
class LeftOut:
    """Something that was not brought in: what it is, where it stands, and why not."""

    what: str
    where: str
    reason: str
