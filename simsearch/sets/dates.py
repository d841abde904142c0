"""Date ranges of types: a plain subset of the Extended Date/Time Format (EDTF).

EDTF is the Library of Congress specification of 4 February 2019, part of ISO 8601-2:2019.
Supported here, all at year precision:

- level 0: a year ``0043``, an interval of years ``0043/0065``;
- of level 1: the qualifiers ``~`` (about), ``?`` (uncertain) and ``%`` (both) after a year,
  an open end ``..``, and years before 0000 written with a minus sign.

Years are astronomical, as ISO 8601 counts them: 0000 is 1 BC, -0049 is 50 BC. There is a year
nought in the file and none in what people read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from simsearch.errors import DateError

_END = re.compile(r"(?P<year>-?[0-9]{4})(?P<qualifier>[~?%]?)")
_HELP = "Write years like 0043/0065, -0049~/0060 (50 BC is -0049) or 1850~/.. for an open end."
# What people try, and what to say about each. The first that fits the text is used.
_UNSUPPORTED = (
    (re.compile(r"[\[\]{}]"), "sets of dates are not used here"),
    (re.compile(r"[Xx]"), "unspecified digits (X) are not used here; give a range of years"),
    (re.compile(r"[YyEeSs]"), "years with letters are not used here"),
    (re.compile(r"[T:]"), "times of day are not used here"),
    (re.compile(r"(^|/)[~?%]"), "the qualifier goes after the year, not before it"),
    (re.compile(r"\d{4}[~?%]?-\d"), "only years are used here, no months, seasons or days"),
    (re.compile(r"\.\.\d|\d\.\."), "an open end is written after a slash, as in 1850/.."),
)


def astronomical_from_bc(year_bc: int) -> int:
    """Turn a year BC into an astronomical year: 1 BC -> 0, 50 BC -> -49."""
    if year_bc < 1:
        raise DateError(f"{year_bc} BC is not a year.", hint="Years BC count from 1 BC backwards.")
    return 1 - year_bc


def astronomical_from_ad(year_ad: int) -> int:
    """Turn a year AD into an astronomical year, which is the same number: AD 60 -> 60."""
    if year_ad < 1:
        raise DateError(f"AD {year_ad} is not a year.", hint="Years AD count from AD 1.")
    return year_ad


def era_from_astronomical(year: int) -> tuple[int, str]:
    """Turn an astronomical year into what people count: -49 -> (50, "BC"), 60 -> (60, "AD")."""
    return (1 - year, "BC") if year < 1 else (year, "AD")


def year_words(year: int) -> str:
    """Write an astronomical year for people: "50 BC", "AD 60", and from 1000 on just "1850"."""
    number, era = era_from_astronomical(year)
    if era == "BC":
        return f"{number} BC"
    return str(number) if number >= 1000 else f"AD {number}"


@dataclass(frozen=True)
class DateRange:
    """A span of whole years, both ends included; an end that is ``None`` is open.

    ``earliest`` and ``latest`` are astronomical years. ``*_circa`` is true where the source
    says "about" (``~`` or ``%``), ``*_uncertain`` where it doubts the year (``?`` or ``%``).
    """

    edtf: str
    earliest: int | None
    latest: int | None
    earliest_circa: bool = False
    latest_circa: bool = False
    earliest_uncertain: bool = False
    latest_uncertain: bool = False

    @property
    def is_single_year(self) -> bool:
        """Whether the text names one year and no interval."""
        return "/" not in self.edtf

    @property
    def years(self) -> int | None:
        """Number of calendar years covered, both ends included; ``None`` with an open end."""
        if self.earliest is None or self.latest is None:
            return None
        return self.latest - self.earliest + 1

    def words(self) -> str:
        """Return the range for people: "c. 50 BC - AD 60", "c. 1850 to today", "AD 43"."""
        start = _end_words(self.earliest, self.earliest_circa, self.earliest_uncertain)
        end = _end_words(self.latest, self.latest_circa, self.latest_uncertain)
        if self.is_single_year:
            return start
        if self.earliest is None:
            return f"up to {end}"
        return f"{start} to today" if self.latest is None else f"{start} - {end}"

    def contains(self, year: int) -> bool:
        """Whether an astronomical year lies in the range, as the ends are written."""
        after = self.earliest is None or year >= self.earliest
        return after and (self.latest is None or year <= self.latest)

    def overlaps(self, other: DateRange) -> bool:
        """Whether the two ranges share at least one year."""
        return not (_before(self, other) or _before(other, self))

    def shared_years(self, other: DateRange) -> int | None:
        """Number of years both ranges cover; 0 when none; ``None`` when the share is open."""
        starts = [r.earliest for r in (self, other) if r.earliest is not None]
        ends = [r.latest for r in (self, other) if r.latest is not None]
        if not self.overlaps(other):
            return 0
        return min(ends) - max(starts) + 1 if starts and ends else None


def parse_edtf(text: str) -> DateRange:
    """Read one date range.

    Raises ``DateError`` saying what is not understood or not supported, and what to write.
    """
    cleaned = text.strip()
    if not cleaned:
        raise DateError("The date is empty.", hint=_HELP)
    for pattern, reason in _UNSUPPORTED:
        if pattern.search(cleaned):
            raise DateError(f"The date '{cleaned}' cannot be used: {reason}.", hint=_HELP)
    ends = cleaned.split("/")
    if len(ends) > 2:
        raise DateError(f"The date '{cleaned}' has more than two ends.", hint=_HELP)
    if len(ends) == 1:
        return _range(cleaned, _parse_end(cleaned, cleaned, may_be_open=False), None)
    first, last = (_parse_end(end, cleaned, may_be_open=True) for end in ends)
    return _range(cleaned, first, last)


_End = tuple[int | None, bool, bool]


def _parse_end(text: str, whole: str, *, may_be_open: bool) -> _End:
    if may_be_open and text == "..":
        return None, False, False
    if may_be_open and text == "":
        raise DateError(
            f"The date '{whole}' has an empty end.", hint=f"Write .. for an open end. {_HELP}"
        )
    parts = _END.fullmatch(text)
    if parts is None or parts["year"] == "-0000":
        raise DateError(f"'{text}' in the date '{whole}' is not a four-figure year.", hint=_HELP)
    qualifier = parts["qualifier"]
    return int(parts["year"]), qualifier in ("~", "%"), qualifier in ("?", "%")


def _range(edtf: str, first: _End, last: _End | None) -> DateRange:
    earliest, earliest_circa, earliest_uncertain = first
    latest, latest_circa, latest_uncertain = last or first
    if earliest is None and latest is None:
        raise DateError(f"The date '{edtf}' is open at both ends and so says nothing.", hint=_HELP)
    if earliest is not None and latest is not None and earliest > latest:
        raise DateError(
            f"The date '{edtf}' ends before it begins ({year_words(earliest)} is after "
            f"{year_words(latest)}).",
            hint="Put the earlier year first; before AD 1 the year with the minus sign is earlier.",
        )
    return DateRange(
        edtf,
        earliest,
        latest,
        earliest_circa,
        latest_circa,
        earliest_uncertain,
        latest_uncertain,
    )


def _end_words(year: int | None, circa: bool, uncertain: bool) -> str:
    if year is None:
        return ""
    return ("perhaps " if uncertain else "") + ("c. " if circa else "") + year_words(year)


def _before(first: DateRange, second: DateRange) -> bool:
    """Whether ``first`` ends before ``second`` begins."""
    return (
        first.latest is not None and second.earliest is not None and first.latest < second.earliest
    )
