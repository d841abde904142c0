"""Hundreds of hostile answers, made from seeds: a clear error or a reason, and nothing else.

Each case runs the whole way from the first document to the folder. Sizes are kept small by
smaller limits than the usual ones; the checks are the same.
"""

from __future__ import annotations

import csv
import functools
import gzip
import json
import random
import re
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from simsearch.bring.fetch import bring_photos
from simsearch.bring.mediawiki import question
from simsearch.bring.polite import Limits
from simsearch.bring.walk import offers_from_iiif, offers_from_mediawiki
from simsearch.errors import SimsearchError
from simsearch.sets.licences import LICENCES
from tests.bring.documents import (
    canvas_three,
    collection_three,
    manifest_three,
    manifest_two,
    wiki_answer,
    wiki_page,
)
from tests.bring.server import Reply, Site, Waits, client_for, jpeg, serving

LIMITS = Limits(json_bytes=200_000, picture_bytes=100_000, seconds=60, tries=2)
CASES = 400
GROUPS = 8
EVIL_TEXTS = (
    "../../../etc/passwd", "..\\..\\x", "CON", "a/b", "/abs", "C:\\x", "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>", "=cmd|' /C calc'!A0", "+1", "-1", "@SUM(A1)", "\x00\x01\n\r\t",
    "\u202egpj.exe", "\ud800", "x" * 100_000, "<" * 5_000, "&#x110000;&#0;&amp" * 50, "",
    "💥" * 300, "<!DOCTYPE [", "<![CDATA[x", "<!--", '"', ",,,\r\n,,,",
)  # fmt: skip
EVIL_VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 10**300, 1e308, -1e-308, [], {}, [[]], [None], {"": ""}, [[[{}]]],
    {"@value": {}}, {"en": {}}, {"en": [[]]}, {"id": 3, "type": []}, "sc:Manifest", "Collection",
)  # fmt: skip
EVIL_ADDRESSES = (
    "file:///etc/passwd", "http://127.0.0.2/x", "http://[::1]/x", "http://169.254.169.254/", "//x",
    "http://localhost.invalid/x", "javascript:1", "http://[", "http://a:b@127.0.0.1/", "ftp://a/b",
    "http://127.0.0.1:1/x", "http://" + "a" * 3_000, "http://exa\nmple.org", "http://\ud800/", "",
)  # fmt: skip


