"""Opening a zip that came from anyone, and reading from it without believing it.

A zip says everything twice: in its directory at the end and before each file. Programs differ
in which they believe, and that is what most attacks with zips live on. Here both must agree, the
files must lie one after another without gaps or overlaps from the first byte on, and nothing
may follow the end (APPNOTE.TXT, the published description of the format, sections 4.3 to 4.5).
"""

from __future__ import annotations

import os
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from simsearch.photo import MAX_FILE_BYTES
from simsearch.share.names import name_fault, same_file_key
from simsearch.share.problems import ShareError, shown

_MB = 1_000_000
_END = struct.Struct("<4s4H2LH")
_LOCAL = struct.Struct("<4s5H3L2H")
_END64, _LOCATOR64 = struct.Struct("<4sQ2H2L4Q"), struct.Struct("<4sLQL")
_HAS_DESCRIPTOR, _ENCRYPTED = 0x0008, 0x0001 | 0x0040 | 0x2000
_LARGE = 0xFFFFFFFF  # "the real number stands in the entry's extra field"
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DIRECTORY_BYTES = 400  # of one entry in the directory, names of 240 bytes included


@dataclass(frozen=True)
class Limits:
    """How much a package may hold. Bytes are counted unpacked."""

    entries: int = 100_000
    photo_bytes: int = MAX_FILE_BYTES
    text_bytes: int = 64 * _MB
    total_bytes: int = 16_000 * _MB
    ratio: int = 100  # unpacked to packed; tables reach 20, photos hardly 2
    ratio_from: int = 1 * _MB  # small files may be packed as tightly as they like


class Archive:
    """A zip whose directory has been found to be in order."""

    def __init__(self, opened: zipfile.ZipFile, limits: Limits) -> None:
        self._opened = opened
        self._limits = limits
        self._entries = {entry.filename: entry for entry in opened.infolist()}

    @property
    def files(self) -> list[str]:
        """The names of the files in it, folders left out."""
        return [name for name in self._entries if not name.endswith("/")]

    @property
    def total_bytes(self) -> int:
        """How much the files take unpacked."""
        return sum(entry.file_size for entry in self._entries.values())

    def size(self, file: str) -> int:
        """Return the bytes of one file unpacked."""
        return self._entries[file].file_size

    def read(self, file: str) -> bytes:
        """Return the bytes of one file. Raises ``ShareError`` when they cannot be unpacked."""
        entry = self._entries[file]
        try:
            with self._opened.open(entry) as stream:
                data = stream.read(entry.file_size + 1)
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError,
                RuntimeError, NotImplementedError) as error:  # fmt: skip
            raise ShareError(f"{shown(file)}: it is damaged ({shown(str(error))})", []) from error
        if len(data) != entry.file_size:
            raise ShareError(f"{shown(file)}: it is not as long as the zip says", [])
        return data


@contextmanager
def open_archive(path: Path, limits: Limits) -> Iterator[Archive]:
    """Open a zip, every entry of its directory checked before anything is unpacked.

    Raises ``ShareError`` with every reason why it is not used.
    """
    what = f"{shown(path.name)} is not unpacked."
    try:
        handle = path.open("rb")
    except OSError as error:
        raise ShareError(f"{path} cannot be read ({error.strerror}).", []) from error
    with handle:
        try:
            start = _directory_start(handle, limits)
            opened = zipfile.ZipFile(handle)
        except ShareError:
            raise
        except Exception as error:  # a damaged directory can make the reader fail in any way
            reason = f"it is not a zip that can be read ({shown(str(error))})"
            raise ShareError(what, [reason]) from error
        with opened:
            reasons = _entry_faults(opened.infolist(), limits)
            reasons = reasons or _layout_faults(handle, opened.infolist(), start)
            if reasons:
                raise ShareError(what, reasons)
            yield Archive(opened, limits)


def _directory_start(handle: BinaryIO, limits: Limits) -> int:
    """Return where the directory begins; the zip must end with its end record, as ours do."""
    size = handle.seek(0, os.SEEK_END)
    handle.seek(max(0, size - _END.size))
    tail = handle.read()
    if len(tail) < _END.size or tail[:4] != b"PK\x05\x06":
        raise zipfile.BadZipFile("it does not end as a zip does, or something follows its end")
    _, disk, first_disk, here, count, length, start, comment = _END.unpack(tail)
    end = size - _END.size
    if _LARGE in (length, start) or count == 0xFFFF:
        end, count, length, start = _large_end(handle, end)
    elif disk or first_disk or here != count or comment:
        raise zipfile.BadZipFile("it is one part of several")
    if count > limits.entries or length > limits.entries * _DIRECTORY_BYTES:
        raise zipfile.BadZipFile(f"it has more than {limits.entries} entries")
    if start + length != end:
        raise zipfile.BadZipFile("its directory is not where its end says")
    return start


