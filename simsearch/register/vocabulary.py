"""Ids of open vocabularies for the words of a record, where they are known; empty where not.

- The Art & Architecture Thesaurus (AAT) of the Getty Vocabulary Program, ODC-By 1.0, for materials.
- The Periods list of Historic England at heritagedata.org, Open Government Licence.
- The DCMI Type Vocabulary, CC BY 4.0.

None could be opened when this was written, so no entry is "read": "second-hand" was seen with this
meaning in published data or code of others, "from memory" is what its name says. Only words that
say the same are given an id; a part of a known period is given the id of the whole, as "broader"
(SKOS). Kinds of object are left empty: no id of them was known well enough.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

EXACT, BROADER = "exact", "broader"
PHYSICAL_OBJECT = "http://purl.org/dc/dcmitype/PhysicalObject"
_AAT = "http://vocab.getty.edu/aat/"
_PERIODS = "http://purl.org/heritagedata/schemes/eh_period/concepts/"


@dataclass(frozen=True)
class Term:
    """One word of a vocabulary: its id, and where that was learnt."""

    word: str
    uri: str
    basis: str


MATERIALS = (
    Term("copper alloy", f"{_AAT}300010942", "second-hand"),
    Term("bronze", f"{_AAT}300010957", "second-hand"),
    Term("brass", f"{_AAT}300010946", "second-hand"),
    Term("copper", f"{_AAT}300011020", "second-hand"),
    Term("iron", f"{_AAT}300011002", "second-hand"),
    Term("lead", f"{_AAT}300011022", "second-hand"),
    Term("silver", f"{_AAT}300011029", "second-hand"),
    Term("gold", f"{_AAT}300011021", "second-hand"),
)
PERIODS = (
    Term("neolithic", f"{_PERIODS}NE", "second-hand"),
    Term("bronze age", f"{_PERIODS}BA", "from memory"),
    Term("iron age", f"{_PERIODS}IA", "from memory"),
    Term("roman", f"{_PERIODS}RO", "second-hand"),
    Term("early medieval", f"{_PERIODS}EM", "from memory"),
    Term("medieval", f"{_PERIODS}MD", "from memory"),
    Term("post medieval", f"{_PERIODS}PM", "second-hand"),
)
# Words for a part of a period, or for a people within it.
_PART = re.compile(r"(?:early|earlier|middle|mid|late|later) ")
_WITHIN = {"anglo-saxon": "early medieval", "viking age": "early medieval"}


def material_id(words: str) -> str:
    """The id of a material; empty when the words are not exactly one that is known."""
    return _uri(MATERIALS, words.strip().casefold())


def period_id(words: str) -> tuple[str, str]:
    """The id of a period and "exact" or "broader"; two empty texts when none is known."""
    plain = words.strip().casefold().replace("post-medieval", "post medieval")
    exact = _uri(PERIODS, plain)
    if exact:
        return exact, EXACT
    whole = _PART.sub("", plain, count=1)
    broader = _uri(PERIODS, _WITHIN.get(whole, whole))
    return (broader, BROADER) if broader else ("", "")


def _uri(terms: tuple[Term, ...], word: str) -> str:
    return next((term.uri for term in terms if term.word == word), "")
