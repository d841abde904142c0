"""The register itself: record finds, look them up, change them, undo, check that all is there."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, delete, func, insert, select, update

from simsearch.register import history as past
from simsearch.register.database import (
    DATABASE_FILE,
    integrity_problems,
    open_database,
    reading,
    version_of,
    writing,
)
from simsearch.register.errors import RecordError, RegisterError
from simsearch.register.grid import checked
from simsearch.register.history import Change
from simsearch.register.photos import (
    NewPhoto,
    check_kept,
    keep_photo,
    photo_problem,
    unnamed_files,
)
from simsearch.register.records import (
    ID,
    FindRecord,
    RegisterPhoto,
    check_record,
    from_document,
    from_fields,
    search_words,
    to_document,
)
from simsearch.register.rows import find_row, photo_rows, record_of
from simsearch.register.tables import CHANGES, FINDS, PHOTOS

if TYPE_CHECKING:
    from simsearch.sets.dates import DateRange
    from simsearch.sets.types import Type

_OWN_NUMBER = re.compile(r"find-(\d+)")


@dataclass(frozen=True)
class RegisterStatus:
    """How much a register holds."""

    folder: Path
    finds: int
    by_status: Mapping[str, int]
    photos: int
    changes: int
    version: str


def default_folder() -> Path:
    """Where the register is kept when no folder is named: the user's own data folder."""
    from platformdirs import user_data_path

    return user_data_path("simsearch", appauthor=False) / "register"


def open_register(
    folder: Path | str | None = None,
    *,
    create: bool = True,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
) -> Register:
    """Open the register in ``folder`` (the default folder without), making it if need be.

    An older register is brought up to date. Raises ``RegisterError`` when there is none and
    ``create`` is false, when the folder holds something else, or when it cannot be used.
    """
    place = Path(folder) if folder is not None else default_folder()
    file = place / DATABASE_FILE
    try:
        _make_ready(place, file, create)
    except OSError as error:
        raise RegisterError(
            f"The register's folder {place} cannot be used ({error.strerror or error}).",
            hint="Check the path and its permissions, or name another folder.",
        ) from error
    return Register(place, now)


def _make_ready(place: Path, file: Path, create: bool) -> None:
    if file.is_file():
        return
    if not create:
        raise RegisterError(
            f"There is no register in {place}.",
            hint="Record a first find, restore a backup there, or name another folder.",
        )
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise RegisterError(
            f"{place} holds other things and no register.",
            hint="Name an empty or a new folder; the register keeps its photos beside it.",
        )
    place.mkdir(parents=True, exist_ok=True)