def nodes(document: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) of a document."""
    found, waiting = [], [document]
    while waiting:
        part = waiting.pop()
        keys = part.keys() if isinstance(part, dict) else range(len(part))
        for key in keys:
            found.append((part, key))
            if isinstance(part[key], dict | list):
                waiting.append(part[key])
    return found


def spoiled(document: Any, chance: random.Random) -> Any:
    """The document with a few places replaced, removed or grown."""
    document = json.loads(json.dumps(document))
    for _ in range(chance.randint(1, 4)):
        places = nodes(document)
        if not places:
            break
        part, key = chance.choice(places)
        kind = chance.randrange(5)
        if kind == 0:
            part[key] = chance.choice(EVIL_VALUES)
        elif kind == 1:
            part[key] = chance.choice(EVIL_TEXTS)
        elif kind == 2:
            part[key] = chance.choice(EVIL_ADDRESSES)
        elif kind == 3 and isinstance(part, dict):
            del part[key]
        else:
            part[key] = [part[key]] * chance.choice((0, 1, 3, 300))
    return document


def reworded(document: Any, chance: random.Random) -> Any:
    """A sound document whose texts for people are all evil ones."""
    document = json.loads(json.dumps(document))
    fields = (
        "label",
        "title",
        "attribution",
        "requiredStatement",
        "Artist",
        "Credit",
        "ObjectName",
    )
    for part, key in nodes(document):
        if key in fields and isinstance(part[key], str):
            part[key] = chance.choice(EVIL_TEXTS)
        elif key in fields and isinstance(part[key], dict):
            for inner, place in nodes(part[key]):
                if isinstance(inner[place], str):
                    inner[place] = chance.choice(EVIL_TEXTS)
    return document


def bad_json(document: Any, chance: random.Random) -> Reply:
    """An answer that is no document, or one in a broken wrapping."""
    body = json.dumps(document).encode()
    packed = gzip.compress(body)
    bomb = packed_bomb()
    far = (
        chance.choice(EVIL_ADDRESSES)
        .encode("utf-8", "ignore")
        .replace(b"\n", b"")
        .decode("latin-1")
    )
    choices: list[Callable[[], Reply]] = [
        lambda: Reply(body[: chance.randrange(len(body))]),
        lambda: Reply(b'{"a":' * chance.choice((50, 500, 30_000))),
        lambda: Reply(b"[" * 300 + b"]" * 300),
        lambda: Reply(chance.randbytes(chance.randrange(2_000))),
        lambda: Reply(body.replace(b"4000", b"9" * 5_000)),
        lambda: Reply(body.replace(b"4000", b"1e999")),
        lambda: Reply(b"<html>" + body, headers={"Content-Type": "text/html"}),
        lambda: Reply(body.decode().encode("utf-16")),
        lambda: Reply(bomb, headers={"Content-Encoding": "gzip"}),
        lambda: Reply(packed[:-9], headers={"Content-Encoding": "gzip"}),
        lambda: Reply(body, headers={"Content-Encoding": chance.choice(("gzip", "br", "x\ty"))}),
        lambda: Reply(body, headers={"Content-Length": str(len(body) + 50)}),
        lambda: Reply(body, headers={"Content-Length": chance.choice(("99999999999", "-1", "x"))}),
        lambda: Reply(b"[" + b"{}," * 60_000 + b"{}]"),
        lambda: Reply(b" " * 300_000),
        lambda: Reply(b"", chance.choice((204, 206, 304, 400, 418, 500, 599))),
        lambda: Reply(b"", 503, {"Retry-After": chance.choice(("-1", "9" * 40, "never", "1"))}),
        lambda: Reply(b"", chance.choice((301, 302, 303, 307, 308)), {"Location": far}),
        lambda: Reply(b"", 302, {"Location": "/start"}),
        lambda: Reply(b"", 302),
    ]
    return chance.choice(choices)()


@functools.cache
def packed_bomb() -> bytes:
    """A small file that unpacks to five megabytes."""
    return gzip.compress(bytes(5_000_000))


def bad_picture(chance: random.Random) -> Reply:
    """Bytes that are no picture, or one that swells."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    side = chance.choice((50_000, 2_000_000_000))
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0))
    bomb = (
        b"\x89PNG\r\n\x1a\n"
        + header
        + chunk(b"IDAT", zlib.compress(bytes(99_000)))
        + chunk(b"IEND", b"")
    )
    good = jpeg()
    return chance.choice([
        Reply(bomb), Reply(good[: chance.randrange(1, len(good))]), Reply(b""),
        Reply(b"<svg xmlns='http://www.w3.org/2000/svg'/>"), Reply(b"GIF89a" + bytes(50)),
        Reply(chance.randbytes(500)), Reply(good + bytes(200_000)), Reply(b"<html>no", 200),
        Reply(good, headers={"Content-Length": "100"}), Reply(b"", 302, {"Location": "file:///x"}),
        Reply(packed_bomb(), headers={"Content-Encoding": "gzip"}),
        Reply(good, headers={"Content-Type": "text/html"}),
    ])  # fmt: skip


def documents(base: str) -> dict[str, Any]:
    """Sound documents to spoil, by path; the first is where a run begins."""
    three = [canvas_three(base, name, f"View {name}") for name in "ab"]
    members = [("Manifest", "/three"), ("Manifest", "/two"), ("Collection", "/start")]
    wiki = wiki_answer([wiki_page(base, number, f"Knee {number}") for number in (1, 2)])
    return {
        "/start": collection_three(base, "/start", members),
        "/three": manifest_three(base, "/three", "Brooch", three),
        "/two": manifest_two(base, "/two", "Coin", ["obverse", "reverse"]),
        "/w/api.php": wiki,
    }


