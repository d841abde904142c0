"""Search types by words, forgiving spelling.

A word is looked for in every type's names first, then in its other names, its group, period,
material and references, and last in what is seen on it. A word that occurs nowhere is taken for
the word of this set that is spelt most like it, and the answer says so; one that is like none is
left out, and the answer says that too.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from rapidfuzz import process
from rapidfuzz.distance import OSA

if TYPE_CHECKING:
    from simsearch.sets.types import Type

_LETTERS = re.compile(r"[^\W_]+")
# Words that tell no type from another; dropped unless nothing else was asked for.
_SMALL = frozenset(
    ("a", "an", "and", "at", "for", "in", "its", "of", "on", "or", "the", "to", "with")
)
# What a word is worth by where it stands, and where the page says it stood.
_PLACES: tuple[tuple[str, float], ...] = (
    ("name", 100.0), ("other name", 40.0), ("kind", 12.0), ("features", 4.0),
)  # fmt: skip
_WHOLE, _BEGINNING, _INSIDE = 1.0, 0.8, 0.6
_SHORTEST_INSIDE = 4
"""Shorter words are looked for at the beginnings of words only: "pin" is not in "opinion"."""
_NAME_IS, _OTHER_NAME_IS, _NAME_BEGINS = 1000.0, 500.0, 100.0
_MISSPELT = 0.9


@dataclass(frozen=True)
class Found:
    """One type that was found, and in which places its words stood, best place first."""

    type: Type
    score: float
    places: tuple[str, ...]


@dataclass(frozen=True)
class Taken:
    """A word that occurs nowhere, and the word of the set that it was taken for."""

    written: str
    taken: str


@dataclass(frozen=True)
class Search:
    """What was found, best first, and how the words were understood.

    ``unknown`` are words like none in the set; they were left out. ``partly`` is true where no
    type holds all the words, so that ``found`` are those that hold the most of them.
    """

    found: tuple[Found, ...]
    taken: tuple[Taken, ...] = ()
    unknown: tuple[str, ...] = ()
    partly: bool = False

    @property
    def types(self) -> tuple[Type, ...]:
        """The types found, best first."""
        return tuple(found.type for found in self.found)

    def notes(self) -> list[str]:
        """How the words were understood, a sentence each; empty when all was plain."""
        notes = [f"“{t.written}” was taken for “{t.taken}”." for t in self.taken]
        if self.unknown and self.found:
            left = ", ".join(f"“{word}”" for word in self.unknown)
            notes.append(f"{left} occurs in no type here and was left out.")
        if self.partly:
            notes.append("No type holds all these words; these hold the most of them.")
        return notes


def search_types(types: Iterable[Type], wanted: str) -> Search:
    """Find the types that ``wanted`` is about; without any word, all of them in their order."""
    entries = [_Entry(kind) for kind in types]
    words = wanted_words(wanted)
    if not words:
        return Search(tuple(Found(entry.type, 0.0, ()) for entry in entries))
    vocabulary = _vocabulary(entries)
    meant, taken, unknown = _understood(words, vocabulary)
    if not meant:
        return Search((), unknown=tuple(unknown))
    rated = [(entry, [entry.rate(word) for word in meant]) for entry in entries]
    most = max((sum(rate > 0 for rate, _ in rates) for _, rates in rated), default=0)
    if most == 0:
        return Search((), tuple(taken), tuple(unknown))
    slips = {t.taken for t in taken}
    phrase = " ".join(meant)
    found = [
        _found(entry, rates, phrase, meant, slips)
        for entry, rates in rated
        if sum(rate > 0 for rate, _ in rates) == most
    ]
    found.sort(key=lambda item: -item.score)  # stable: equals stay in the set's order
    return Search(tuple(found), tuple(taken), tuple(unknown), partly=most < len(meant))


def wanted_words(text: str) -> list[str]:
    """The words of a search as they are compared: lower case, no accents, no plural ending."""
    words = list(dict.fromkeys(_tokens(text)))
    telling = [word for word in words if word not in _SMALL]
    return telling or words


def plain(text: str) -> str:
    """Lower case without accents: "La Tène" and "la tene" are the same to a search."""
    spread = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in spread if not unicodedata.combining(letter))


def _tokens(text: str) -> list[str]:
    return [_singular(word) for word in _LETTERS.findall(plain(text))]


def _singular(word: str) -> str:
    """Drop the plural ending; the same is done to both sides, so it need not be good English."""
    if len(word) > 5 and word.endswith("ies"):
        return f"{word[:-3]}y"
    if len(word) > 5 and word.endswith(("ches", "shes", "sses", "xes")):
        return word[:-2]
    if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
        return word[:-1]
    return word


class _Entry:
    """One type's words by place, as they are compared."""

    def __init__(self, kind: Type) -> None:
        self.type = kind
        self.names = [" ".join(_tokens(kind.name)), " ".join(_tokens(kind.id))]
        self.other_names = [" ".join(_tokens(name)) for name in kind.other_names]
        seen = [*kind.features.values(), kind.survives, kind.breaks, *kind.checks]
        kinds = [
            kind.group, kind.period, kind.material, kind.dates.words(), kind.pin_fixing,
            *kind.typology,
        ]  # fmt: skip
        self.words: Mapping[str, frozenset[str]] = {
            "name": _with_pairs(self.names),
            "other name": _with_pairs(self.other_names),
            "kind": frozenset(token for text in kinds for token in _tokens(text)),
            "features": frozenset(token for text in seen for token in _tokens(text)),
        }

    def rate(self, word: str) -> tuple[float, str]:
        """What the word is worth here and in which place it stands: (0, "") when nowhere."""
        for place, worth in _PLACES:
            how = _held(word, self.words[place])
            if how:
                return worth * how, place
        return 0.0, ""


