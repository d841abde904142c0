"""Makes hostile packages from a good one, by a seeded chance, for tests and the script.

Four ways: bytes of the zip are spoilt; entries are renamed, doubled, linked, encrypted, packed as
bombs; values in ``datapackage.json`` are replaced by junk; cells of tables are replaced, with all
hashes made right again so that the change reaches the checks behind them.
"""

from __future__ import annotations

import csv
import io
import json
import random
import stat
import struct
import zipfile
from collections.abc import Callable
from typing import Any

from tests.share.packages import Parts, described, sealed, zipped

LINK = (stat.S_IFLNK | 0o777) << 16
NAMES = [
    "../outside.txt", "photos/../../outside.txt", "/tmp/outside.txt", "C:/outside.txt",
    "C:outside.txt", "..\\outside.txt", "photos\\..\\..\\outside.txt", "\\\\host\\share\\x",
    "photos/con", "photos/NUL.png", "photos/com1.jpg", "photos/COM¹.png", "aux", "photos/a\0.png",
    "photos/\u202egpj.exe", "photos/.hidden.png", ".changes/journal.json", "photos//x.png",
    "photos/./x.png", "photos/x.png.", "photos/x ", "photos/" + "x" * 300 + ".png",
    "photos/" + "d/" * 200 + "x.png", "photos/a:b.png", "photos/a|b.png", "photos/*.png", "", ".",
    "..", "photos", "index/index.json", "PHOTOS/knee-1.png", "photos/KNEE-1.PNG",
    "photos/knee‑1.png", "photos/ｋnee-1.png", "Types.csv", "inner.zip", "types.csv/x",
]  # fmt: skip
CELLS = [
    "=cmd|' /C calc'!A0", "@SUM(1)", "+1+cmd|'x'!A0", "-1-cmd|'x'!A0", "\t=1", "'=1", "＝1",
    "../../etc/passwd", "/etc/passwd", "photos/../types.csv", "types.csv", "C:\\x.png", "\x1b[2J",
    "\x00", "\x85", "CC-BY-NC-4.0", "All rights reserved", "javascript:alert(1)", "x" * 200_000,
    "<script>alert(1)</script>", "a" * 64, "\ud7ff", "💥", "", " ", "\r\n", '"', ",", "knee",
    "dolphin", "9999", "-9999/9999", "1/0", "nan", "inf/inf", "2026-02-30", "knee: x | knee: x",
    "jetton: not mutual", "\u202e", "1e309/1e309", "0001/..", "../..",
]  # fmt: skip
VALUES: list[Any] = [
    None, True, 0, -1, 10**30, 1e308, "", "x" * 100_000, "../x", "/etc/passwd", [], {}, [[]],
    {"path": 1}, "sha256:" + "0" * 64, "md5:" + "0" * 32, "http://evil.example/x.csv",
    "https://evil.example/", ["types.csv", "photos.csv"], "\x1b[2J", "CC-BY-NC-4.0", "types.csv",
    "photos/knee-1.png", "private.csv", [{"name": "All-Rights-Reserved"}],
]  # fmt: skip


def hostile_package(good: Parts, seed: int) -> bytes:
    """Return one hostile package; the same for the same good parts and seed."""
    chance = random.Random(seed)
    ways: list[Callable[[Parts, random.Random], bytes]] = [
        spoilt_bytes, strange_entries, junk_values, junk_cells,
    ]  # fmt: skip
    return ways[seed % len(ways)](dict(good), chance)


