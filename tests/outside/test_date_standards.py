"""Dates against published standards.

Sources: Library of Congress, "Extended Date/Time Format (EDTF) Specification", 4 February 2019,
https://www.loc.gov/standards/datetime/ (part of ISO 8601-2:2019); astronomical year numbering
as in ISO 8601 and, with 1 BC = 0 and n BC = 1 - n, https://en.wikipedia.org/wiki/Year_zero.
"""

from __future__ import annotations

import pytest

from simsearch.errors import DateError
from simsearch.sets.dates import (
    DateRange,
    astronomical_from_ad,
    astronomical_from_bc,
    parse_edtf,
    year_words,
)


@pytest.mark.parametrize(
    ("edtf", "expected"),
    [
        # Level 0, date with year precision and time interval
        ("1985", DateRange("1985", 1985, 1985)),
        ("1964/2008", DateRange("1964/2008", 1964, 2008)),
        # Level 1, qualification of a date
        (
            "1984?",
            DateRange("1984?", 1984, 1984, earliest_uncertain=True, latest_uncertain=True),
        ),
        # Level 1, negative calendar year
        ("-1985", DateRange("-1985", -1985, -1985)),
        # Level 1, extended interval: open ends (year forms of the examples with months)
        ("1985/..", DateRange("1985/..", 1985, None)),
        ("../1985", DateRange("../1985", None, 1985)),
        # Level 1, qualifiers at either end (year form of 1984-06-02?/2004-08-08~)
        (
            "1984?/2004~",
            DateRange("1984?/2004~", 1984, 2004, earliest_uncertain=True, latest_circa=True),
        ),
    ],
)
def test_examples_of_the_specification_that_are_supported(edtf: str, expected: DateRange) -> None:
    assert parse_edtf(edtf) == expected


@pytest.mark.parametrize(
    ("edtf", "says"),
    [
        ("1985-04-12", "only years"),  # level 0, day
        ("1985-04", "only years"),  # level 0, month
        ("1985-04-12T23:20:30", "times of day"),  # level 0, date and time
        ("2004-06/2006-08", "only years"),  # level 0, interval of months
        ("2004-02-01/2005", "only years"),  # level 0, mixed precision
        ("Y170000002", "letters"),  # level 1, long year
        ("2001-21", "only years"),  # level 1, season
        ("201X", "unspecified"),  # level 1, unspecified digit
        ("20XX", "unspecified"),
        ("2004-XX", "unspecified"),
        ("1985-04-12/..", "only years"),  # level 1, open end at a day
        ("1985-04-12/", "only years"),  # level 1, unknown end
        ("1985/", "empty end"),
        ("Y-17E7", "letters"),  # level 2, exponential year
        ("1950S2", "letters"),  # level 2, significant digits
        ("[1667,1668, 1670..1672]", "sets"),  # level 2, one of a set
        ("{1960,1961-12}", "sets"),  # level 2, all members
        ("2004?-06-11", "only years"),  # level 2, qualifier in the middle
        ("?2004-06-~11", "before it"),  # level 2, qualifier before a part
    ],
)
def test_features_beyond_year_precision_are_refused_with_a_reason(edtf: str, says: str) -> None:
    with pytest.raises(DateError, match=says):
        parse_edtf(edtf)


@pytest.mark.parametrize(
    ("words", "year"),
    [("1 BC", 0), ("2 BC", -1), ("50 BC", -49), ("100 BC", -99), ("44 BC", -43), ("AD 1", 1)],
)
def test_years_are_astronomical_and_shown_with_eras(words: str, year: int) -> None:
    # 44 BC = -43 is the worked example in the tz list's discussion of ISO 8601 years,
    # https://mm.icann.org/pipermail/tz/1997-January/034799.html
    digits = int(words.strip("ABCD "))
    made = astronomical_from_bc(digits) if "BC" in words else astronomical_from_ad(digits)
    assert made == year
    assert year_words(year) == words
    sign = "-" if year < 0 else ""
    assert parse_edtf(f"{sign}{abs(year):04}").words() == words


def test_a_span_across_the_eras_has_no_year_nought_for_people() -> None:
    # 100 BC to AD 100 is 100 years BC and 100 years AD, not 201 years.
    dates = parse_edtf("-0099/0100")
    assert dates.years == 200
    assert dates.words() == "100 BC - AD 100"
