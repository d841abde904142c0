"""Which file names may come out of a package or go into one.

A name has to mean the same file on every system: what is a harmless name on one can be a
device, a drive or another name for the same file on the next.
"""

from __future__ import annotations

import hashlib
import unicodedata

MAX_PART, MAX_PATH = 120, 240  # bytes of UTF-8; common file systems take 255 a part
_DEVICES = frozenset(
    {"con", "prn", "aux", "nul", "conin$", "conout$", "clock$"}
    | {f"{port}{number}" for port in ("com", "lpt") for number in "0123456789¹²³"}
)
_FORBIDDEN = frozenset('<>:"|?*\\')
_LONGEST_ID = 80


def name_fault(name: str) -> str:
    """Say why a path from a package may not be used; an empty string when it may."""
    if not name or len(name.encode("utf-8", "replace")) > MAX_PATH:
        return "its name is empty" if not name else "its name is too long"
    if any(unicodedata.category(letter) in ("Cc", "Cf", "Cs") for letter in name):
        return "its name holds control characters"
    if name.startswith(("/", "\\")):
        return "its path is absolute"
    if name[1:2] == ":":
        return "its path names a drive"
    if ".." in name.replace("\\", "/").split("/"):
        return "its path climbs out of the package"
    for part in name.split("/"):
        fault = _part_fault(part)
        if fault:
            return fault
    return ""


def _part_fault(part: str) -> str:
    if part in ("", "."):
        return "its path has an empty part"
    if len(part.encode("utf-8")) > MAX_PART:
        return "its name is too long"
    bad = sorted(_FORBIDDEN & set(part))
    if bad:
        return f"its name holds {' '.join(bad)}"
    if part.startswith((".", " ")) or part.endswith((".", " ")):
        return "its name begins with a dot or space, or ends with one"
    if unicodedata.normalize("NFKC", part).casefold().split(".")[0].strip() in _DEVICES:
        return "its name is that of a device on some systems"
    return ""


def same_file_key(name: str) -> str:
    """Return what two names share when some system would take them for one file."""
    folded = unicodedata.normalize("NFKC", name).casefold()
    return unicodedata.normalize("NFKC", folded)


def photo_name(photo_id: str, ending: str) -> str:
    """Return where a photo is kept in a package: photos/ID.ending.

    The name follows from the id alone, so that the name a camera or an owner once gave the
    file stays at home. Ids hold no underscore, so what stands aside with one collides with none.
    """
    stem = photo_id
    if len(stem) > _LONGEST_ID:
        digest = hashlib.sha256(photo_id.encode("utf-8")).hexdigest()[:12]
        stem = f"{photo_id[:_LONGEST_ID]}_{digest}"
    elif stem in _DEVICES:
        stem = f"_{stem}"
    return f"photos/{stem}{ending}"
