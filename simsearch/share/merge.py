"""Two sets made one: first what would happen and where they disagree, then all of it at once."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simsearch.errors import PhotoError
from simsearch.files import sha256_of
from simsearch.sets.changes import Change, changing
from simsearch.sets.datapackage import datapackage_bytes
from simsearch.sets.reference_set import PACKAGE_FILE, open_set
from simsearch.share.choices import BOTH, Chooser, Conflict
from simsearch.share.merging import Merging, Row, Side
from simsearch.share.names import photo_name
from simsearch.share.plain import ending_of
from simsearch.share.problems import ShareError
from simsearch.share.tables import COLUMNS, PHOTOS

_ENOUGH = 4096  # bytes that tell what kind of picture a file is


@dataclass(frozen=True)
class MergePlan:
    """What merging would do or has done: ids that come in, what we have, where sets disagree.

    ``open`` are the conflicts that nobody has chosen about; settling one may bring up another.
    """

    new_photos: tuple[str, ...]
    new_types: tuple[str, ...]
    new_sources: tuple[str, ...]
    known: int
    opinions: int
    conflicts: tuple[Conflict, ...]
    open: tuple[Conflict, ...]
    notes: tuple[str, ...]

    def lines(self) -> list[str]:
        """Return it in sentences, conflicts last."""
        lines = [
            f"Photos that come in: {len(self.new_photos)}; we have {self.known} of theirs already.",
            f"Types that come in: {', '.join(self.new_types) or 'none'}.",
            f"Sources that come in: {', '.join(self.new_sources) or 'none'}.",
            f"Opinions that come in: {self.opinions}.",
            *self.notes,
        ]
        open_names = {conflict.name for conflict in self.open}
        for conflict in self.conflicts:
            state = "To settle" if conflict.name in open_names else "Settled"
            lines.append(f"{state}: {conflict}")
        return lines


def plan_merge(
    folder: Path | str, other: Path | str, choices: Mapping[str, str] | None = None
) -> MergePlan:
    """Return what merging the set ``other`` into the one in ``folder`` would do; change nothing."""
    return _plan(_merging(Path(folder), Path(other), choices or {}))


def merge_sets(
    folder: Path | str, other: Path | str, choices: Mapping[str, str] | None = None
) -> MergePlan:
    """Merge the set ``other`` into the one in ``folder``, as one change; return what happened.

    ``choices`` settles the conflicts that ``plan_merge`` shows (``simsearch.share.choices``).
    The index of ``folder`` is out of date afterwards; ``other`` stays as it is.
    Raises ``ShareError`` when a conflict has no choice or a choice fits no conflict, and when a
    photo of ``other`` is not the file that was labelled. Then nothing has changed.
    """
    root, second = Path(folder), Path(other)
    with changing(root) as change:
        merging = _merging(root, second, choices or {})
        merging.chooser.require_all()
        _put_photos(change, merging, root, second)
        _put_tables(change, merging, root, second)
    return _plan(merging)


def _merging(folder: Path, other: Path, choices: Mapping[str, str]) -> Merging:
    if folder.resolve() == other.resolve():
        raise ShareError("A set cannot be merged with itself.", [])
    for root in (folder, other):
        opened = open_set(root)  # refuses tables with wrong cells
        _ = opened.opinions, opened.private
    merging = _run(folder, other, choices)
    without = _run(folder, other, {}) if choices else merging
    merging.chooser.require_fitting({conflict.name for conflict in without.chooser.conflicts})
    return merging


def _run(folder: Path, other: Path, choices: Mapping[str, str]) -> Merging:
    merging = Merging(Side.read(folder), Side.read(other), Chooser(choices))
    merging.run()
    _choose_licences(merging, folder, other)
    return merging


def _choose_licences(merging: Merging, folder: Path, other: Path) -> None:
    """Words that come in stay under the licence they came with, so both have to be named."""
    brought = merging.takes_words or merging.new_types or merging.new_sources
    ours, theirs = (_licences(_package(root)) for root in (folder, other))
    if brought and theirs.keys() - ours.keys():
        what = (
            f"words about types come in under {', '.join(theirs)}; "
            f"the tables of ours are under {', '.join(ours) or 'no licence that is named'}"
        )
        merging.chooser.choose("licence", "tables", what, (BOTH,))
        merging.notes.append(f"Licences of the tables: {', '.join(ours | theirs)}.")


def _package(folder: Path) -> dict[str, Any]:
    try:
        found = json.loads((folder / PACKAGE_FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _licences(package: Mapping[str, Any]) -> dict[str, Any]:
    found = package.get("licenses")
    named = [item for item in found if isinstance(item, dict)] if isinstance(found, list) else []
    return {str(item.get("name") or item.get("path")): item for item in named}


def _plan(merging: Merging) -> MergePlan:
    return MergePlan(
        tuple(merging.incoming),
        tuple(merging.new_types),
        tuple(merging.new_sources),
        merging.known,
        merging.opinions_added,
        tuple(dict.fromkeys(merging.chooser.conflicts)),
        tuple(dict.fromkeys(merging.chooser.open)),
        tuple(merging.notes),
    )


def _put_photos(change: Change, merging: Merging, root: Path, other: Path) -> None:
    """Stage the photos that come in, under names that follow from their ids."""
    used = {row["file"].casefold() for row in merging.ours.tables[PHOTOS]}
    for row in merging.replaced:
        change.remove(row["file"])
        used.add(row["file"].casefold())
    wrong = []
    for id_, row in merging.incoming.items():
        source = other / row["file"]
        try:
            row["file"] = _free_file(root, id_, _ending(source), used)
            if sha256_of(source) != row["sha256"]:
                raise PhotoError("its file is not the one that was labelled (its hash)")
            change.put(row["file"], source)
        except PhotoError as error:
            wrong.append(f"their photo {id_}: {error.message}")
    if wrong:
        raise ShareError("The sets are not merged.", wrong, hint="Check the other set first.")


def _ending(source: Path) -> str:
    try:
        with source.open("rb") as handle:
            return ending_of(handle.read(_ENOUGH))
    except OSError as error:
        raise PhotoError(f"its file cannot be read ({error.strerror})") from error


def _free_file(root: Path, photo_id: str, ending: str, used: set[str]) -> str:
    """Return a file name for a photo that nothing in the set has yet."""
    file, number = photo_name(photo_id, ending), 2
    while file.casefold() in used or (root / file).exists():
        file, number = photo_name(f"{photo_id}_{number}", ending), number + 1
    used.add(file.casefold())
    return file


def _put_tables(change: Change, merging: Merging, root: Path, other: Path) -> None:
    before = Side.read(root)
    contents: dict[str, bytes] = {}
    for file, columns in COLUMNS.items():
        rows: list[Row] = merging.ours.tables[file]
        if rows != before.tables[file]:
            contents[file] = change.table(file, columns, rows)
    if not contents:
        return
    package = json.loads(datapackage_bytes(root, contents))
    licences = _licences(_package(root))
    if any(conflict.name == "licence:tables" for conflict in merging.chooser.conflicts):
        package["licenses"] = list((licences | _licences(_package(other))).values())
    text = json.dumps(package, indent=2, ensure_ascii=False) + "\n"
    change.put(PACKAGE_FILE, text.encode("utf-8"))
