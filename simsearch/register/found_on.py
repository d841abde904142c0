"""The day a find was made, as far as it is known: a subset of EDTF with months and days.

EDTF (Library of Congress, 4 February 2019): level 0 dates ``2026``, ``2026-03``, ``2026-03-14`` and
intervals of them, level 1 qualifiers ``~ ? %`` after each. Types are dated by
``simsearch.sets.dates``, which needs years before Christ and no months.
"""

from __future__ import annotations

import re
from datetime import date

from simsearch.register.errors import RecordError

_PART = re.compile(r"(?P<year>\d{4})(-(?P<month>\d{2})(-(?P<day>\d{2}))?)?[~?%]?")
_HELP = "Write it like 2026-03-14, 2026-03, 2026, 1998~ (about) or 2025/2026."


def check_found_on(text: str, today: date) -> None:
    """Raise ``RecordError`` when ``text`` is not such a date or begins after ``today``."""
    ends = text.split("/")
    if len(ends) > 2:
        raise RecordError(f"found_on '{text}' has more than two ends.", hint=_HELP)
    first_days = [_first_day(end, text) for end in ends]
    if first_days[0] > first_days[-1]:
        raise RecordError(f"found_on '{text}' ends before it begins.", hint=_HELP)
    if first_days[-1] > today:
        raise RecordError(f"found_on '{text}' is after today.", hint=_HELP)


def _first_day(end: str, whole: str) -> date:
    parts = _PART.fullmatch(end)
    if parts is None:
        raise RecordError(f"found_on '{whole}' is not a date.", hint=_HELP)
    try:
        return date(int(parts["year"]), int(parts["month"] or 1), int(parts["day"] or 1))
    except ValueError as error:
        raise RecordError(f"found_on '{whole}' is no day of the calendar.", hint=_HELP) from error