def _with_pairs(texts: Sequence[str]) -> frozenset[str]:
    """Every word, and every two neighbours run together: "hodhill" is how some write it."""
    words: set[str] = set()
    for text in texts:
        parts = text.split()
        words.update(parts)
        words.update(first + second for first, second in pairwise(parts))
    return frozenset(words)


def _held(word: str, words: frozenset[str]) -> float:
    if word in words:
        return _WHOLE
    if word.isdigit() or len(word) == 1:
        return 0.0  # 50 is not in 150, nor the beginning of 500; "P" means that letter
    if any(other.startswith(word) for other in words):
        return _BEGINNING
    inside = len(word) >= _SHORTEST_INSIDE and any(word in other for other in words)
    return _INSIDE if inside else 0.0


def _vocabulary(entries: Sequence[_Entry]) -> dict[str, float]:
    """Every word of the set with what it is worth: words of names are likelier meant."""
    worth: dict[str, float] = {}
    for entry in entries:
        for place, value in _PLACES:
            for word in entry.words[place]:
                worth[word] = max(worth.get(word, 0.0), value)
    return worth


def _understood(
    words: Sequence[str], vocabulary: Mapping[str, float]
) -> tuple[list[str], list[Taken], list[str]]:
    known = frozenset(vocabulary)
    meant: list[str] = []
    taken: list[Taken] = []
    unknown: list[str] = []
    for word in words:
        if _held(word, known):
            meant.append(word)
        elif close := _spelt_like(word, vocabulary):
            meant.append(close)
            taken.append(Taken(word, close))
        else:
            unknown.append(word)
    return list(dict.fromkeys(meant)), taken, unknown


def _slips_allowed(word: str) -> int:
    """Wrong, missing, added or swapped letters that a word of this length may have."""
    return 0 if len(word) < 4 else 1 if len(word) < 6 else 2 if len(word) < 9 else 3


def _spelt_like(word: str, vocabulary: Mapping[str, float]) -> str:
    """The word of the set that this is most likely a slip for; empty when there is none."""
    allowed = _slips_allowed(word)
    if allowed == 0 or word.isdigit():
        return ""
    close = process.extract(
        word, list(vocabulary), scorer=OSA.distance, score_cutoff=allowed, limit=None
    )
    # Fewest slips; then the same first letter, which people rarely get wrong; then names first.
    ranked = sorted(
        (slips, other[:1] != word[:1], -vocabulary[other], other) for other, slips, _ in close
    )
    return ranked[0][3] if ranked else ""


def _found(
    entry: _Entry,
    rates: Sequence[tuple[float, str]],
    phrase: str,
    meant: Sequence[str],
    slips: set[str],
) -> Found:
    score = sum(
        rate * (_MISSPELT if word in slips else 1.0)
        for word, (rate, _) in zip(meant, rates, strict=True)
    )
    if phrase in entry.names:
        score += _NAME_IS
    elif phrase in entry.other_names:
        score += _OTHER_NAME_IS
    elif any(name.startswith(phrase) for name in entry.names):
        score += _NAME_BEGINS
    stood = {place for _, place in rates}
    return Found(entry.type, score, tuple(place for place, _ in _PLACES if place in stood))
