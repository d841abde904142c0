"""Cautions come where they matter, with the reason; finds here are invented."""

from __future__ import annotations

from typing import Any

import pytest

from simsearch.law import COUNTRIES, LawError
from simsearch.law.triggers import triggers
from simsearch.register.records import FindRecord


def keys(find: Any, country: str = "england", **more: Any) -> list[str]:
    return [caution.key for caution in triggers(find, country, **more)]


@pytest.mark.parametrize(
    ("find", "expected"),
    [
        ({"material": "silver"}, "precious-metal"),
        ({"material": "copper alloy, gilt"}, "precious-metal"),
        ({"description": "Traces of gilding in the hollows"}, "precious-metal"),
        ({"count": 2}, "several-objects"),
        ({"nearby": "a small hoard of nails"}, "several-objects"),
        ({"notes": "found with human bone below"}, "human-remains"),
        ({"nearby": "two graves in the section"}, "human-remains"),
        ({"title": "Cartridge case"}, "ammunition"),
        ({"description": "Brass fuse, heavy"}, "ammunition"),
        ({"material": "lead"}, "lead"),
        ({"description": "A lead weight"}, "lead"),
        ({"description": "textile in the corrosion"}, "organic-traces"),
        ({"period": "Bronze Age", "count": 3}, "prehistoric-base-metal"),
        ({"description": "inscribed with a name"}, "significance"),
    ],
)
def test_what_is_recorded_sets_a_caution_off(find: dict[str, Any], expected: str) -> None:
    assert expected in keys(find)


@pytest.mark.parametrize(
    "find",
    [
        {},
        {"material": "copper alloy", "period": "Roman", "description": "A plain bow brooch."},
        {"material": "copper alloy", "notes": "no gold, not silver, without any burial"},
        {"leads_note": "the first lead is the likeliest; engraved lines"},
        {"period": "Iron Age", "count": 1},
    ],
)
def test_a_plain_find_gets_none_in_england(find: dict[str, Any]) -> None:
    assert keys(find) == []


def test_no_before_ammunition_does_not_silence_it() -> None:
    assert keys({"notes": "not a live grenade, I think"}) == ["ammunition"]


@pytest.mark.parametrize("country", ["scotland", "northern-ireland", "ireland"])
def test_where_every_find_is_reported_every_find_is_told_so(country: str) -> None:
    assert keys({"material": "copper alloy"}, country) == ["report-every-find"]


def test_the_significance_class_is_not_told_elsewhere() -> None:
    find = {"description": "a unique figurine"}
    told = {country: "significance" in keys(find, country) for country in COUNTRIES}
    assert [country for country, is_told in told.items() if is_told] == ["england", "wales"]


@pytest.mark.parametrize(
    ("caution", "expected"),
    [
        ("precious-metal", "precious-metal"),
        ("coin-group", "several-objects"),
        ("ammunition", "ammunition"),
        ("lead", "lead"),
    ],
)
def test_cautions_of_the_type_lead_count(caution: str, expected: str) -> None:
    (found,) = triggers({}, "england", type_cautions=[caution, "from-next-year"])
    assert found.key == expected
    assert caution in found.reason


def test_reasons_quote_the_record_and_rules_are_those_of_the_country() -> None:
    find = {"material": "gold", "notes": "beside a skeleton", "title": "Ring and cartridge"}
    found = triggers(find, "Ireland")
    assert [c.key for c in found if c.urgent] == ["ammunition", "human-remains"]
    assert [c.urgent for c in found] == sorted((c.urgent for c in found), reverse=True)
    by_key = {caution.key: caution for caution in found}
    assert by_key["human-remains"].reason == "'skeleton' stands in its notes"
    assert "'gold'" in by_key["precious-metal"].reason
    assert {rule.within for rule in by_key["precious-metal"].rules} == {"96 hours"}
    assert all(caution.rules for caution in found)


def test_a_record_of_the_register_will_do() -> None:
    record = FindRecord(title="Coin", material="silver", checked=("edge: lead seal stuck to it",))
    assert keys(record) == ["precious-metal", "lead"]


def test_an_unknown_country_is_refused() -> None:
    with pytest.raises(LawError, match="Atlantis"):
        triggers({}, "Atlantis")
