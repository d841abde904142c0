"""Looking a whole reference set over and saying everything that is wrong with it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from simsearch.errors import MissingIndexError, PhotoError, SimsearchError
from simsearch.files import sha256_of
from simsearch.index import index_command, open_index, stored_file_problems
from simsearch.sets.datapackage import changed_tables
from simsearch.sets.opinions import OPINIONS_FILE, read_opinions
from simsearch.sets.photos import PhotoRow
from simsearch.sets.private import PRIVATE_FILE, read_private
from simsearch.sets.problems import Problem
from simsearch.sets.reference_set import PACKAGE_FILE, ReferenceSet, read_set

if TYPE_CHECKING:
    from simsearch.encode import Encoder

PHOTO_FOLDER = "photos"
_NAMED = 6  # types without photos that are named in full
_SMALL = 64  # pixels; enough to see that a photo opens, and quick


def check_set(folder: Path | str, *, encoder: Encoder | None = None) -> list[Problem]:
    """Return every problem of a set, errors first; an empty list means that all is well.

    Besides what opening the set refuses, this opens every photo, compares every hash, looks
    for types without photos, stray files and rows that hide that a picture is rendered, and
    asks whether the index fits the photos - and the ``encoder``, when one is given.
    Raises ``SetError`` only when there is no such folder.
    """
    root = Path(folder)
    problems: list[Problem] = []
    reference = read_set(root, problems)
    _kept_beside(reference, problems)
    readable = not any(problem.severity == "error" for problem in problems)
    for check in (_files, _repeated_files, _rendered, _types, _strays, _package):
        problems += check(reference)
    # With rows left out above, the index would look out of date for no reason of its own.
    if readable:
        problems += _index(reference, encoder)
    return sorted(problems, key=lambda problem: problem.severity != "error")


def _kept_beside(reference: ReferenceSet, problems: list[Problem]) -> None:
    """Look the tables over that a set may have beside its three."""
    # A photo or type left out for a bad cell of its own must not make these rows look wrong.
    sound = not any(problem.severity == "error" for problem in problems)
    photos = {photo.id for photo in reference.photos} if sound else None
    types = reference.types if sound else None
    opinions = reference.folder / OPINIONS_FILE
    read_opinions(opinions, problems, photo_ids=photos, type_ids=types)
    read_private(reference.folder / PRIVATE_FILE, problems, photo_ids=photos)


def _where(photo: PhotoRow) -> str:
    return f"photos.csv, photo {photo.id}"


def _files(reference: ReferenceSet) -> Iterator[Problem]:
    from simsearch.photo import open_photo

    for photo in reference.photos:
        path = reference.path_of(photo)
        try:
            if sha256_of(path) != photo.sha256:
                what = f"The file '{photo.file}' is not the one that was labelled (its hash)."
                todo = "Put the original back, or look at the new one and correct the row."
                yield Problem("error", _where(photo), what, todo)
            open_photo(path, max_side=_SMALL)
        except PhotoError as error:
            yield Problem("error", _where(photo), error.message, error.hint)
        except OSError as error:
            what = f"The file '{photo.file}' cannot be read ({error.strerror})."
            yield Problem("error", _where(photo), what, "Check its permissions.")


def _repeated_files(reference: ReferenceSet) -> Iterator[Problem]:
    first: dict[str, PhotoRow] = {}
    for photo in reference.photos:
        seen = first.setdefault(photo.sha256, photo)
        if seen is not photo:
            what = f"It is the same picture as photo '{seen.id}'."
            yield Problem("warning", _where(photo), what, "Keep one of the two rows.")


def _rendered(reference: ReferenceSet) -> Iterator[Problem]:
    for photo in reference.photos:
        fault = rendered_fault(photo.is_rendered, f"{photo.source} {photo.note} {photo.creator}")
        if fault:
            yield Problem("error", _where(photo), *fault)


def rendered_fault(is_rendered: bool, words: str) -> tuple[str, str] | None:
    """A picture that shows no real object must say so wherever its row is read.

    Returns what is wrong with the words of a row and what to do, or ``None``.
    """
    says_so = "rendered" in words.casefold()
    if is_rendered and not says_so:
        what = "It is rendered, but neither its source nor its note says so."
        return what, "Write 'rendered' in source or note."
    if says_so and not is_rendered:
        what = "Its words say rendered, its kind says photo."
        return what, "Set kind to rendered, or correct them."
    return None


def _types(reference: ReferenceSet) -> Iterator[Problem]:
    empty = [kind.id for kind in reference.types.values() if not reference.photos_of(kind.id)]
    if empty and reference.photos:
        what = (
            f"{len(empty)} of {len(reference.types)} types have no photo, so they can never be "
            f"leads: {', '.join(empty[:_NAMED])}{' ...' if len(empty) > _NAMED else ''}."
        )
        yield Problem("warning", "types.csv", what, "Add photos of them.")
    for kind in reference.types.values():
        where = f"types.csv, type {kind.id}"
        if kind.basis in ("read", "part read") and not kind.sources:
            what = f"Its date is '{kind.basis}', but no source is named."
            yield Problem("warning", where, what, "Name the source, or say 'from memory'.")


def _strays(reference: ReferenceSet) -> Iterator[Problem]:
    named = {photo.file for photo in reference.photos}
    folder = reference.folder / PHOTO_FOLDER
    for path in sorted(folder.rglob("*")) if folder.is_dir() else ():
        file = path.relative_to(reference.folder).as_posix()
        if file not in named and not path.name.startswith(".") and not path.is_dir():
            what = "The file is in no row of photos.csv, so nothing says whose it is."
            yield Problem("warning", file, what, "Add a row for it or take it out.")


def _package(reference: ReferenceSet) -> Iterator[Problem]:
    try:
        package = json.loads((reference.folder / PACKAGE_FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return  # told already when the set was read
    if not isinstance(package, dict):
        return
    for table in changed_tables(reference.folder, package):
        what = f"{table} has changed since the description of the set was written."
        todo = "If that was meant, have datapackage.json written again."
        yield Problem("warning", PACKAGE_FILE, what, todo)


def _index(reference: ReferenceSet, encoder: Encoder | None) -> Iterator[Problem]:
    """An index that contradicts the set is an error; one that is merely behind, a warning."""
    where = reference.index_folder.name
    todo = f"Build it with: {index_command(reference.folder)}"
    if not reference.photos and not (reference.index_folder / "index.json").exists():
        return  # a set newly made
    try:
        index = open_index(reference.index_folder, set_folder=reference.folder)
        held = set(index.photo_ids)
        new = [row for row in reference.photos if row.id not in held]
        known = [(row.id, row.sha256) for row in reference.photos if row.id in held]
        index.require_photos(known, reference.folder)
        if encoder is not None:
            index.require_encoder(encoder, reference.folder)
    except MissingIndexError as error:
        yield Problem("warning", where, error.message, error.hint)
        return
    except SimsearchError as error:
        yield Problem("error", where, error.message, error.hint)
        return
    if new:
        some = f"'{new[0].id}'" if len(new) == 1 else f"'{new[0].id}' and {len(new) - 1} more"
        what = f"It does not hold {some}, so these photos cannot give leads yet."
        yield Problem("warning", where, what, todo)
    for fault in stored_file_problems(reference.index_folder):
        todo = f"Build it again with: {index_command(reference.folder)}"
        yield Problem("error", where, f"{fault}.", todo)
