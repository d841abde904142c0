"""The list of types as the page shows it, for tests."""

from __future__ import annotations

from simsearch.browse.filters import Wanted, filter_types
from simsearch.page import browsing
from simsearch.sets.reference_set import ReferenceSet


def listing(reference: ReferenceSet, words: str = "", **choices: str) -> str:
    """The list for these words and, by facet, one choice each."""
    wanted = Wanted(words, {name: frozenset([label]) for name, label in choices.items()})
    filtered = filter_types(reference.types.values(), wanted)
    return browsing.render_listing(reference, filtered, wanted)