def set_up(site: Site, chance: random.Random) -> None:
    """Serve sound documents with some of them spoiled."""
    site.routes.clear()
    sound = documents(site.base)
    for path, document in sound.items():
        site.put_json(path, document)
    spoil = chance.choice(["/w/api.php", "/w/api.php", "/start", "/three", "/three", "/two"])
    way = chance.random()
    if way < 0.25:
        site.put_json(spoil, reworded(sound[spoil], chance))
    elif way < 0.7:
        site.put_json(spoil, spoiled(sound[spoil], chance))
    elif way < 0.95:
        site.routes[spoil] = bad_json(sound[spoil], chance)
    for path in (
        "/thumb/1.jpg", "/thumb/2.jpg", "/original/1.jpg", "/images/a.jpg",
        "/iiif/a/full/!1600,1600/0/default.jpg", "/iiif/obverse/full/!1600,1600/0/default.jpg",
    ):  # fmt: skip
        site.put_picture(path)
        if chance.random() < 0.4:
            site.routes[path] = bad_picture(chance)


def check_folder(folder: Path) -> int:
    """Only plain files with plain names; only open licences; texts that do nothing."""
    for path in folder.rglob("*"):
        assert path.is_file() and path.parent == folder
        assert re.fullmatch(
            r"[a-z0-9-]+\.(jpg|png|webp|tif|bmp|heic)|brought\.csv|left-out\.csv", path.name
        )
        assert path.stat().st_size <= 2_000_000
    with (folder / "brought.csv").open(encoding="utf-8", newline="") as handle:
        found = list(csv.DictReader(handle))
    for row in found:
        assert (folder / row["file"]).is_file()
        assert row["licence"] in LICENCES and row["creator"] and row["source"].startswith("http")
        for text in row.values():
            assert text[:1] not in ("=", "+", "-", "@")
            assert text.isprintable() and "<script" not in text and len(text) <= 2_000
    return len(found)


def run_case(site: Site, seed: int, folder: Path) -> str:
    """One case; says what came of it. Anything but a SimsearchError escapes and fails the test."""
    chance = random.Random(f"hostile {seed}")
    set_up(site, chance)
    site.asked.clear()
    waits = Waits()
    with client_for(site, waits, limits=LIMITS, resolve=numbers_only) as client:
        if seed % 2:
            offers = offers_from_iiif(client, f"{site.base}/start", side=1600, max_documents=30)
        else:
            asked = question(category="Knee", side=1600)
            offers = offers_from_mediawiki(
                client, f"{site.base}/w/api.php", asked, max_documents=30
            )
        try:
            outcome = bring_photos(client, offers, folder, most=20)
        except SimsearchError as error:
            assert error.message and len(error.message) < 1_000
            outcome = None
    assert len(site.asked) < 400 and sum(waits) < 4_000
    kept = check_folder(folder)
    if outcome is None:
        return "error"
    for item in outcome.left_out:
        assert item.reason and item.reason.isprintable() and item.what.isprintable()
    return "left out" if outcome.left_out else f"kept {kept}"


def numbers_only(host: str, port: int) -> list[str]:
    """An address book with numbers alone, so that no case asks the real network for a name."""
    import socket

    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_NUMERICHOST)
    return [str(entry[4][0]) for entry in found]


@pytest.mark.parametrize("group", range(GROUPS))
def test_hostile_answers_give_errors_or_reasons_only(group: int, tmp_path: Path) -> None:
    outcomes: dict[str, int] = {}
    with serving() as site:
        for seed in range(group, CASES, GROUPS):
            folder = tmp_path / str(seed)
            folder.mkdir()
            outcome = run_case(site, seed, folder)
            outcomes[outcome] = outcomes.get(outcome, 0) + 1
    # The cases must bite: of each group some end in an error and some in a reason.
    odd = group % 2 == 1
    assert outcomes.get("left out", 0) >= 3 or not odd
    assert outcomes.get("error", 0) + outcomes.get("left out", 0) >= 10
