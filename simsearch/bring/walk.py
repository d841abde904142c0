"""Going from document to document and naming what is offered on the way.

Every address is asked once, so a collection that contains itself comes to an end; one that grows
for ever is cut off. A document that cannot be read is left out with the reason; only the first
one, which the user named, is an error.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from typing import Any
from urllib.parse import urldefrag

from simsearch.bring import iiif, mediawiki
from simsearch.bring.offered import BringError, LeftOut, Offered, RefusedError, UnansweredError
from simsearch.bring.polite import PoliteClient

MAX_DOCUMENTS = 3_000
MAX_WAITING = 100_000
_MAX_SILENCE = 3  # documents in a row that a server does not answer
_MAX_BATCH = 2_000
_LAG_SECONDS = 5.0  # what the documentation of maxlag recommends to wait


def offers_from_iiif(
    client: PoliteClient,
    url: str,
    *,
    side: int,
    again: bool = False,
    max_documents: int = MAX_DOCUMENTS,
) -> Iterator[Offered | LeftOut]:
    """What the manifest or collection at ``url`` and everything below it offers, in order."""
    waiting = deque([url])
    seen = {urldefrag(url).url}
    silent = asked = 0
    while waiting:
        here = waiting.popleft()
        if asked >= max_documents:
            reason = f"only the first {max_documents} documents are read"
            yield LeftOut(f"{len(waiting) + 1} more documents", here, reason)
            return
        asked += 1
        try:
            document = iiif.read_document(client.json(here, again=again), here, side=side)
        except BringError as error:
            silent = silent + 1 if isinstance(error, UnansweredError) else 0
            if asked == 1 or silent >= _MAX_SILENCE:
                raise
            yield LeftOut("a document", here, str(error))
            continue
        silent = 0
        yield from document.left_out
        yield from document.offered
        new = [link for link in document.further if _is_new(link, seen)]
        if len(waiting) + len(new) > MAX_WAITING:
            raise RefusedError(f"{url} leads to more than {MAX_WAITING} documents.")
        waiting.extendleft(reversed(new))


def _is_new(link: str, seen: set[str]) -> bool:
    bare = urldefrag(link).url
    if bare in seen:
        return False
    seen.add(bare)
    return True


def offers_from_mediawiki(
    client: PoliteClient,
    api: str,
    parameters: dict[str, str],
    *,
    again: bool = False,
    max_documents: int = MAX_DOCUMENTS,
) -> Iterator[Offered | LeftOut]:
    """What the wiki's API answers to ``parameters`` (see ``mediawiki.question``), in order."""
    go_on: dict[str, str] = {}
    asked: set[str] = set()
    told: set[str] = set()
    batch: dict[str, dict[str, Any]] = {}
    for _ in range(max_documents):
        address = mediawiki.api_address(api, parameters | go_on)
        if address in asked:
            yield LeftOut("the rest", api, "the server sends us round in a circle")
            break
        asked.add(address)
        reply = _reply(client, address, api, again)
        _merge(batch, reply.pages)
        if reply.complete or len(batch) > _MAX_BATCH:
            yield from _read_pages(batch, told, api)
            batch = {}
        if not reply.go_on:
            break
        go_on = reply.go_on
    else:
        yield LeftOut("the rest", api, f"only the first {max_documents} answers are read")
    yield from _read_pages(batch, told, api)


def _merge(batch: dict[str, dict[str, Any]], pages: dict[str, dict[str, Any]]) -> None:
    """Add pages of one answer; a page may come first without and then with what was asked."""
    for key, page in pages.items():
        if "imageinfo" in page or key not in batch:
            batch[key] = page


def _read_pages(
    batch: dict[str, dict[str, Any]], told: set[str], api: str
) -> Iterator[Offered | LeftOut]:
    for key, page in batch.items():
        if key not in told:
            told.add(key)
            yield mediawiki.read_page(page, api)


def _reply(client: PoliteClient, address: str, api: str, again: bool) -> mediawiki.Reply:
    """One answer; waits while the wiki says that its databases are behind."""
    for attempt in range(client.tries):
        try:
            reply = mediawiki.read_reply(client.json(address, again=again), api)
        except RefusedError:
            client.forget(address)
            raise
        if not reply.error_code:
            return reply
        client.forget(address)  # an error is no answer to keep
        if reply.error_code not in ("maxlag", "ratelimited", "readonly"):
            said = f": {reply.error_text}" if reply.error_text else ""
            raise RefusedError(
                f"{api} answered with the error '{reply.error_code}'{said}.",
                hint="Check the category or the words, and the address.",
            )
        if attempt + 1 < client.tries:
            client.wait(_LAG_SECONDS * (attempt + 1), attempt, api)
    raise UnansweredError(
        f"{api} is too busy to answer.",
        hint="Run the same command again later; what has been brought in is kept.",
    )
