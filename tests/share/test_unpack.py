"""Unpacking by hand-made attacks, each refused for its own reason, and nothing left behind.

The attacks are the published ones on zip readers: paths that climb out, links, bombs by ratio and
by overlapping files, two files under one name, directory and local headers that disagree
(APPNOTE.TXT 4.3 to 4.5), and device names (reserved names of Windows).
"""

from __future__ import annotations

import io
import json
import stat
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from simsearch.errors import SimsearchError
from simsearch.sets.check import check_set
from simsearch.sets.reference_set import open_set
from simsearch.share.archive import Limits
from simsearch.share.names import name_fault, same_file_key
from simsearch.share.problems import ShareError
from simsearch.share.unpack import unpack_set
from tests.share.packages import (
    TITLE,
    Parts,
    club_set,
    described,
    everything_under,
    packed,
    parts_of,
    sealed,
    write_private,
    zipped,
)
from tests.share.test_plain import SECRET, gps
from tests.tiny_set import picture


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Parts:
    return parts_of(packed(club_set(tmp_path_factory.mktemp("good") / "set", 1)))


def refused(package: bytes, place: Path, **options: Any) -> str:
    """Unpack; return the error after making sure that nothing has been written anywhere."""
    source = place / "package.zip"
    source.write_bytes(package)
    before = everything_under(place)
    with pytest.raises(ShareError) as caught:
        unpack_set(source, place / "set", **options)
    assert everything_under(place) == before
    return str(caught.value)


def with_entry(good: Parts, name: str, data: bytes = b"x", **changes: Any) -> bytes:
    out = io.BytesIO(zipped(good))
    with zipfile.ZipFile(out, "a") as package:
        entry = zipfile.ZipInfo("added")
        entry.filename = name
        for key, value in changes.items():
            setattr(entry, key, value)
        package.writestr(entry, data)
    return out.getvalue()


def test_a_good_package_becomes_the_same_set(good: Parts, tmp_path: Path) -> None:
    source = tmp_path / "a.zip"
    source.write_bytes(zipped(good, zipfile.ZIP_DEFLATED))
    steps: list[tuple[int, int]] = []
    unpacked = unpack_set(source, tmp_path / "set", progress=lambda *at: steps.append(at))
    reference = open_set(unpacked.folder)
    assert reference.title == TITLE
    assert (unpacked.photos, unpacked.types, unpacked.notes) == (3, 3, ())
    assert steps == [(1, 3), (2, 3), (3, 3)]
    errors = [p for p in check_set(unpacked.folder) if p.severity == "error"]
    assert {p.where for p in errors} <= {"index"}  # which is to be built
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.zip", "set"]


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("../outside.csv", "climbs out"),
        ("photos/../../outside.csv", "climbs out"),
        ("..\\outside.csv", "climbs out"),
        ("/etc/outside.csv", "absolute"),
        ("\\\\host\\share\\x.csv", "absolute"),
        ("C:/outside.csv", "drive"),
        ("photos/a:b.png", "holds :"),
        ("photos/con.png", "device"),
        ("photos/LPT1", "device"),
        ("photos/com¹.png", "device"),
        ("photos/a\0b.png", "control characters"),
        ("photos/\u202egpj.exe", "control characters"),
        (".changes/journal.json", "begins with a dot"),
        ("photos/x.png.", "ends with one"),
        ("photos/" + "x" * 200 + ".png", "too long"),
        ("photos/" + "d/" * 200 + "x.png", "too long"),
        ("photos//x.png", "empty part"),
        ("PHOTOS/KNEE-1.png", "some systems take it for another"),
        ("photos/ｋnee-1.png", "some systems take it for another"),
        ("Types.csv", "some systems take it for another"),
        ("photos", "a file and a folder at once"),
        ("more.csv", "does not list it"),
        ("inner.zip", "a zip inside the zip"),
        ("index/index.json", "does not list it"),
    ],
)
def test_names_of_entries(good: Parts, tmp_path: Path, name: str, reason: str) -> None:
    assert reason in refused(with_entry(good, name), tmp_path)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"external_attr": (stat.S_IFLNK | 0o777) << 16}, "it is a link"),
        ({"external_attr": stat.S_IFIFO << 16}, "neither a file nor a folder"),
        ({"external_attr": stat.S_IFBLK << 16}, "neither a file nor a folder"),
        ({"compress_type": zipfile.ZIP_BZIP2}, "compressed in a way"),
        ({"compress_type": zipfile.ZIP_LZMA}, "compressed in a way"),
    ],
)
def test_kinds_of_entries(
    good: Parts, tmp_path: Path, changes: dict[str, int], reason: str
) -> None:
    assert reason in refused(with_entry(good, "photos/x.png", **changes), tmp_path)


