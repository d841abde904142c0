"""Years against the edtf package (python-edtf 5), where it is installed.

The package reads the whole standard; every range this project can write must mean the same
there: first and last year, and which end is approximate or uncertain.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest

from simsearch.sets.dates import parse_edtf

edtf = pytest.importorskip("edtf")

_YEARS = ("-0449", "-0049", "-0001", "0000", "0001", "0060", "0999", "1850")
_QUALIFIERS = ("", "~", "?", "%")


def ranges() -> list[str]:
    pairs = [(a, b) for a, b in itertools.combinations(_YEARS, 2)]
    qualifiers = itertools.cycle(itertools.product(_QUALIFIERS, repeat=2))
    closed = [f"{a}{p}/{b}{q}" for (a, b), (p, q) in zip(pairs, qualifiers, strict=False)]
    opened = [f"{a}~/.." for a in _YEARS] + [f"../{a}" for a in _YEARS]
    return closed + opened + [f"{a}{q}" for a in _YEARS for q in _QUALIFIERS]


def year(bound: Any) -> int | None:
    """Return a bound's year; the package gives an open end as an infinite number."""
    return None if isinstance(bound, float) and math.isinf(bound) else int(bound[0])


@pytest.mark.parametrize("text", ranges())
def test_both_read_the_same_years(text: str) -> None:
    theirs, ours = edtf.parse_edtf(text), parse_edtf(text)
    assert (ours.earliest, ours.latest) == (
        year(theirs.lower_strict()),
        year(theirs.upper_strict()),
    )


@pytest.mark.parametrize("text", [text for text in ranges() if ".." not in text])
def test_both_read_the_same_qualifiers(text: str) -> None:
    theirs, ours = edtf.parse_edtf(text), parse_edtf(text)
    first, last = (theirs.lower, theirs.upper) if "/" in text else (theirs, theirs)

    def flags(end: Any) -> tuple[bool, bool]:
        # The package marks "both" (%) by a third flag of its own.
        both = bool(getattr(end, "is_uncertain_and_approximate", False))
        about = bool(getattr(end, "is_approximate", False))
        return about or both, bool(getattr(end, "is_uncertain", False)) or both

    assert (ours.earliest_circa, ours.earliest_uncertain) == flags(first)
    assert (ours.latest_circa, ours.latest_uncertain) == flags(last)
