"""A reference set on disk: its tables, its photos, its index."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simsearch.errors import SetError
from simsearch.sets.changes import CHANGES_FOLDER, JOURNAL_FILE, settle
from simsearch.sets.opinions import OPINIONS_FILE, Opinion, read_opinions
from simsearch.sets.photos import PhotoRow, read_photos
from simsearch.sets.private import PRIVATE_FILE, PrivateRow, read_private
from simsearch.sets.problems import Problem, raise_errors
from simsearch.sets.sources import Source, read_sources
from simsearch.sets.types import Type, read_types

if TYPE_CHECKING:
    from simsearch.encode import Encoder
    from simsearch.index import PhotoIndex
    from simsearch.leads.look import PhotoSource
    from simsearch.leads.model import Leads
    from simsearch.leads.observed import Observed

PACKAGE_FILE = "datapackage.json"
INDEX_FOLDER = "index"
SHIPPED_FOLDER = "reference_index"
_TABLE_FILES = (PACKAGE_FILE, "sources.csv", "types.csv", "photos.csv")
_TRIES = 4  # of reading while another program keeps changing the set


@dataclass(frozen=True, eq=False)
class ReferenceSet:
    """One reference set as read from its folder; open it again to see later changes.

    ``types`` and ``sources`` are by id in file order; ``name`` is the package's id and
    ``title`` what people read.
    """

    folder: Path
    name: str
    title: str
    types: Mapping[str, Type]
    photos: tuple[PhotoRow, ...]
    sources: Mapping[str, Source]
    _encoders: dict[str, Encoder] = field(default_factory=dict, repr=False)

    @property
    def index_folder(self) -> Path:
        """Where the set's index is kept."""
        return self.folder / INDEX_FOLDER

    def path_of(self, photo: PhotoRow) -> Path:
        """Return where a photo's file is."""
        return self.folder / photo.file

    def photos_of(self, type_id: str) -> tuple[PhotoRow, ...]:
        """Return the photos of one type, in file order; empty when it has none."""
        return self._photos_by_type.get(type_id, ())

    @cached_property
    def _photos_by_type(self) -> dict[str, tuple[PhotoRow, ...]]:
        grouped: dict[str, tuple[PhotoRow, ...]] = {}
        for photo in self.photos:
            grouped[photo.type] = (*grouped.get(photo.type, ()), photo)
        return grouped

    @cached_property
    def opinions(self) -> tuple[Opinion, ...]:
        """Every label that photos were ever given, in file order; see ``sets.opinions``.

        Raises ``TablesError`` when the table has wrong cells.
        """
        problems: list[Problem] = []
        found = read_opinions(self.folder / OPINIONS_FILE, problems)
        raise_errors(problems)
        return found

    @cached_property
    def private(self) -> Mapping[str, PrivateRow]:
        """What is private about photos, by photo id; see ``sets.private``.

        Raises ``TablesError`` when the table has wrong cells.
        """
        problems: list[Problem] = []
        found = read_private(self.folder / PRIVATE_FILE, problems)
        raise_errors(problems)
        return found

    @cached_property
    def fingerprint(self) -> str:
        """A SHA-256 over which photos the set has and how they are labelled.

        Odds measured on one selection of photos say nothing about another; this tells the two
        apart.
        """
        labels = sorted((row.id, row.type, row.specimen, row.sha256) for row in self.photos)
        return hashlib.sha256(json.dumps(labels).encode("utf-8")).hexdigest()

    @cached_property
    def index(self) -> PhotoIndex:
        """The index, opened once and checked against the set's photos.

        Raises ``MissingIndexError`` or ``StaleIndexError``, both naming the command to run.
        """
        from simsearch.index import open_index

        index = open_index(self.index_folder, set_folder=self.folder)
        index.require_photos([(row.id, row.sha256) for row in self.photos], self.folder)
        return index

    def encoder(self) -> Encoder:
        """Return the encoder that the index was built with, loaded once.

        Raises ``StaleIndexError`` when its weights or preprocessing have changed since.
        """
        from simsearch.encode import load_encoder

        name = self.index.encoder_name
        if name not in self._encoders:
            self._encoders[name] = load_encoder(name)
        self.index.require_encoder(self._encoders[name], self.folder)
        return self._encoders[name]

    def look(
        self,
        photos: PhotoSource | Sequence[PhotoSource],
        *,
        observed: Observed | None = None,
        k: int = 10,
        encoder: Encoder | None = None,
    ) -> Leads:
        """Rank the types that a find may be, from one photo or several photos of that one find.

        Each photo is a path, the bytes of a file, an open file, or a PIL image. ``k`` is how
        many leads to return. ``encoder`` defaults to the one the index was built with.
        ``observed`` (``simsearch.leads.observed``) is what was observed on the object and a photo
        cannot show: its length, material, pin fixing and so on.
        """
        # Leads are found in sets, so the package simsearch.leads stands above this one. This
        # one upward import waits until it is called: it gives people `open_set().look(photo)`
        # without tying the tables to the search.
        from simsearch.leads.look import look

        return look(self, photos, observed=observed, k=k, encoder=encoder)

    def rebuild_index(
        self,
        encoder: Encoder | None = None,
        progress: Callable[[int, int], None] | None = None,
        *,
        with_patches: bool = True,
    ) -> PhotoIndex:
        """Encode the photos that are new to this encoder and replace the index in one step.

        ``encoder`` defaults to the built-in one; ``progress`` is called with (done, total).
        Stopped at any moment, the old index is still there, and what was encoded is kept for the
        next time. Raises ``SetError`` when another program is writing to the set or a photo is
        not the file that was labelled.
        """
        from simsearch.index import PhotoToIndex, update_index
        from simsearch.sets.write import locked

        if encoder is None:
            from simsearch.encode import load_encoder

            encoder = load_encoder()
        wanted = [PhotoToIndex(row.id, row.sha256, self.path_of(row)) for row in self.photos]
        with locked(self.folder):
            index = update_index(
                wanted, encoder, self.index_folder, progress=progress, with_patches=with_patches
            )
        self.__dict__["index"] = index
        return index