def test_two_entries_of_one_name(good: Parts, tmp_path: Path) -> None:
    with pytest.warns(UserWarning, match="Duplicate"):
        package = with_entry(good, "types.csv", good["types.csv"])
    assert "another entry" in refused(package, tmp_path)


def test_encrypted_entries(good: Parts, tmp_path: Path) -> None:
    data = bytearray(zipped(good))
    data[6] |= 1  # in the local header (APPNOTE 4.4.4, bit 0) and in the directory
    data[data.index(b"PK\x01\x02") + 8] |= 1
    assert "encrypted" in refused(bytes(data), tmp_path)


def test_bombs(good: Parts, tmp_path: Path) -> None:
    small = Limits(entries=4, total_bytes=1000, text_bytes=500)
    assert "more than 4 entries" in refused(zipped(good), tmp_path, limits=small)
    tight = Limits(total_bytes=1000, text_bytes=500)
    assert "unpacked it would be over" in refused(zipped(good), tmp_path, limits=tight)
    tight = Limits(text_bytes=1_000, photo_bytes=100)
    assert "datapackage.json: it is over 0 MB" in refused(zipped(good), tmp_path, limits=tight)
    parts = sealed(good | {"sources.csv": good["sources.csv"] + b"\r\n" * 2_000_000})
    bomb = zipped(parts, zipfile.ZIP_DEFLATED)
    assert "more tightly than 100 to 1" in refused(bomb, tmp_path)


def test_a_picture_that_is_a_bomb(good: Parts, tmp_path: Path) -> None:
    out = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(out, "PNG")
    assert len(out.getvalue()) < 100_000
    assert "megapixels" in refused(exchanged(good, out.getvalue()), tmp_path)


def exchanged(good: Parts, data: bytes) -> bytes:
    """Exchange a photo for other bytes, with every hash made right."""
    old = next(r for r in described(good)["resources"] if r["path"] == "photos/knee-1.png")
    parts = sealed(good | {"photos/knee-1.png": data})
    new = next(r for r in described(parts)["resources"] if r["path"] == "photos/knee-1.png")
    digests = [r["hash"].removeprefix("sha256:").encode() for r in (old, new)]
    return zipped(sealed(parts | {"photos.csv": parts["photos.csv"].replace(*digests)}))


@pytest.mark.parametrize(
    "data", [b"", b"MZ not a picture", b"PK\x03\x04 a zip", b"<svg onload='x'/>", b"\xff\xd8\xff"]
)
def test_pictures_that_are_not_pictures(good: Parts, tmp_path: Path, data: bytes) -> None:
    assert "photos/knee-1.png" in refused(exchanged(good, data), tmp_path)


def test_a_photo_that_carries_a_place_is_drawn_again(good: Parts, tmp_path: Path) -> None:
    out = io.BytesIO()
    picture((200, 40, 40), 3, side=30).save(out, "JPEG", exif=gps())
    (tmp_path / "a.zip").write_bytes(exchanged(good, out.getvalue()))
    unpacked = unpack_set(tmp_path / "a.zip", tmp_path / "set")
    assert "without metadata: knee-1" in " ".join(unpacked.notes)
    kept = [data for data in everything_under(unpacked.folder).values() if data is not None]
    assert not any(SECRET in data for data in kept)
    assert (unpacked.folder / "photos/knee-1.jpg").is_file()


def test_files_that_overlap(good: Parts, tmp_path: Path) -> None:
    """Many names for the same bytes: how a small zip unpacks to terabytes."""
    data = bytearray(zipped(good))
    first = data.index(b"PK\x01\x02")
    second = data.index(b"PK\x01\x02", first + 4)
    data[second + 42 : second + 46] = data[first + 42 : first + 46]
    assert "overlaps" in refused(bytes(data), tmp_path)


def test_a_directory_and_headers_that_disagree(good: Parts, tmp_path: Path) -> None:
    data = bytearray(zipped(good))
    data[22:26] = struct.pack("<L", 7)  # the size in the first local header (APPNOTE 4.3.7)
    assert "one thing" in refused(bytes(data), tmp_path)
    renamed = zipped(good).replace(b"types.csv", b"typos.csv", 1)
    assert "one thing" in refused(renamed, tmp_path)