class Register:
    """One register of finds; made by ``open_register``, closed by ``close`` or ``with``.

    Every method that changes something takes ``by``, the name kept in the history, and is one
    transaction: all of it is on the disk when the method returns, or nothing has changed.
    Methods raise ``RegisterError``; ``RecordError`` for what cannot be recorded.
    """

    def __init__(self, folder: Path, now: Callable[[], datetime]) -> None:
        self.folder = folder
        self._now = now
        self._engine = open_database(folder / DATABASE_FILE)

    def __enter__(self) -> Register:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    @property
    def database(self) -> Path:
        """The SQLite file."""
        return self.folder / DATABASE_FILE

    def photo_path(self, photo: RegisterPhoto) -> Path:
        """Where a photo's file is."""
        return self.folder / photo.file

    # -- changing -----------------------------------------------------------------------------

    def new(
        self,
        find: FindRecord | Mapping[str, Any],
        *,
        photos: Sequence[NewPhoto] = (),
        by: str,
        note: str = "",
    ) -> FindRecord:
        """Record a find; without an id it gets the next ``find-NNNN``. Returns what was kept."""
        record = find if isinstance(find, FindRecord) else from_fields(find)
        self._check(record)  # before any photo is copied
        if record.photos:
            raise RecordError("A new find's photos are copied in.", hint="Give them as photos=.")
        name = record.id or self._next_id()
        kept = tuple(keep_photo(self.folder, name, photo) for photo in photos)

        with writing(self._engine) as connection:
            if record.id and self._ever_used(connection, name):
                raise RecordError(
                    f"The id '{name}' has been used in this register.", hint="Choose another."
                )
            # Another program may have taken the number since; photos keep the name they got.
            while not record.id and self._ever_used(connection, name):
                name = self._next_id(connection)
            record = self._stamped(replace(record, id=name, photos=kept), created=True)
            self._check(record)
            self._put(connection, None, record, past.NEW, by, note)
        return record

    def change(
        self,
        find_id: str,
        fields: Mapping[str, Any],
        *,
        photos: Sequence[NewPhoto] = (),
        by: str,
        note: str = "",
        seen: int | None = None,
    ) -> FindRecord:
        """Replace some fields of a find and add ``photos``.

        With ``seen``, the number of the last change that the user saw, a find that somebody
        else has changed since is left alone and a ``RegisterError`` says so.
        """
        if "id" in fields and fields["id"] != find_id:
            raise RecordError("A find keeps its id.", hint="Record it anew under another id.")
        self._check(from_fields(fields, self.get(find_id)))  # before any photo is copied
        added = tuple(keep_photo(self.folder, find_id, photo) for photo in photos)
        with writing(self._engine) as connection:
            before = self._one(connection, find_id)
            self._refuse_unseen(connection, find_id, seen)
            after = from_fields(fields, before)
            after = replace(after, photos=(*after.photos, *added), created_on=before.created_on)
            after = self._stamped(after)
            self._check(after)
            for photo in set(after.photos) - set(before.photos):
                check_kept(self.folder, photo)
            if replace(after, changed_on=before.changed_on) == before:
                return before
            self._put(connection, before, after, past.CHANGED, by, note)
        return after

    def take_out(self, find_id: str, *, by: str, note: str = "") -> None:
        """Take a find out of the register; its history and photos stay, and undo brings it back."""
        with writing(self._engine) as connection:
            before = self._one(connection, find_id)
            self._put(connection, before, None, past.TAKEN_OUT, by, note)

    def undo(self, find_id: str, *, by: str, number: int | None = None) -> Change:
        """Take back the newest change of a find (or change ``number``); recorded as a change."""
        with writing(self._engine) as connection:
            changes = past.read_changes(connection, find_id)
            if not changes:
                raise self._unknown(find_id)
            undone = past.to_undo(changes, find_id, number)
            now = self._find(connection, find_id)
            then = from_document(undone.before) if undone.before is not None else None
            if then is not None:
                then = self._stamped(then)
            return self._put(connection, now, then, past.UNDONE, by, "", undone.number)

    # -- reading ------------------------------------------------------------------------------

    def get(self, find_id: str) -> FindRecord:
        """One find."""
        with reading(self._engine) as connection:
            return self._one(connection, find_id)

    def search(
        self,
        words: str = "",
        *,
        period: str = "",
        type_id: str = "",
        status: str = "",
        limit: int | None = None,
        offset: int = 0,
    ) -> tuple[FindRecord, ...]:
        """The finds that hold every one of ``words`` and whose period holds ``period``.

        Capitals do not matter. Newest change first; all of them without any condition.
        """
        query = select(FINDS).order_by(FINDS.c.changed_on.desc(), FINDS.c.id.desc())
        for word in words.casefold().split():
            query = query.where(func.instr(FINDS.c.words, word) > 0)
        if type_id:
            query = query.where(FINDS.c.type_id == type_id)
        if status:
            query = query.where(FINDS.c.status == status)
        with reading(self._engine) as connection:
            records = self._records(connection, connection.execute(query).all())
        # SQLite folds capitals of English only, so the period is compared here.
        wanted = period.strip().casefold()
        found = [record for record in records if wanted in record.period.casefold()]
        return tuple(found[offset : None if limit is None else offset + limit])

    def history(self, find_id: str | None = None) -> tuple[Change, ...]:
        """Every change of one find, or of all, oldest first."""
        with reading(self._engine) as connection:
            changes = past.read_changes(connection, find_id)
        if find_id is not None and not changes:
            raise self._unknown(find_id)
        return tuple(changes)

    def status(self) -> RegisterStatus:
        """How many finds, photos and changes there are."""
        with reading(self._engine) as connection:
            statuses = connection.execute(select(FINDS.c.status)).scalars().all()
            photos = connection.execute(select(func.count()).select_from(PHOTOS)).scalar_one()
            changes = connection.execute(select(func.count()).select_from(CHANGES)).scalar_one()
            version = version_of(connection)
        counted = Counter(statuses)
        return RegisterStatus(self.folder, len(statuses), counted, photos, changes, version)

    def date_ranges(self, types: Mapping[str, Type] | None = None) -> dict[str, DateRange]:
        """The dates of every find whose type lead is known, by find id.

        They are the type's dates in ``types``, those of the shipped set without. A find without
        a type lead, or whose type is not in the set, has no dates and is left out.
        """
        if types is None:
            from simsearch.sets.reference_set import open_set

            types = open_set().types
        found = self.search()
        return {find.id: types[find.type_id].dates for find in found if find.type_id in types}

    def integrity(self) -> tuple[str, ...]:
        """What SQLite finds wrong with the file itself; empty when it is sound."""
        return tuple(integrity_problems(self._engine))

    def named_photos(self) -> tuple[RegisterPhoto, ...]:
        """Every photo that a find or the history names, each file once."""
        with reading(self._engine) as connection:
            changes = past.read_changes(connection)
            kept = self._records(connection, connection.execute(select(FINDS)).all())
        documents = [d for change in changes for d in (change.before, change.after) if d]
        records = [*(from_document(document) for document in documents), *kept]
        photos = [photo for record in records for photo in record.photos]
        return tuple({photo.file: photo for photo in photos}.values())

    def check(self) -> tuple[str, ...]:
        """What is wrong with the register, as sentences; empty when all is as it should be."""
        problems = [f"The database: {line}." for line in self.integrity()]
        named = self.named_photos()
        problems += [text for photo in named if (text := photo_problem(self.folder, photo))]
        with reading(self._engine) as connection:
            last = {change.find_id: change.after for change in past.read_changes(connection)}
            kept = self._records(connection, connection.execute(select(FINDS)).all())
        now = {record.id: to_document(record) for record in kept}
        for find_id in sorted(set(now) | {name for name, after in last.items() if after}):
            if _plain(now.get(find_id)) != _plain(last.get(find_id)):
                problems.append(f"{find_id} is not as its last change left it.")
        return tuple(problems)

    def left_over(self) -> tuple[str, ...]:
        """Photo files that nothing names, left by a kill; they do no harm and may be deleted."""
        named = {photo.file for photo in self.named_photos()}
        return tuple(unnamed_files(self.folder, named))

    # -- within a transaction -----------------------------------------------------------------

    def _put(
        self,
        connection: Connection,
        before: FindRecord | None,
        after: FindRecord | None,
        action: str,
        by: str,
        note: str,
        undoes: int | None = None,
    ) -> Change:
        """Write a find's new state and the change that led to it."""
        if not by.strip() or len(by) > 200:
            raise RecordError(
                "Who makes the change is not said.", hint="Give a name or initials (by)."
            )
        find_id = (after or before or FindRecord()).id
        if after is None:
            connection.execute(delete(FINDS).where(FINDS.c.id == find_id))
        elif before is None:
            connection.execute(insert(FINDS).values(**find_row(after), words=search_words(after)))
        else:
            row = find_row(after) | {"words": search_words(after)}
            connection.execute(update(FINDS).where(FINDS.c.id == find_id).values(**row))
        connection.execute(delete(PHOTOS).where(PHOTOS.c.find_id == find_id))
        if after is not None and after.photos:
            connection.execute(insert(PHOTOS), photo_rows(after))
        was, now = (to_document(record) if record else None for record in (before, after))
        change = Change(
            0, find_id, action, by.strip(), self._stamp(), undoes, was, now, note.strip()
        )
        return past.write_change(connection, change)

    def _one(self, connection: Connection, find_id: str) -> FindRecord:
        record = self._find(connection, find_id)
        if record is None:
            raise self._unknown(find_id)
        return record

    def _find(self, connection: Connection, find_id: str) -> FindRecord | None:
        rows = connection.execute(select(FINDS).where(FINDS.c.id == find_id)).all()
        return next(iter(self._records(connection, rows)), None)

    def _records(self, connection: Connection, rows: Iterable[Any]) -> list[FindRecord]:
        rows = list(rows)
        query = select(PHOTOS).order_by(PHOTOS.c.find_id, PHOTOS.c.position)
        if len(rows) == 1:
            query = query.where(PHOTOS.c.find_id == rows[0].id)
        photos: dict[str, list[Any]] = {}
        for photo in connection.execute(query) if rows else ():
            photos.setdefault(photo.find_id, []).append(photo)
        return [record_of(row, photos.get(row.id, ())) for row in rows]

    def _ever_used(self, connection: Connection, find_id: str) -> bool:
        query = select(CHANGES.c.number).where(CHANGES.c.find_id == find_id).limit(1)
        return connection.execute(query).first() is not None

    def _next_id(self, connection: Connection | None = None) -> str:
        query = select(CHANGES.c.find_id).where(CHANGES.c.action == past.NEW)
        if connection is None:
            with reading(self._engine) as own:
                names = own.execute(query).scalars().all()
        else:
            names = connection.execute(query).scalars().all()
        numbers = [int(m[1]) for name in names if (m := _OWN_NUMBER.fullmatch(name))]
        return f"find-{max(numbers, default=0) + 1:04d}"

    def _refuse_unseen(self, connection: Connection, find_id: str, seen: int | None) -> None:
        if seen is None:
            return
        query = select(func.max(CHANGES.c.number)).where(CHANGES.c.find_id == find_id)
        last = connection.execute(query).scalar_one()
        if last != seen:
            raise RegisterError(
                f"{find_id} has been changed by somebody else in the meantime.",
                hint="Open it again, look at what is different, and then make your change.",
            )

    def _check(self, record: FindRecord) -> None:
        check_record(record, self._now().date())

    def _stamped(self, record: FindRecord, *, created: bool = False) -> FindRecord:
        stamp = self._stamp()
        spot = checked(record.findspot) if record.findspot else None
        first = stamp if created else record.created_on
        return replace(record, findspot=spot, created_on=first, changed_on=stamp)

    def _stamp(self) -> str:
        return self._now().astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")

    def _unknown(self, find_id: str) -> RegisterError:
        hint = "List the finds, or look at the history of one that was taken out."
        if not ID.fullmatch(find_id):
            hint = "An id has lower-case letters, figures and hyphens, like find-0001."
        return RegisterError(f"There is no find '{find_id}' in {self.folder}.", hint=hint)


def _plain(document: Mapping[str, Any] | None) -> str:
    return json.dumps(document, sort_keys=True)
