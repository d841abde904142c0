"""Making a new set: a folder with types and no photos yet."""

from __future__ import annotations

from pathlib import Path

from simsearch.errors import SetError
from simsearch.making.tables import COLUMNS
from simsearch.sets.changes import CHANGES_FOLDER, changing
from simsearch.sets.datapackage import datapackage_bytes
from simsearch.sets.reference_set import PACKAGE_FILE, open_set, shipped_set_folder
from simsearch.sets.write import LOCK_FILE, csv_text

_CORE = ("types.csv", "photos.csv", "sources.csv")
_COPIED = ("types.csv", "sources.csv")


def make_set(
    folder: Path | str,
    title: str,
    *,
    types_from: Path | str | None = None,
    with_types: bool = True,
) -> Path:
    """Make a set without photos in a folder that is new or empty; return the folder.

    ``types_from`` is a set whose types and sources it gets, the shipped one without it; with
    ``with_types`` false it has none. Raises ``SetError`` when there is something in the folder
    or the other set is not sound.
    """
    root = Path(folder)
    if not title.strip():
        raise SetError("A set needs a title.", hint="Give the name that people are to read.")
    contents = {name: csv_text(COLUMNS[name], ()).encode("utf-8") for name in _CORE}
    if with_types:
        other = Path(types_from) if types_from is not None else shipped_set_folder()
        open_set(other)  # a set that is not sound would hand its faults on
        contents |= {name: (other / name).read_bytes() for name in _COPIED}
    _require_empty(root)
    try:
        root.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = f"{root} cannot be made ({error.strerror})."
        raise SetError(what, hint="Choose another place.") from error
    with changing(root) as change:
        _require_empty(root)  # again, now that nobody else can write
        for name, content in contents.items():
            change.put(name, content)
        change.put(PACKAGE_FILE, datapackage_bytes(root, contents, title=title.strip()))
    (root / "photos").mkdir(exist_ok=True)
    return root


def _require_empty(folder: Path) -> None:
    """Left-overs of a set that was never finished do not count as content."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise SetError(f"{folder} is a file.", hint="Give a new or empty folder.")
    present = [path.name for path in folder.iterdir()]
    if any(name not in (LOCK_FILE, CHANGES_FOLDER) for name in present):
        raise SetError(f"There is something in {folder}.", hint="Give a new or empty folder.")
