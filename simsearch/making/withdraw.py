"""Taking photos out of a set so that nothing of them stays."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from pathlib import Path

from simsearch.errors import SetError
from simsearch.making.ledger import LEDGER_FILE, withdrawn
from simsearch.making.tables import Tables, require_photo
from simsearch.sets.changes import changing
from simsearch.sets.opinions import OPINIONS_FILE
from simsearch.sets.private import PRIVATE_FILE
from simsearch.sets.reference_set import INDEX_FOLDER

PHOTOS_FILE = "photos.csv"


def withdraw_photos(folder: Path | str, photo_ids: Collection[str]) -> None:
    """Take photos out of a set: files, rows, opinions, private rows and index rows at once.

    Of each only the hash of the file it came from stays, so that bringing in the same folder
    again does not bring it back. Raises ``SetError`` when a photo is unknown (nothing is changed
    then) or another program is writing to the set.
    """
    # Imported here: numbers are only needed once there is something to take out.
    from simsearch.index.without import index_files_without

    root = Path(folder)
    ids = set(photo_ids)
    if not ids:
        raise SetError("No photo is named.", hint="Give the ids of the photos to withdraw.")
    with changing(root) as change:
        tables = Tables(root, change)
        rows = tables.rows(PHOTOS_FILE)
        gone = [require_photo(rows, photo_id, root) for photo_id in sorted(ids)]
        for row in gone:
            change.remove(row["file"])
        tables.keep(PHOTOS_FILE, lambda row: row["id"] not in ids)
        for table in (OPINIONS_FILE, PRIVATE_FILE):
            tables.keep(table, lambda row: row["photo"] not in ids)
        ledger = tables.rows(LEDGER_FILE)
        if any(row["photo"] in ids for row in ledger):
            today = date.today().isoformat()
            tables.replace(LEDGER_FILE, withdrawn(ledger, ids, today))
        tables.save()
        files = index_files_without(root / INDEX_FOLDER, ids, stage=change.stage)
        for file, content in files.put.items():
            change.put(file, content)
        for file in files.remove:
            change.remove(file)