def _large_end(handle: BinaryIO, end: int) -> tuple[int, int, int, int]:
    """Return (where the end records begin, entries, bytes and start of the directory), zip64."""
    handle.seek(end - _LOCATOR64.size)
    mark, _, where, _ = _LOCATOR64.unpack(handle.read(_LOCATOR64.size))
    if mark != b"PK\x06\x07" or where + _END64.size != end - _LOCATOR64.size:
        raise zipfile.BadZipFile("the end of a large zip is not as it should be")
    handle.seek(where)
    record = _END64.unpack(handle.read(_END64.size))
    if record[0] != b"PK\x06\x06":
        raise zipfile.BadZipFile("the end of a large zip is not as it should be")
    return where, record[7], record[8], record[9]


def _entry_faults(entries: list[zipfile.ZipInfo], limits: Limits) -> list[str]:
    reasons: list[str] = []
    seen: dict[str, str] = {}
    folders: set[str] = set()
    for entry in entries:
        name = entry.orig_filename
        reasons += [f"{shown(name)}: {fault}" for fault in _faults_of(entry, limits)]
        key = same_file_key(name.rstrip("/"))
        if key in seen:
            other = "" if seen[key] == name else f" ({shown(seen[key])})"
            reasons.append(f"{shown(name)}: some systems take it for another entry{other}")
        seen[key] = name
        parts = key.split("/")
        folders |= {"/".join(parts[:depth]) for depth in range(1, len(parts))}
    for key in sorted(folders & {key for key, name in seen.items() if not name.endswith("/")}):
        reasons.append(f"{shown(key)}: it is a file and a folder at once")
    if sum(entry.file_size for entry in entries) > limits.total_bytes:
        reasons.append(f"unpacked it would be over {limits.total_bytes // _MB} MB")
    return reasons


def _faults_of(entry: zipfile.ZipInfo, limits: Limits) -> Iterator[str]:
    name, is_folder = entry.orig_filename, entry.orig_filename.endswith("/")
    fault = name_fault(name.rstrip("/") if is_folder else name)
    if fault or name != entry.filename:
        yield fault or "its name is read in two ways"
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if stat.S_ISLNK(kind):
        yield "it is a link"
    elif kind not in (0, stat.S_IFDIR if is_folder else stat.S_IFREG):
        yield "it is neither a file nor a folder"
    if entry.flag_bits & _ENCRYPTED:
        yield "it is encrypted"
    if entry.compress_type not in _METHODS:
        yield "it is compressed in a way that is not read here"
    if is_folder and (entry.file_size or entry.compress_size):
        yield "it is a folder with content"
    if entry.compress_type == zipfile.ZIP_STORED and entry.file_size != entry.compress_size:
        yield "it gives two sizes for one file"
    most = max(limits.photo_bytes, limits.text_bytes)
    if entry.file_size > most:
        yield f"it is over {most // _MB} MB"
    if entry.file_size > max(limits.ratio_from, limits.ratio * entry.compress_size):
        yield f"it is packed more tightly than {limits.ratio} to 1, as bombs are"


def _layout_faults(handle: BinaryIO, entries: list[zipfile.ZipInfo], end: int) -> list[str]:
    """Say where the files do not lie one after another as the directory says."""
    at = 0
    for entry in sorted(entries, key=lambda entry: entry.header_offset):
        name = shown(entry.filename)
        if entry.header_offset != at:
            return [f"{name}: it overlaps another entry, or something is hidden before it"]
        handle.seek(at)
        header = handle.read(_LOCAL.size)
        if len(header) < _LOCAL.size or header[:4] != b"PK\x03\x04":
            return [f"{name}: it is not where the directory says"]
        _, _, flags, method, _, _, crc, packed, size, name_length, extra = _LOCAL.unpack(header)
        stated = handle.read(name_length)
        sizes = (crc, packed, size)
        meant = (entry.CRC, entry.compress_size, entry.file_size)
        same = flags == entry.flag_bits and method == entry.compress_type
        at += _LOCAL.size + name_length + extra + entry.compress_size
        if flags & _HAS_DESCRIPTOR:
            handle.seek(at)
            length = _descriptor_length(handle.read(24), meant)
            at += length
            same = same and length > 0
        else:
            same = same and all(a in (b, _LARGE) for a, b in zip(sizes, meant, strict=True))
        encoding = "utf-8" if flags & 0x800 else "cp437"
        if not same or stated != entry.orig_filename.encode(encoding, "replace"):
            return [f"{name}: the zip says one thing of it in its directory and another before it"]
    return [] if at == end else ["something is hidden before the directory of the zip"]


def _descriptor_length(found: bytes, meant: tuple[int, int, int]) -> int:
    """Return the length of the data descriptor that says ``meant``; 0 when it does not."""
    for layout in ("<3L", "<LQQ"):
        for mark in (b"PK\x07\x08", b""):
            try:
                told = mark + struct.pack(layout, *meant)
            except struct.error:
                continue
            if found.startswith(told):
                return len(told)
    return 0
