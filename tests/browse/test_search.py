"""Search by words: ranking, slips, and saying how the words were understood."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace

import pytest

from simsearch import open_set
from simsearch.browse.search import Taken, plain, search_types, wanted_words
from simsearch.sets.types import Type


@pytest.fixture(scope="module")
def types() -> list[Type]:
    """The types that are shipped: the words people will really search among."""
    return list(open_set().types.values())


def ids(types: Sequence[Type], words: str) -> list[str]:
    return [kind.id for kind in search_types(types, words).types]


def test_without_words_every_type_is_there_in_its_order(types: list[Type]) -> None:
    assert ids(types, "  ") == [kind.id for kind in types]
    assert search_types(types, "").notes() == []


def test_an_exact_name_beats_another_name_and_that_beats_features(types: list[Type]) -> None:
    plain_type = replace(types[0], other_names=(), features={}, checks=(), breaks="", survives="")
    features = replace(plain_type, id="a", name="One", features={"front": "Like a quern."})
    other = replace(plain_type, id="b", name="Two", other_names=("quern brooch",))
    part = replace(plain_type, id="c", name="Small quern brooch")
    exact = replace(plain_type, id="d", name="Quern")
    search = search_types([features, other, part, exact], "quern")
    assert [kind.id for kind in search.types] == ["d", "c", "b", "a"]
    assert [found.places[0] for found in search.found] == [
        "name", "name", "other name", "features",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("words", "first"),
    [
        ("knee", "knee"),
        ("Colchester", "colchester"),
        ("La Tène II", "la-tene-ii-bow"),
        ("la tene ii", "la-tene-ii-bow"),
        ("hodhill", "hod-hill"),
        ("hod-hill", "hod-hill"),
        ("long cross pennies", "voided-long-cross-penny"),
        ("the thimbles", "thimble"),
    ],
)
def test_names_are_found_however_they_are_written(
    types: list[Type], words: str, first: str
) -> None:
    search = search_types(types, words)
    assert search.types[0].id == first


@pytest.mark.parametrize(
    ("written", "taken", "first"),
    [
        ("penanular", "penannular", "penannular-a"),
        ("dolfin", "dolphin", "dolphin"),
        ("trumpte", "trumpet", "trumpet"),
        ("hedstud", "headstud", "headstud"),
        ("crucifrom", "cruciform", "cruciform"),
        ("umbonat", None, "umbonate-disc"),
        ("thimbel", "thimble", "thimble"),
        ("spindel whorl", "spindle", "spindle-whorl"),
        ("dragonesk", "dragonesque", "dragonesque"),
    ],
)
def test_slips_are_forgiven_and_said(
    types: list[Type], written: str, taken: str | None, first: str
) -> None:
    search = search_types(types, written)
    assert search.types[0].id == first
    expected = () if taken is None else (Taken(written.split()[0], taken),)
    assert search.taken == expected
    assert all(f"“{t.written}” was taken for “{t.taken}”." in search.notes() for t in expected)


def test_one_slip_anywhere_in_a_name_still_finds_it(types: list[Type]) -> None:
    """Two letters swapped, one left out or one doubled, at places drawn by lot."""
    draw = random.Random(7)
    tried = right = 0
    for kind in types:
        for word in wanted_words(kind.name):
            if len(word) < 6 or word.isdigit():
                continue
            at = draw.randrange(1, len(word) - 1)
            slip = draw.choice(
                [
                    word[:at] + word[at + 1] + word[at] + word[at + 2 :],
                    word[:at] + word[at + 1 :],
                    word[:at] + word[at] + word[at:],
                ]
            )
            tried += 1
            right += kind in search_types(types, slip).types
    assert tried > 60
    assert right / tried >= 0.95


def test_every_word_must_be_there(types: list[Type]) -> None:
    both = set(ids(types, "enamel disc"))
    assert both == set(ids(types, "enamel")) & set(ids(types, "disc"))
    assert 0 < len(both) < len(ids(types, "enamel"))


def test_where_no_type_holds_all_words_that_is_said(types: list[Type]) -> None:
    search = search_types(types, "crotal thimble")
    assert search.partly
    assert {"crotal-bell", "thimble"} <= {kind.id for kind in search.types}
    assert any("No type holds all these words" in note for note in search.notes())


def test_a_word_like_none_is_left_out_and_named(types: list[Type]) -> None:
    search = search_types(types, "zeppelin knee")
    assert search.types[0].id == "knee"
    assert search.unknown == ("zeppelin",)
    assert any("zeppelin" in note for note in search.notes())
    alone = search_types(types, "zeppelin")
    assert (alone.types, alone.unknown) == ((), ("zeppelin",))


def test_numbers_are_whole_and_never_guessed(types: list[Type]) -> None:
    dates = {kind.id: wanted_words(kind.dates.words()) for kind in types}
    found = ids(types, "43")
    assert found and all("43" in dates[one] or one in found for one in found)
    assert search_types(types, "98765").unknown == ("98765",)


@pytest.mark.parametrize(
    "words", ["'", "%%%", "\x00", "a" * 5000, "(((", "ß Å ﬁ 日本", "-", "& <b>"]
)
def test_anything_may_be_typed(types: list[Type], words: str) -> None:
    search_types(types, words).notes()


def test_plain_letters() -> None:
    assert plain("LA TÈNE") == plain("la tene")
    assert wanted_words("The Buttons of the brooches") == ["button", "brooch"]
    assert wanted_words("of the") == ["of", "the"]  # better than nothing at all
