"""What may be observed, and what is refused."""

from __future__ import annotations

import json
from typing import Any

import pytest

from simsearch.errors import ObservationError
from simsearch.leads.observed import PERIODS, Measure, Observed, nearby_dates
from simsearch.sets.dates import parse_edtf


def test_usual_words_are_understood() -> None:
    seen = Observed(
        material="Bronze", surface="Gilding", fixing="SPRUNG", completeness="half_or more"
    )
    assert (seen.material, seen.surface) == ("copper alloy", "gilt")
    assert (seen.fixing, seen.completeness) == ("sprung", "half or more")
    assert seen.given == ("material", "fixing", "surface", "completeness")
    assert seen.broken


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"material": "cheese"}, "copper alloy"),
        ({"fixing": "glued"}, "sprung, hinged, none"),
        ({"surface": 3}, "tinned"),
        ({"completeness": "most"}, "half or more"),
        ({"weight_g": 0.0}, "above 0"),
        ({"weight_g": float("nan")}, "above 0"),
        ({"weight_g": True}, "above 0"),
        ({"length_mm": 38}, "Measure"),
        ({"nearby": "roman"}, "nearby_dates"),
        ({"length_mm": Measure(20), "width_mm": Measure(40)}, "longest"),
        ({"length_mm": Measure(20, 1, "broken"), "completeness": "complete"}, "which of the two"),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_do(values: dict[str, Any], says: str) -> None:
    with pytest.raises(ObservationError) as refused:
        Observed(**values)
    assert says in str(refused.value)


@pytest.mark.parametrize("values", [(0,), (-1,), (float("inf"),), (9, -1), (9, 10), (9, 1, "bent")])
def test_measurements_are_checked(values: tuple[Any, ...]) -> None:
    with pytest.raises(ObservationError):
        Measure(*values)


def test_periods_are_date_ranges() -> None:
    for name, edtf in PERIODS.items():
        assert nearby_dates(name.title()) == parse_edtf(edtf)
    assert nearby_dates("0100/0150").words() == "AD 100 - AD 150"
    with pytest.raises(ObservationError, match="no period known"):
        nearby_dates("long ago")


def test_only_what_was_observed_goes_into_json() -> None:
    assert Observed().to_dict() == {} and not Observed().given and not Observed().broken
    seen = Observed(length_mm=Measure(12.5, 0.5), weight_g=3.0, nearby=nearby_dates("Roman"))
    plain = json.loads(json.dumps(seen.to_dict()))
    assert plain["length_mm"] == {"value": 12.5, "error_mm": 0.5, "state": "whole"}
    assert plain["weight_g"] == 3.0
    assert plain["nearby"] == {"edtf": "0043/0410~", "words": "AD 43 - c. AD 410"}