class _NoSeek(io.RawIOBase):
    """A stream as a pipe is: the zip writer then puts sizes after the data (APPNOTE 4.3.9)."""

    def __init__(self) -> None:
        self.data = bytearray()

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self.data += bytes(data)
        return len(data)


def streamed(parts: Parts) -> bytearray:
    out = _NoSeek()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:  # type: ignore[call-overload]
        for name, content in parts.items():
            package.writestr(name, content)
    return out.data


def test_sizes_after_the_data_are_believed_only_when_they_agree(
    good: Parts, tmp_path: Path
) -> None:
    data = streamed(good)
    assert data.count(b"PK\x07\x08") == len(good)
    lying = bytearray(data)
    at = lying.index(b"PK\x07\x08")
    lying[at + 12 : at + 16] = struct.pack("<L", 3)
    assert "one thing" in refused(bytes(lying), tmp_path)
    (tmp_path / "good.zip").write_bytes(data)
    unpack_set(tmp_path / "good.zip", tmp_path / "set")


@pytest.mark.parametrize("where", ["before", "between", "after"])
def test_content_hidden_around_the_files(good: Parts, tmp_path: Path, where: str) -> None:
    data = zipped(good)
    if where == "before":
        data = b"MZ another program" + data
    elif where == "after":
        data += b"more"
    else:
        at = data.index(b"PK\x01\x02")
        end = data[:-6] + struct.pack("<L", at + 4) + data[-2:]
        data = end[:at] + b"more" + end[at:]
    refused(data, tmp_path)


@pytest.mark.parametrize(
    "data", [b"", b"PK", b"PK\x05\x06" + bytes(18), b"not a zip", b"PK\x05\x06" + b"\xff" * 18]
)
def test_what_is_no_zip(tmp_path: Path, data: bytes) -> None:
    refused(data, tmp_path)


def test_wrong_hashes_missing_and_unlisted_files_are_told_together(
    good: Parts, tmp_path: Path
) -> None:
    parts = dict(good)
    del parts["photos/knee-1.png"]
    told = refused(zipped(parts | {"extra.txt": b"x", "more/y.txt": b"y"}), tmp_path)
    for reason in ("photos/knee-1.png: datapackage.json lists it", "extra.txt", "more/y.txt"):
        assert reason in told
    changed = {"photos/knee-1.png": good["photos/dolphin-1.png"], "sources.csv": b"id\r\n"}
    told = refused(zipped(good | changed), tmp_path)
    assert told.count("it is not the file that datapackage.json lists") == 2


def rewritten(good: Parts, change: Callable[[dict[str, Any]], Any]) -> bytes:
    package = described(good)
    change(package)
    return zipped(good | {"datapackage.json": json.dumps(package).encode()})


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda p: p.update(licenses=[{"name": "CC-BY-NC-4.0"}]), "'CC-BY-NC-4.0' is not an open"),
        (lambda p: p.update(title="\x1b[2J"), "its title is not plain text"),
        (lambda p: p.update(name="../x"), "its name must be"),
        (lambda p: p.update(resources={}), "no resources"),
        (lambda p: p["resources"].append({"path": "http://x.example/a.csv"}), "on the network"),
        (lambda p: p["resources"].append({"path": ["a.csv"]}), "no path to one file"),
        (lambda p: p["resources"].append(p["resources"][0]), "listed twice"),
        (lambda p: p["resources"].append({"path": "more.csv"}), "no part of a set"),
        (lambda p: p["resources"][0].update(hash="md5:" + "0" * 32), "no hash that begins with"),
        (lambda p: p["resources"][0].pop("bytes"), "does not say its bytes"),
        (lambda p: p["resources"].remove(next(r for r in p["resources"] if r["name"] == "types")),
         "does not list types.csv"),
        (lambda p: next(r for r in p["resources"] if r["name"] == "photo-knee-1").update(
            licenses=[{"name": "MIT"}]), "licence is unclear"),
    ],
)  # fmt: skip
def test_what_a_package_says_of_itself(
    good: Parts, tmp_path: Path, change: Callable[[dict[str, Any]], Any], reason: str
) -> None:
    assert reason in refused(rewritten(good, change), tmp_path)


@pytest.mark.parametrize(
    "text", [b"\xff", b"[]", b"{", b"[" * 200_000, b'{"name": "a", "name": "b"}', b"1" * 9999]
)
def test_descriptions_that_cannot_be_read(good: Parts, tmp_path: Path, text: bytes) -> None:
    refused(zipped(good | {"datapackage.json": text}), tmp_path)


