"""Odds and lists in plain words."""

from __future__ import annotations

import pytest

from simsearch.page import words


@pytest.mark.parametrize(
    ("odds", "amount"),
    [
        (0.0, "fewer than 1 in 20"),
        (0.049, "fewer than 1 in 20"),
        (0.05, "about 1 in 10"),
        (0.34, "about 3 in 10"),
        (0.61, "about 6 in 10"),
        (0.95, "about 9 in 10"),
        (0.951, "more than 19 in 20"),
        (1.0, "more than 19 in 20"),
    ],
)
def test_odds_are_tenths_and_never_certain(odds: float, amount: str) -> None:
    assert words.odds_words(odds) == f"{amount} of such leads were right in our tests"


def test_unknown_odds_say_nothing() -> None:
    assert words.odds_words(None) == ""


def test_counting() -> None:
    assert words.count(1, "photo") == "1 photo"
    assert words.count(0, "photo") == "0 photos"
    assert words.count(2, "is", "are") == "2 are"


def test_lengths_in_words() -> None:
    assert words.length_words(None) == ""
    assert words.length_words((25.0, 60.5)) == "25 to 60.5 mm"
    assert words.length_words((12.0, 12.0)) == "12 mm"


def test_close_ids_know_slips_and_parts_of_names() -> None:
    ids = ["colchester", "colchester-derivative-harlow", "knee", "trumpet"]
    assert words.close_ids("trumpte", ids) == ["trumpet"]
    assert words.close_ids("Colchester", ids)[:1] == ["colchester"]
    assert "colchester-derivative-harlow" in words.close_ids("derivative harlow", ids)
    assert words.close_ids("zzz", ids) == []


@pytest.mark.parametrize(
    ("seen", "says"),
    [
        (0.03, "only a small part of"),
        (0.12, "about a tenth of"),
        (0.3, "about a third of"),
        (0.48, "about half of"),
        (0.7, "about two thirds of"),
        (0.84, "most of"),
        (0.95, "nearly all of"),
    ],
)
def test_how_much_is_present_is_said_cautiously(seen: float, says: str) -> None:
    assert words.seen_words(seen) == f"{says} this type's outline seems to be present"
