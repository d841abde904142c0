"""Tables that somebody made to break what reads them, by a seeded chance."""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Sequence

NASTY = (
    "", " ", "\x00", "\x1b[2J", "\ufeff", "\u202egpj", "\u2028", "a\nb", "a\r\nb", '"', '""', "'",
    "=1+1", '=HYPERLINK("http://example.org")', "@SUM(A1)", "+cmd|' /C calc'!A0", "-1+1", "\t=1",
    "../../x.jpg", "/etc/passwd", "..\\..\\x", "C:\\x.jpg", "\\\\host\\x", "file:///etc/passwd",
    "photos.csv", "link.jpg", "deep/link/0.jpg", "sub", ".", "..", "0.jpg/", "x" * 5000,
    "é" * 300, "発見", "NaN", "-0", "9" * 400, "1e999", "true", "None", "null", "{}", "[]", "<b>",
    "${HOME}", "%00", "%2e%2e/x", "a;b", "a,b", "a|b", "knee", "dolphin", "KNEE ", "k nee",
    "CC-BY-4.0", "CC-BY-NC-4.0", "2026-02-30", "2026-01-01", "rendered", "front", "refused",
)  # fmt: skip
COLUMNS = (
    "file", "type", "id", "specimen", "view", "completeness", "condition", "kind", "creator",
    "licence", "source", "labelled_by", "label_basis", "labelled_on", "note", "consent", "contact",
    "findspot", "gps", "private note", "sha256", "File", "", "type ", "=1+1", "colour",
)  # fmt: skip
_ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-be", "latin-1", "cp1252")


def hostile_import(chance: random.Random) -> bytes:
    """Return a table for an import: right in part, so that it is read far enough."""
    header = ["file", "type", *chance.sample(COLUMNS, chance.randint(0, 8))]
    chance.shuffle(header)
    rows = [header]
    for _ in range(chance.randint(0, 6)):
        row = [_cell(chance, name) for name in header]
        if chance.random() < 0.2:
            row = row[: chance.randint(0, len(row))] + [chance.choice(NASTY)] * chance.randint(0, 3)
        rows.append(row)
    return _spoiled(_written(chance, rows), chance)


def hostile_table(content: bytes, chance: random.Random) -> bytes:
    """Return one of a set's own tables with some cells or bytes exchanged."""
    rows = list(csv.reader(io.StringIO(content.decode("utf-8"), newline="")))
    for _ in range(chance.randint(1, 4)):
        row = chance.choice(rows)
        if row:
            row[chance.randrange(len(row))] = chance.choice(NASTY)
        if chance.random() < 0.2:
            rows.append(list(chance.choice(rows)))
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    spoiled = text.getvalue().encode("utf-8", errors="replace")
    return _spoiled(spoiled, chance) if chance.random() < 0.4 else spoiled


def _cell(chance: random.Random, name: str) -> str:
    good = {"file": f"{chance.randint(0, 5)}.jpg", "type": chance.choice(["knee", "Dolphin"])}
    if name in good and chance.random() < 0.7:
        return good[name]
    return chance.choice(NASTY) if chance.random() < 0.7 else ""


def _written(chance: random.Random, rows: Sequence[Sequence[str]]) -> bytes:
    text = io.StringIO()
    end = chance.choice(["\n", "\r\n", "\r"])
    writer = csv.writer(text, delimiter=chance.choice(",;\t|"), lineterminator=end)
    writer.writerows(rows)
    return text.getvalue().encode(chance.choice(_ENCODINGS), errors="replace")


def _spoiled(content: bytes, chance: random.Random) -> bytes:
    """Cut, repeat or exchange bytes in some of the tables."""
    way = chance.randrange(8)
    place = chance.randrange(len(content) + 1)
    if way == 0:
        return content[:place]
    if way == 1:
        return content[:place] + chance.randbytes(chance.randint(1, 40)) + content[place:]
    if way == 2:
        return content[:place] + b'"' + content[place:]
    if way == 3:
        return content[:place] + b"\x00" + content[place:]
    return content
