"""Saving offered pictures in a folder, with a table that ``simsearch add`` reads.

Nothing goes into a set from here: somebody has to say of which type each object is. A run that
was stopped goes on where it was: file names follow from addresses, and a picture that is there
is not asked for again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from simsearch.bring.offered import BringError, LeftOut, Offered, RefusedError, UnansweredError
from simsearch.bring.plain import one_line, slug
from simsearch.bring.polite import PoliteClient
from simsearch.bring.table import Brought, write_left_out
from simsearch.errors import PhotoError
from simsearch.files import write_bytes
from simsearch.photo import open_photo
from simsearch.photo.formats import photo_format

MAX_TOTAL_BYTES = 4_000_000_000
_ENDINGS = {
    "JPEG": ".jpg", "PNG": ".png", "WebP": ".webp", "TIFF": ".tif", "BMP": ".bmp", "HEIC": ".heic",
}  # fmt: skip
_LOOKED_AT = 512  # pixels at which a picture is decoded to see whether it is one
_SAVE_EVERY = 10
_MAX_SILENCE = 4
_MAX_LEFT_OUT = 20_000
Progress = Callable[[int, int], None]


@dataclass
class Outcome:
    """How many pictures are new, how many were there already, and what was left out."""

    new: int = 0
    already: int = 0
    left_out: list[LeftOut] = field(default_factory=list)


@dataclass
class _Run:
    client: PoliteClient
    folder: Path
    type_id: str
    view: str
    table: Brought
    outcome: Outcome = field(default_factory=Outcome)
    taken: int = 0
    silent: int = 0

    def leave_out(self, item: LeftOut) -> None:
        if len(self.outcome.left_out) < _MAX_LEFT_OUT:
            self.outcome.left_out.append(item)


def bring_photos(
    client: PoliteClient,
    offers: Iterable[Offered | LeftOut],
    folder: Path,
    *,
    type_id: str = "",
    view: str = "",
    most: int = 200,
    progress: Progress | None = None,
) -> Outcome:
    """Save up to ``most`` of the offered pictures and their table in ``folder``.

    ``type_id`` fills the column type of every new row; ``view`` fills the view where the source
    names none. Rows that are in the table already are kept as somebody may have edited them.
    ``progress`` is told (pictures there, ``most``). Raises ``BringError`` when the folder cannot
    be used or the server falls silent; what was saved until then stays.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BringError(f"{folder} cannot be made ({error.strerror}).") from error
    run = _Run(client, folder, type_id, view, Brought(folder))
    try:
        _take(run, offers, most, progress)
    finally:
        run.table.save()
        write_left_out(folder, run.outcome.left_out)
    return run.outcome


def _take(
    run: _Run, offers: Iterable[Offered | LeftOut], most: int, progress: Progress | None
) -> None:
    handled: set[str] = set()
    outcome = run.outcome
    for offer in offers:
        if isinstance(offer, LeftOut):
            run.leave_out(offer)
            continue
        if offer.picture_url in handled:
            run.leave_out(_left(offer, "it is the same picture as another one"))
            continue
        if outcome.new + outcome.already >= most:
            run.leave_out(_left(offer, f"{most} pictures are there, as many as were asked for"))
            return
        if run.taken > MAX_TOTAL_BYTES:
            run.leave_out(_left(offer, "the pictures take up too much room; run it again"))
            return
        handled.add(offer.picture_url)
        _bring_one(run, offer)
        if progress:
            progress(outcome.new + outcome.already, most)
        if outcome.new and outcome.new % _SAVE_EVERY == 0:
            run.table.save()


def _bring_one(run: _Run, offer: Offered) -> None:
    stem = file_stem(offer)
    there = _there(run.folder, stem)
    if there and there in run.table:
        run.outcome.already += 1
        return
    file = there
    if not file:
        try:
            content, ending = _picture(run.client, offer)
        except UnansweredError as error:
            run.silent += 1
            if run.silent >= _MAX_SILENCE:
                raise
            run.leave_out(_left(offer, str(error)))
            return
        except (BringError, PhotoError) as error:
            run.silent = 0
            run.leave_out(_left(offer, str(error)))
            return
        run.silent = 0
        run.taken += len(content)
        file = f"{stem}{ending}"
        _save(run.folder / file, content)
    if file not in run.table:
        run.table.add(_row(run, offer, file))
    run.outcome.new += 1


def file_stem(offer: Offered) -> str:
    """A file name without ending: words of the title, and what tells two addresses apart."""
    return f"{slug(offer.title) or 'photo'}-{_short_hash(offer.picture_url, 10)}"


def _there(folder: Path, stem: str) -> str:
    """The file that an earlier run saved under ``stem``; files are written in one step."""
    for ending in _ENDINGS.values():
        path = folder / f"{stem}{ending}"
        if path.is_file() and not path.is_symlink():
            return path.name
    return ""


def _picture(client: PoliteClient, offer: Offered) -> tuple[bytes, str]:
    """Bytes that decode as a photo, and the ending for them; tries the second address too."""
    try:
        return _checked(client, offer.picture_url)
    except (RefusedError, PhotoError):
        if not offer.fallback_url:
            raise
    return _checked(client, offer.fallback_url)


def _checked(client: PoliteClient, url: str) -> tuple[bytes, str]:
    content = client.picture(url)
    try:
        open_photo(content, max_side=_LOOKED_AT)
    except PhotoError as error:
        raise PhotoError(error.message.replace("The given file", "The file at its address")) from (
            error
        )
    kind = photo_format(content)
    return content, _ENDINGS[kind] if kind else ".jpg"


def _save(path: Path, content: bytes) -> None:
    try:
        write_bytes(path, content)
    except OSError as error:
        raise BringError(
            f"{path} cannot be written ({error.strerror}).",
            hint="Check the room on the disk and the permissions; what was saved stays.",
        ) from error


def _row(run: _Run, offer: Offered, file: str) -> dict[str, str]:
    credit = f"credit: {offer.credit_line}" if offer.credit_line else ""
    note = "; ".join(text for text in (offer.title, credit, offer.note) if text)
    specimen = slug(offer.object_title, limit=30) or "object"
    return {
        "file": file,
        "type": run.type_id,
        "specimen": f"{specimen}-{_short_hash(offer.object_key, 8)}",
        "view": offer.view or run.view,
        "creator": offer.creator,
        "licence": offer.licence,
        "source": offer.page_url,
        "note": one_line(note, limit=1_500),
    }


def _left(offer: Offered, reason: str) -> LeftOut:
    return LeftOut(offer.title, offer.page_url, reason)


def _short_hash(text: str, digits: int) -> str:
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:digits]
