"""What a find's record says about the object, as observations that move the odds of leads."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from simsearch.errors import ObservationError

if TYPE_CHECKING:
    from simsearch.leads.observed import Observed
    from simsearch.register.records import FindRecord

_FIXINGS = ("sprung", "hinged", "none")


def observed_of(record: FindRecord) -> Observed | None:
    """What a record says that moves odds; words that the rules do not know are passed over."""
    from simsearch.leads.observed import Measure, Observed, nearby_dates

    state = "whole" if record.completeness == "complete" else "broken"
    length = record.length_mm if record.length_mm is not None else record.diameter_mm
    given: dict[str, Callable[[], Any]] = {
        "length_mm": lambda: Measure(length, min(1.0, length), state) if length else None,
        "weight_g": lambda: record.weight_g,
        "material": lambda: record.material or None,
        "surface": lambda: record.surface or None,
        "fixing": lambda: record.fixing if record.fixing in _FIXINGS else None,
        "completeness": lambda: record.completeness or None,
        "nearby": lambda: nearby_dates(record.nearby) if record.nearby else None,
    }
    known: dict[str, Any] = {}
    for name, read in given.items():
        try:
            value = read()
            Observed(**{**known, name: value})
        except ObservationError:
            continue
        if value is not None:
            known[name] = value
    return Observed(**known) if known else None