def test_a_folder_that_was_zipped_whole_is_explained(good: Parts, tmp_path: Path) -> None:
    parts = {f"set/{name}": data for name, data in good.items()}
    assert "zip what is in the folder" in refused(zipped(parts), tmp_path)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        (b"CC0-1.0", b"CC-BY-NC-4.0", "not an open licence"),
        (b",photos/knee-1.png,", b",../../x.png,", "not in the package"),
        (b"knee-1,photos", b"../knee,photos", "not a usable id"),
        (b"rendered for the tests", b"\x1b]0;x\x07", "control characters"),
        (b",rendered,Harrow", b",photo,Harrow", "say rendered"),
        (b",knee,knee-1,", b",nail,knee-1,", "no type 'nail'"),
    ],
)
def test_tables_are_checked_before_a_set_appears(
    good: Parts, tmp_path: Path, old: bytes, new: bytes, reason: str
) -> None:
    assert old in good["photos.csv"]
    parts = sealed(good | {"photos.csv": good["photos.csv"].replace(old, new)})
    assert reason in refused(zipped(parts), tmp_path)


def test_formulas_from_anyone_are_made_harmless(good: Parts, tmp_path: Path) -> None:
    attack = b"=cmd|' /C calc'!A0"
    for number, guarded in enumerate((b"", b"'")):
        table = good["photos.csv"].replace(b"the tests,", guarded + attack + b",")
        (tmp_path / "a.zip").write_bytes(zipped(sealed(good | {"photos.csv": table})))
        unpacked = unpack_set(tmp_path / "a.zip", tmp_path / f"set-{number}")
        assert {p.labelled_by for p in open_set(unpacked.folder).photos} == {f"'{attack.decode()}"}
        assert any("labelled_by" in note for note in unpacked.notes)


def test_opinions_on_photos_that_are_not_there(good: Parts, tmp_path: Path) -> None:
    table = b"photo,specimen,type,by,on,authority,note\r\nnail-1,n,knee,A,2026-01-01,seen,\r\n"
    package = described(good)
    package["resources"].append({"name": "opinions", "path": "opinions.csv"})
    parts = good | {"opinions.csv": table, "datapackage.json": json.dumps(package).encode()}
    assert "nail-1" in refused(zipped(sealed(parts)), tmp_path)


def test_a_private_table_comes_in_with_a_word(tmp_path: Path) -> None:
    folder = club_set(tmp_path / "set")
    write_private(folder, {"photo": "knee-1", "consent": "given", "findspot": "Long Meadow"})
    unpacked = unpack_set(packed(folder, with_private=True), tmp_path / "out")
    assert open_set(unpacked.folder).private["knee-1"].findspot == "Long Meadow"
    assert any("private" in note for note in unpacked.notes)


def test_nothing_that_is_there_is_touched(good: Parts, tmp_path: Path) -> None:
    source = tmp_path / "a.zip"
    source.write_bytes(zipped(good))
    (tmp_path / "there").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    for name in ("there", "link", "a.zip", "no/such"):
        with pytest.raises(ShareError):
            unpack_set(source, tmp_path / name)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.zip", "link", "there"]
    with pytest.raises(ShareError, match="cannot be read"):
        unpack_set(tmp_path / "none.zip", tmp_path / "set")


@pytest.mark.parametrize("moment", ["photos", "tables", "rename"])
def test_stopped_half_way_nothing_is_left(
    good: Parts, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str
) -> None:
    def stop(*_: Any, **__: Any) -> None:
        raise KeyboardInterrupt if moment == "photos" else OSError(28, "No space left on device")

    where = {"photos": "plain_photo", "tables": "write_datapackage", "rename": "os.rename"}
    monkeypatch.setattr(f"simsearch.share.unpack.{where[moment]}", stop)
    (tmp_path / "a.zip").write_bytes(zipped(good))
    with pytest.raises((SimsearchError, KeyboardInterrupt)):
        unpack_set(tmp_path / "a.zip", tmp_path / "set")
    assert [path.name for path in tmp_path.iterdir()] == ["a.zip"]


def test_names_that_are_fine() -> None:
    for name in ("photos/knee-1.jpg", "types.csv", "photos/_con.jpg", "photos/Fibel-ä.png"):
        assert name_fault(name) == ""
    assert same_file_key("ﬁbel") == same_file_key("FIBEL")