def open_set(path: Path | str | None = None) -> ReferenceSet:
    """Open a reference set; ``None`` opens the one that is shipped.

    Raises ``SetError`` when the folder is not a set, and ``TablesError`` listing every wrong
    cell of its tables. The index is opened later, when it is first needed.
    """
    folder = Path(path) if path is not None else shipped_set_folder()
    problems: list[Problem] = []
    opened = read_set(folder, problems)
    raise_errors(problems)
    return opened


def shipped_set_folder() -> Path:
    """Return the shipped set's folder: inside the package, or beside it in a checkout."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / SHIPPED_FOLDER, package.parent / SHIPPED_FOLDER):
        if (folder / "types.csv").is_file():
            return folder
    raise SetError(
        "The shipped reference set is not installed.",
        hint="Install simsearch again, or name the folder of a reference set.",
    )


def read_set(folder: Path, problems: list[Problem]) -> ReferenceSet:
    """Read what can be read of a set and note the rest in ``problems``.

    A change that was interrupted is finished first.
    Raises ``SetError`` only when there is no such folder.
    """
    if not folder.is_dir():
        raise SetError(
            f"There is no folder '{folder}'.", hint="Give the folder of a reference set."
        )
    found: list[Problem] = []
    for _ in range(_TRIES):
        found = []
        before = _tables_seen(folder)
        _settle(folder, found)
        reference = _read_tables(folder, found)
        # A change by another program while we read may have given us one table of before and
        # one of after. Then they are read again.
        if before == _tables_seen(folder):
            break
    problems += found
    return reference


def _settle(folder: Path, problems: list[Problem]) -> None:
    """Finish a change that was interrupted, as far as whoever reads may."""
    where = f"{CHANGES_FOLDER}/{JOURNAL_FILE}"
    try:
        unfinished = settle(folder)
    except SetError as error:
        problems.append(Problem("error", where, error.message, error.hint))
        return
    if unfinished:
        what = f"A change of the set was interrupted and cannot be finished here: {unfinished}"
        todo = "Have somebody open the set who may write to it."
        problems.append(Problem("warning", where, what, todo))


def _tables_seen(folder: Path) -> tuple[tuple[int, ...] | None, ...]:
    """Return what tells one version of the tables from another without reading them."""
    seen: list[tuple[int, ...] | None] = []
    for name in (*_TABLE_FILES, f"{CHANGES_FOLDER}/{JOURNAL_FILE}"):
        try:
            found = (folder / name).stat()
            seen.append((found.st_ino, found.st_size, found.st_mtime_ns))
        except OSError:
            seen.append(None)
    return tuple(seen)


def _read_tables(folder: Path, problems: list[Problem]) -> ReferenceSet:
    package = _read_package(folder / PACKAGE_FILE, problems)
    sources = read_sources(folder / "sources.csv", problems)
    types = read_types(folder / "types.csv", sources, problems)
    # A type left out for a bad cell must not make every photo of it look wrong too.
    known = None if any(_is_type_error(problem) for problem in problems) else types
    photos = read_photos(folder / "photos.csv", known, problems)
    name = str(package.get("name") or folder.resolve().name)
    title = str(package.get("title") or name)
    return ReferenceSet(folder, name, title, types, photos, sources)


def _is_type_error(problem: Problem) -> bool:
    return problem.severity == "error" and problem.where.startswith("types.csv")


def _read_package(path: Path, problems: list[Problem]) -> dict[str, Any]:
    try:
        package = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        what, todo = "The description of the set is missing.", "Run the check to see what to do."
        problems.append(Problem("warning", path.name, what, todo))
        return {}
    except (OSError, ValueError) as error:
        what = f"The description of the set cannot be read ({error})."
        problems.append(Problem("error", path.name, what, "Restore it or have it written again."))
        return {}
    if not isinstance(package, dict):
        problems.append(Problem("error", path.name, "It is not a JSON object.", "Restore it."))
        return {}
    return package
