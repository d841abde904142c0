"""Which set the page has open, and the sets that people have made on it.

The page is put together once and then answers for whichever set is open. After a change, and
when another set is chosen, the set is opened anew here; what was opened before stays whole for
the visitors who are being answered from it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any, cast

from simsearch.errors import SetError, SimsearchError
from simsearch.making.names import slug
from simsearch.making.new_set import make_set
from simsearch.sets.reference_set import PACKAGE_FILE, ReferenceSet, open_set, shipped_set_folder

if TYPE_CHECKING:
    from simsearch.encode import Encoder

_MOST_SETS = 100
_STARTED_WITH = ""


@dataclass(frozen=True)
class SetPlace:
    """A set that the page can open: its name among them, its folder and its title."""

    name: str
    folder: Path
    title: str
    is_open: bool


def sets_folder() -> Path:
    """Where sets made on the page are kept: a folder of the user's own data."""
    from platformdirs import user_data_path

    return user_data_path("simsearch", appauthor=False) / "sets"


class Shelf:
    """Holds the open set as ``reference``; ``version`` grows with every change of it."""

    def __init__(self, reference: ReferenceSet, home: Path | None = None) -> None:
        self.reference = reference
        self.version = 0
        self.home = home if home is not None else sets_folder()
        self._started_with = reference.folder
        self._encoders: dict[str, Encoder] = {}
        self._lock = Lock()

    @property
    def live(self) -> ReferenceSet:
        """Something to hold on to that is always the set that is open now."""
        return cast(ReferenceSet, _Live(self))

    @property
    def may_change(self) -> bool:
        """Whether the page may write to the open set; the shipped one stays as it is."""
        return not _same_folder(self.reference.folder, _shipped())

    def require_change(self) -> Path:
        """Return the folder to write to. Raises ``SetError`` for the set that is shipped."""
        if not self.may_change:
            raise SetError(
                "The set that is shipped is not changed from the page.",
                hint="Make a set of your own first.",
            )
        return self.reference.folder

    def places(self) -> list[SetPlace]:
        """Every set that can be opened: the one the page was started with, then one's own."""
        found = [self._place(_STARTED_WITH, self._started_with)]
        folders = sorted(self.home.iterdir()) if self.home.is_dir() else []
        for folder in folders[:_MOST_SETS]:
            known = (folder / PACKAGE_FILE).is_file() and folder.name == slug(folder.name)
            if known and not _same_folder(folder, self._started_with):
                found.append(self._place(folder.name, folder))
        return found

    def use(self, name: str) -> None:
        """Open one of ``places`` by its name. Raises ``SetError`` when there is none like it."""
        place = next((place for place in self.places() if place.name == name), None)
        if place is None:
            raise SetError("There is no such set here.", hint="Choose one of the list.")
        self._open(place.folder)

    def make(self, title: str, name: str, *, with_types: bool) -> None:
        """Make a set in a folder of ``home`` and open it; types are those of the open set.

        ``name`` becomes the folder's name, made from the title where it is empty. Raises
        ``SetError`` when the title is missing, the name cannot be used or is taken.
        """
        folder = slug(name) or slug(title)
        if not folder:
            hint = "Give it letters from a to z, or digits."
            raise SetError("No folder's name can be made of that.", hint=hint)
        if len(self.places()) > _MOST_SETS:
            raise SetError("There are too many sets here.", hint=f"Move some out of {self.home}.")
        source = self.reference.folder if with_types else None
        self._open(make_set(self.home / folder, title, types_from=source, with_types=with_types))

    def refresh(self) -> None:
        """Open the set again after something in it has changed."""
        self._open(self.reference.folder)

    def bring_index_up_to_date(self, progress: Callable[[int, int], None] | None = None) -> None:
        """Encode what is new, then open the set with it; until then the old one is answered from.

        Without any photo there is nothing to encode. Errors as ``ReferenceSet.rebuild_index``.
        """
        fresh = self._read(self.reference.folder)
        if fresh.photos:
            fresh.rebuild_index(self._encoder_of(fresh), progress)
        self._show(fresh)

    def _encoder_of(self, reference: ReferenceSet) -> Encoder:
        """The encoder that the set's index was built with, the built-in one without an index."""
        from simsearch import encode
        from simsearch.index import open_index

        try:
            name = open_index(reference.index_folder).encoder_name
        except SimsearchError:
            name = ""
        if name not in self._encoders:
            loaded = encode.load_encoder(name) if name else encode.load_encoder()
            self._encoders[name] = self._encoders[loaded.name] = loaded
        return self._encoders[name]

    def _place(self, name: str, folder: Path) -> SetPlace:
        here = _same_folder(folder, self.reference.folder)
        return SetPlace(name, folder, self.reference.title if here else _title(folder), here)

    def _open(self, folder: Path) -> None:
        self._show(self._read(folder))

    def _read(self, folder: Path) -> ReferenceSet:
        # An encoder takes a while to load, so sets that are opened one after the other share it.
        return replace(open_set(folder), _encoders=self._encoders)

    def _show(self, reference: ReferenceSet) -> None:
        with self._lock:
            self.reference = reference
            self.version += 1


class _Live:
    """Passes everything on to the set that is open at that moment."""

    def __init__(self, shelf: Shelf) -> None:
        self._shelf = shelf

    def __getattr__(self, name: str) -> Any:
        return getattr(self._shelf.reference, name)


def index_fits(reference: ReferenceSet) -> bool:
    """Whether the set's photos can be compared with: there is an index, and it is of them."""
    try:
        return bool(reference.photos) and reference.index is not None
    except SimsearchError:
        return False


def _title(folder: Path) -> str:
    """A set's title from its description alone: a list of sets need not read every table."""
    try:
        package = json.loads((folder / PACKAGE_FILE).read_text(encoding="utf-8"))
        return str(package.get("title") or folder.name)
    except (OSError, ValueError, AttributeError):
        return folder.name


def _shipped() -> Path | None:
    try:
        return shipped_set_folder()
    except SetError:
        return None


def _same_folder(one: Path, other: Path | None) -> bool:
    return other is not None and one.resolve() == other.resolve()
