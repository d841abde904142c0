"""Dates: parsing, words, sums with years, refusals."""

from __future__ import annotations

import pytest

from simsearch.errors import DateError
from simsearch.sets.dates import (
    astronomical_from_ad,
    astronomical_from_bc,
    era_from_astronomical,
    parse_edtf,
    year_words,
)


@pytest.mark.parametrize(
    ("edtf", "words"),
    [
        ("-0049~/0060", "c. 50 BC - AD 60"),
        ("0043/0065~", "AD 43 - c. AD 65"),
        ("-0099/-0049", "100 BC - 50 BC"),
        ("1850~/..", "c. 1850 to today"),
        ("../0060", "up to AD 60"),
        ("0043", "AD 43"),
        ("0043~", "c. AD 43"),
        ("0043?", "perhaps AD 43"),
        ("0043%/1000", "perhaps c. AD 43 - 1000"),
        ("0999/1000", "AD 999 - 1000"),
        ("0000/0001", "1 BC - AD 1"),
    ],
)
def test_words(edtf: str, words: str) -> None:
    assert parse_edtf(edtf).words() == words


def test_qualifiers_belong_to_their_own_end() -> None:
    dates = parse_edtf("-0049~/0060?")
    assert (dates.earliest, dates.latest) == (-49, 60)
    assert (dates.earliest_circa, dates.latest_circa) == (True, False)
    assert (dates.earliest_uncertain, dates.latest_uncertain) == (False, True)
    both = parse_edtf("0043%")
    assert both.earliest_circa and both.earliest_uncertain
    assert both.latest_circa and both.latest_uncertain


def test_spaces_round_the_date_are_forgiven() -> None:
    assert parse_edtf(" 0043/0065 ").edtf == "0043/0065"


@pytest.mark.parametrize(
    ("edtf", "says"),
    [
        ("", "empty"),
        ("../..", "says nothing"),
        ("/0060", "empty end"),
        ("0060/", "empty end"),
        ("0060/0043", "ends before it begins"),
        ("-0049/-0099", "50 BC is after 100 BC"),
        ("43/65", "four-figure"),
        ("-50", "four-figure"),
        ("-0000", "four-figure"),
        ("50 BC", "four-figure"),
        ("0043/0065/0070", "more than two"),
        ("..", "four-figure"),
        ("0043~?", "four-figure"),
        ("٠٠٤٣", "four-figure"),
    ],
)
def test_refusals_say_why(edtf: str, says: str) -> None:
    with pytest.raises(DateError, match=says) as caught:
        parse_edtf(edtf)
    assert caught.value.hint


def test_there_is_no_year_nought_for_people() -> None:
    with pytest.raises(DateError, match="0 BC"):
        astronomical_from_bc(0)
    with pytest.raises(DateError, match="AD 0"):
        astronomical_from_ad(0)


@pytest.mark.parametrize("year", [-4999, -449, -49, -1, 0, 1, 60, 1850])
def test_eras_there_and_back(year: int) -> None:
    number, era = era_from_astronomical(year)
    back = astronomical_from_bc(number) if era == "BC" else astronomical_from_ad(number)
    assert back == year
    assert number >= 1


def test_year_words_change_at_the_eras() -> None:
    assert [year_words(y) for y in (-1, 0, 1, 999, 1000)] == [
        "2 BC",
        "1 BC",
        "AD 1",
        "AD 999",
        "1000",
    ]


def test_overlap_is_of_whole_years_with_both_ends() -> None:
    early, late = parse_edtf("0043/0065"), parse_edtf("0065/0100")
    assert early.overlaps(late) and late.overlaps(early)
    assert early.shared_years(late) == 1
    apart = parse_edtf("0066/0100")
    assert not early.overlaps(apart)
    assert early.shared_years(apart) == 0


def test_overlap_agrees_with_counting_years() -> None:
    texts = ["-0049/0060", "0000/0000", "0001/0200", "-0099/-0050", "0060", "0061/0070"]
    ranges = [parse_edtf(text) for text in texts]
    for one in ranges:
        for other in ranges:
            years = [year for year in range(-200, 300) if one.contains(year)]
            shared = [year for year in years if other.contains(year)]
            assert len(years) == one.years
            assert one.shared_years(other) == len(shared)
            assert one.overlaps(other) == bool(shared)


def test_open_ends_overlap_everything_on_their_side() -> None:
    modern, old = parse_edtf("1850/.."), parse_edtf("../1850")
    assert modern.contains(9999) and not modern.contains(1849)
    assert modern.overlaps(old)
    assert modern.shared_years(old) == 1
    assert modern.shared_years(parse_edtf("1900/..")) is None
    assert modern.years is None