def spoilt_bytes(parts: Parts, chance: random.Random) -> bytes:
    """Flip, cut, double or insert bytes; half of the time in the zip's own structure."""
    method = chance.choice([zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
    data = bytearray(zipped(parts, method))
    directory = data.rfind(b"PK\x01\x02") if chance.random() < 0.5 else 0
    for _ in range(chance.randint(1, 8)):
        at = chance.randrange(directory, len(data)) if directory < len(data) else 0
        way = chance.randrange(5)
        if way == 0:
            data[at] ^= 1 << chance.randrange(8)
        elif way == 1:
            data[at : at + chance.randint(1, 40)] = b""
        elif way == 2:
            data[at:at] = chance.randbytes(chance.randint(1, 40))
        elif way == 3:
            data[at : at + 4] = struct.pack("<L", chance.choice([0, 1, 0xFFFF, 0xFFFFFFFF]))
        else:
            del data[at:]
        if not data:
            break
    return bytes(data)


def strange_entries(parts: Parts, chance: random.Random) -> bytes:
    """Rename, double, add, drop, link, encrypt or blow up entries."""
    out = io.BytesIO()
    target = chance.choice(list(parts))
    way = chance.randrange(8)
    if way == 0:
        del parts[target]
    if way == 1:
        parts[target] = chance.randbytes(chance.randint(0, 300))
    if way == 2 and target != "datapackage.json":
        # Listed under a strange name too: only the name is wrong.
        name = chance.choice([name for name in NAMES if name])
        text = parts["datapackage.json"].decode().replace(json.dumps(target), json.dumps(name))
        parts = {name if old == target else old: data for old, data in parts.items()}
        parts["datapackage.json"] = text.encode("utf-8", "replace")
    with zipfile.ZipFile(out, "w") as package:
        for name, data in parts.items():
            entry = zipfile.ZipInfo(name)
            entry.filename = name  # with a null character, which the constructor cuts off
            if name == target and way == 3:
                entry.external_attr = chance.choice([LINK, stat.S_IFIFO << 16, stat.S_IFCHR << 16])
            package.writestr(entry, data)
        if way >= 4:
            name = chance.choice([*NAMES, target])
            method = chance.choice([zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2])
            data = chance.choice([b"", b"x", bytes(2_000_000), zipped(parts), parts[target]])
            entry = zipfile.ZipInfo("added")
            entry.filename = name
            entry.compress_type = method
            entry.external_attr = chance.choice([0, 0, LINK])
            package.writestr(entry, data)
    data_out = out.getvalue()
    return _encrypted(data_out) if way == 3 and chance.random() < 0.3 else data_out


def _encrypted(data: bytes) -> bytes:
    """Say of the first entry, in both places, that it is encrypted."""
    changed = bytearray(data)
    changed[6] |= 1
    changed[data.index(b"PK\x01\x02") + 8] |= 1
    return bytes(changed)


def junk_values(parts: Parts, chance: random.Random) -> bytes:
    """Replace, drop or add values of datapackage.json."""
    package = described(parts)
    for _ in range(chance.randint(1, 3)):
        holder: Any = package
        while True:
            keys = list(holder) if isinstance(holder, dict) else list(range(len(holder)))
            key = chance.choice(keys)
            if isinstance(holder[key], (dict, list)) and holder[key] and chance.random() < 0.7:
                holder = holder[key]
                continue
            break
        if chance.random() < 0.2:
            del holder[key]
        else:
            holder[key] = chance.choice(VALUES)
        if not package:
            break
    text = json.dumps(package)
    if chance.random() < 0.1:
        text = chance.choice(
            ["[" * 100_000, '{"name": NaN}', "[]", "null", "", text[:-1], text * 2]
        )
    return zipped(parts | {"datapackage.json": text.encode()})


def junk_cells(parts: Parts, chance: random.Random) -> bytes:
    """Replace cells, rows or headers of tables; sizes and hashes are made right again."""
    for _ in range(chance.randint(1, 3)):
        file = chance.choice([name for name in parts if name.endswith(".csv")])
        try:
            rows = list(csv.reader(io.StringIO(parts[file].decode(), newline="")))
        except (csv.Error, UnicodeDecodeError):
            continue
        row = chance.randrange(len(rows))
        way = chance.randrange(6)
        if way == 0:
            rows.append(rows[row])
        elif way == 1:
            del rows[row][-1:]
        else:
            rows[row][chance.randrange(len(rows[row]))] = chance.choice(CELLS)
        out = io.StringIO(newline="")
        csv.writer(out).writerows(rows)
        parts[file] = out.getvalue().encode("utf-8", "replace")
        if chance.random() < 0.05:
            parts[file] = chance.choice([b"\xff\xfe", b"", b'"', b"\x00" * 50]) + parts[file]
        if not rows or not rows[0]:
            break
    return zipped(sealed(parts))
