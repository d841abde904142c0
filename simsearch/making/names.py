"""What people write in names of folders and files and in cells, and what it means here.

Everything is compared without regard to case, accents, spaces, hyphens and underscores.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Collection, Iterable, Mapping, Sequence

from simsearch.sets.licences import LICENCES
from simsearch.sets.types import Type

MAX_SLUG = 60
VIEW_WORDS: Mapping[str, str] = {
    "front": "front", "face": "front", "obverse": "front", "obv": "front",
    "back": "back", "rear": "back", "reverse": "back", "rev": "back",
    "side": "side", "profile": "side",
    "detail": "detail", "closeup": "detail", "macro": "detail",
}  # fmt: skip
COMPLETENESS_WORDS: Mapping[str, str] = {
    "complete": "complete", "whole": "complete",
    "fragment": "fragment", "frag": "fragment", "broken": "fragment", "incomplete": "fragment",
}  # fmt: skip
_TOKEN = re.compile(r"[a-z]+|[0-9]+")
_SHORT_LICENCES = {"cc0": "CC0-1.0", "publicdomain": "LicenseRef-PublicDomain"}


def plain(text: str) -> str:
    """Return text in small letters without accents."""
    letters = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in letters if not unicodedata.combining(letter))


def tokens(text: str) -> list[str]:
    """Return the runs of letters and of digits: "Knee_03-back" gives knee, 03, back."""
    return _TOKEN.findall(plain(text))


def squeezed(text: str) -> str:
    """Return only the letters and digits of a text."""
    return "".join(tokens(text))


def slug(text: str) -> str:
    """Return an id made from any text: small letters, digits, single hyphens; may be empty."""
    parts = re.findall(r"[a-z0-9]+", plain(text))
    return "-".join(parts)[:MAX_SLUG].strip("-")


def licence_id(text: str) -> str:
    """Return the SPDX id that is meant, as by "cc by 4.0"; the text itself when unknown."""
    wanted = squeezed(text)
    for licence in LICENCES:
        if squeezed(licence) == wanted:
            return licence
    return _SHORT_LICENCES.get(wanted, text)


class TypeNames:
    """Finds types by id, name or other name, also in the plural."""

    def __init__(self, types: Iterable[Type]) -> None:
        self._ids: dict[str, set[str]] = {}
        self._spelled: dict[str, str] = {}
        for kind in types:
            for name in (kind.id, kind.name, *kind.other_names):
                for form in {name, re.sub(r"\(.*?\)", "", name)}:
                    self._learn(kind.id, form)
        self._longest = max(map(len, self._ids), default=0)

    def _learn(self, type_id: str, name: str) -> None:
        key = squeezed(name)
        if not key:
            return
        plurals = {key, f"{key}es"} if key.endswith(("s", "x", "ch", "sh")) else {key, f"{key}s"}
        for form in plurals:
            self._ids.setdefault(form, set()).add(type_id)
        self._spelled.setdefault(plain(name).strip(), type_id)

    def find(self, text: str) -> frozenset[str]:
        """Return the ids of the types that this text names: none, one or several."""
        return frozenset(self._ids.get(squeezed(text), ()))

    def beginning(self, words: Sequence[str]) -> tuple[frozenset[str], int]:
        """Return the types named by the first words, and how many words those are.

        The longest name wins: "hod hill" before "hod".
        """
        found: tuple[frozenset[str], int] = (frozenset(), 0)
        joined = ""
        for count, word in enumerate(words, start=1):
            joined += word
            if len(joined) > self._longest:
                break
            if joined in self._ids:
                found = frozenset(self._ids[joined]), count
        return found

    def hint(self, text: str) -> str:
        """Return what to do about a text that names no type, with the nearest names if any."""
        near = difflib.get_close_matches(plain(text).strip()[:80], self._spelled, n=3, cutoff=0.6)
        ids = list(dict.fromkeys(self._spelled[name] for name in near))
        if ids:
            return f"Did you mean {either(ids)}?"
        return "Use the id, name or other name of a type in the set, or add the type first."


def either(words: Collection[str]) -> str:
    """Return "a", "a or b", "a, b or c"."""
    *most, last = words
    return f"{', '.join(most)} or {last}" if most else last
