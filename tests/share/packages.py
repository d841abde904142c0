"""Small sets and packages for the tests of sharing. Everything in them is invented."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from simsearch.sets.datapackage import write_datapackage
from simsearch.sets.opinions import OPINION_COLUMNS
from simsearch.sets.private import PRIVATE_COLUMNS
from simsearch.sets.reference_set import open_set
from simsearch.sets.tables import read_rows
from simsearch.sets.write import write_csv
from simsearch.share.pack import export_set
from tests.tiny_set import make_set

TITLE = "Harrow Fen Finds Club (invented)"
Parts = dict[str, bytes]


def club_set(folder: Path, photos_per_type: int = 2) -> Path:
    """Make a described set of three types; return its folder."""
    make_set(folder, photos_per_type)
    write_datapackage(folder, name="harrow-fen", title=TITLE, licence="CC0-1.0")
    return folder


def change_rows(
    folder: Path, file: str, columns: tuple[str, ...], change: Callable[[list[Any]], Any]
) -> None:
    """Read a table, let ``change`` edit the list of its rows, write it again."""
    rows = [dict(row.cells) for row in read_rows(folder / file, columns, [])]
    change(rows)
    write_csv(folder / file, columns, rows)
    write_datapackage(folder)


def write_private(folder: Path, *rows: Mapping[str, str]) -> None:
    empty = dict.fromkeys(PRIVATE_COLUMNS, "")
    write_csv(folder / "private.csv", PRIVATE_COLUMNS, [empty | row for row in rows])


def write_opinions(folder: Path, *rows: Mapping[str, str]) -> None:
    empty = dict.fromkeys(OPINION_COLUMNS, "")
    write_csv(folder / "opinions.csv", OPINION_COLUMNS, [empty | row for row in rows])


def packed(folder: Path, **options: Any) -> Path:
    """Pack the set in ``folder`` beside it; return the zip."""
    return export_set(open_set(folder), folder.with_suffix(".zip"), replace=True, **options).path


def parts_of(package: Path) -> Parts:
    """Return the files in a zip by name, in their order."""
    with zipfile.ZipFile(package) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def described(parts: Parts) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(parts["datapackage.json"])
    return found


def sealed(parts: Parts) -> Parts:
    """Return the parts with sizes and hashes in datapackage.json made right again."""
    package = described(parts)
    for resource in package["resources"]:
        data = parts.get(resource.get("path"))
        if data is not None:
            resource["bytes"] = len(data)
            resource["hash"] = f"sha256:{hashlib.sha256(data).hexdigest()}"
    return parts | {"datapackage.json": json.dumps(package).encode("utf-8")}


def zipped(parts: Mapping[str, bytes], method: int = zipfile.ZIP_STORED) -> bytes:
    """Return a zip of the parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as package:
        for name, data in parts.items():
            package.writestr(name, data)
    return out.getvalue()


def everything_under(folder: Path) -> dict[str, bytes | None]:
    """Return every path under a folder with its bytes, to see whether anything has changed."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else None
        for path in sorted(folder.rglob("*"))
    }
