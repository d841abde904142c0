"""Adding the photos of a plan to a set, some at a time.

Each batch is one change of the set: its photos, their rows, their first opinions and the note
of where they came from are there together or not at all. Stopped at any moment, the batches
before are in, and the same import started again goes on behind them. Photos are made ready by
two threads, a few ahead, so memory does not grow with the number of photos.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from itertools import islice
from pathlib import Path

from simsearch.errors import PhotoError
from simsearch.making.ledger import LEDGER_FILE
from simsearch.making.plan import Incoming, Plan, free_id, row_is_right
from simsearch.making.storing import Stored, stored
from simsearch.making.tables import Cells, Tables
from simsearch.making.types import add_type_rows
from simsearch.sets.changes import Change, changing
from simsearch.sets.opinions import OPINIONS_FILE, Opinion
from simsearch.sets.private import PRIVATE_FILE, PrivateRow
from simsearch.sets.problems import Problem

BATCH = 64  # photos in one change; some 20 MB of pictures
_WORKERS = 2
_AHEAD = 4  # photos that are being made ready at a time
_WAIT_SECONDS = 60.0  # for another writer, between two batches of an import


@dataclass(frozen=True)
class Added:
    """What an import did: the ids of photos added in order, and what was left out and why."""

    ids: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def count(self) -> int:
        """How many photos were added."""
        return len(self.ids)


def add_photos(
    folder: Path | str,
    plan: Plan,
    *,
    progress: Callable[[int, int], None] | None = None,
    keep_gps: bool = False,
    batch: int = BATCH,
) -> Added:
    """Add the photos of a plan to a set, and the plan's new types before them.

    A photo that cannot be read, or has been added meanwhile, is reported and left out. The
    place in a photo's metadata goes to private.csv with ``keep_gps`` and nowhere without.
    ``progress`` is called with (photos done, photos in all). Raises ``SetError`` when another
    program is writing to the set or the disk is full; what was added before stays.
    """
    root = Path(folder)
    if plan.new_types:
        add_type_rows(root, plan.new_types)
    ids: list[str] = []
    problems: list[Problem] = []
    done = 0
    prepared = _prepared(plan.incoming, keep_gps)
    while chunk := list(islice(prepared, batch)):
        with changing(root, wait_seconds=_WAIT_SECONDS) as change:
            batch_of = _Batch(root, change)
            for item, outcome in chunk:
                batch_of.add(item, outcome)
            batch_of.save()
        ids += batch_of.ids
        problems += batch_of.problems
        done += len(chunk)
        if progress is not None:
            progress(done, len(plan.incoming))
    return Added(tuple(ids), tuple(problems))


_Outcome = Stored | PhotoError


def _prepared(items: Sequence[Incoming], keep_gps: bool) -> Iterator[tuple[Incoming, _Outcome]]:
    """Yield the photos in order, each as it is to be stored or with what is wrong with it."""
    waiting: list[tuple[Incoming, Future[_Outcome]]] = []
    with ThreadPoolExecutor(_WORKERS) as pool:
        for item in items:
            waiting.append((item, pool.submit(_prepare, item.source, keep_gps)))
            if len(waiting) > _AHEAD:
                first, future = waiting.pop(0)
                yield first, future.result()
        for first, future in waiting:
            yield first, future.result()


def _prepare(source: Path, keep_gps: bool) -> _Outcome:
    try:
        return stored(source, keep_gps=keep_gps)
    except PhotoError as error:
        return error
    except Exception as error:  # one bad photo, however bad, never stops the others
        return PhotoError(
            f"{source} could not be stored ({type(error).__name__}: {error}).",
            hint="Save it anew as a JPEG.",
        )


@dataclass
class _Batch:
    """One change of the set in the making; everything is looked at again under the lock."""

    folder: Path
    change: Change
    ids: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._tables = Tables(self.folder, self.change)
        photos = self._tables.rows("photos.csv")
        self._types = {row["id"] for row in self._tables.rows("types.csv")}
        self._specimens = {row["specimen"]: row["type"] for row in photos}
        self._taken = {row["id"] for row in photos}
        self._files = {row["sha256"]: row["id"] for row in photos}
        self._came = {row["sha256"]: row["photo"] for row in self._tables.rows(LEDGER_FILE)}
        self._new: dict[str, list[Cells]] = {}

    def add(self, item: Incoming, outcome: _Outcome) -> None:
        """Add one photo, or note why not."""
        if isinstance(outcome, PhotoError):
            self.problems.append(Problem("error", item.place, outcome.message, outcome.hint))
            return
        here = self._came.get(outcome.source_sha256) or self._files.get(outcome.sha256)
        here = here or self._files.get(outcome.source_sha256)
        if here:
            what = f"The same picture is in the set, as photo '{here}'."
            self.problems.append(Problem("warning", item.place, what, "It is not added again."))
            return
        named = self._named(item)
        if row_is_right(named, self._types, self.problems) and self._specimen_fits(named):
            self._put(named, outcome)

    def _named(self, item: Incoming) -> Incoming:
        """Give the photo an id that is still free, an object and a day."""
        row = item.row
        photo_id = row.id
        if not photo_id or photo_id in self._taken:
            photo_id = free_id(row.type, row.id or item.source.stem, self._taken)
        on = row.labelled_on or date.today().isoformat()
        specimen = row.specimen or photo_id
        return replace(item, row=replace(row, id=photo_id, specimen=specimen, labelled_on=on))

    def _specimen_fits(self, item: Incoming) -> bool:
        label = self._specimens.get(item.row.specimen, item.row.type)
        if label == item.row.type:
            return True
        what = f"'{item.row.specimen}' is a '{label}' in the set, here it is '{item.row.type}'."
        todo = "One object has one type: correct the type, or give the object another name."
        self.problems.append(Problem("error", item.place, what, todo))
        return False

    def _put(self, item: Incoming, photo: Stored) -> None:
        row = item.row
        file = f"photos/{row.id}.jpg"
        self.change.put(file, photo.content)
        self._queue("photos.csv", {**asdict(row), "file": file, "sha256": photo.sha256})
        first = Opinion(
            row.id, row.specimen, row.type, row.labelled_by, row.labelled_on, row.label_basis
        )
        self._queue(OPINIONS_FILE, first.cells())
        private = item.private or (PrivateRow("") if photo.gps else None)
        if private is not None:
            known = replace(private, photo=row.id, gps=private.gps or photo.gps)
            self._queue(PRIVATE_FILE, known.cells())
        came = {"sha256": photo.source_sha256, "bytes": str(photo.source_bytes)}
        today = date.today().isoformat()
        self._queue(LEDGER_FILE, {**came, "photo": row.id, "on": today})
        self._taken.add(row.id)
        self._specimens[row.specimen] = row.type
        self._files[photo.sha256] = self._came[photo.source_sha256] = row.id
        self.ids.append(row.id)

    def _queue(self, file: str, cells: Mapping[str, str]) -> None:
        self._new.setdefault(file, []).append(cells)

    def save(self) -> None:
        """Put the tables into the change."""
        for file, rows in self._new.items():
            self._tables.append(file, rows)
        self._tables.save()
