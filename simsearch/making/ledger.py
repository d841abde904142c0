"""What was brought into a set, by the bytes of the files it came from: ``added.csv``.

Photos are stored anew (upright, smaller, without metadata), so the stored file does not tell
which file it came from. This table does, and so an import that was stopped can go on, and a
photo that was withdrawn stays out: its row stays, without the photo's id.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from simsearch.files import sha256_of
from simsearch.sets.problems import Problem, raise_errors
from simsearch.sets.reference_set import ReferenceSet
from simsearch.sets.tables import read_rows

LEDGER_FILE = "added.csv"
LEDGER_COLUMNS = ("sha256", "bytes", "photo", "on")

file_hash = sha256_of


@dataclass(frozen=True)
class KnownFile:
    """A file that is in the set as ``photo``, or was withdrawn when that is empty.

    ``added`` says that it was brought in from such a file, rather than put there as it is.
    """

    photo: str
    added: bool


@dataclass
class Known:
    """Files whose content is known, by hash; ``sizes`` spares reading those that cannot be."""

    files: dict[str, KnownFile] = field(default_factory=dict)
    sizes: set[int] = field(default_factory=set)

    @classmethod
    def of(cls, reference: ReferenceSet) -> Known:
        """Return the files that a set knows. Raises ``TablesError`` for a damaged ledger."""
        known = cls()
        for photo in reference.photos:
            known.files[photo.sha256] = KnownFile(photo.id, added=False)
            known.sizes.add(reference.path_of(photo).stat().st_size)
        for row in read_ledger(reference.folder):
            if row["photo"] or row["sha256"] not in known.files:
                known.files[row["sha256"]] = KnownFile(row["photo"], added=True)
            known.sizes.add(int(row["bytes"]) if row["bytes"].isdecimal() else -1)
        return known

    def like(self, path: Path, size: int) -> KnownFile | None:
        """Return what is known of a file with this content, reading it only when need be."""
        return self.files.get(file_hash(path)) if size in self.sizes else None


def read_ledger(folder: Path) -> list[Mapping[str, str]]:
    """Read the ledger; a set without one has none. Raises ``TablesError`` when it is damaged."""
    path = folder / LEDGER_FILE
    if not path.exists():
        return []
    problems: list[Problem] = []
    rows = read_rows(path, LEDGER_COLUMNS, problems)
    raise_errors(problems)
    return [row.cells for row in rows]


def withdrawn(
    rows: Iterable[Mapping[str, str]], photo_ids: set[str], day: str
) -> list[Mapping[str, str]]:
    """Return the ledger with the ids of withdrawn photos taken out of it."""
    return [{**row, "photo": "", "on": day} if row["photo"] in photo_ids else row for row in rows]
