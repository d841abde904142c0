"""Filters: what fits, what the counts say, how dates are read."""

from __future__ import annotations

import pytest

from simsearch import open_set
from simsearch.browse.filters import (
    FACETS,
    Wanted,
    filter_types,
    in_years,
    materials_of,
    periods_of,
    read_year,
    read_years,
)
from simsearch.errors import DateError
from simsearch.sets.dates import parse_edtf
from simsearch.sets.types import GROUPS, Type


@pytest.fixture(scope="module")
def types() -> list[Type]:
    return list(open_set().types.values())


def period(text: str, types: list[Type]) -> tuple[str, ...]:
    from dataclasses import replace

    return periods_of(replace(types[0], period=text))


@pytest.mark.parametrize(
    ("written", "broad"),
    [
        ("Middle Iron Age", ("Iron Age",)),
        ("Late Iron Age to early Roman", ("Iron Age", "Roman")),
        ("Early Anglo-Saxon", ("Early medieval",)),
        ("Viking Age", ("Early medieval",)),
        ("Early medieval", ("Early medieval",)),
        ("Medieval to post-medieval", ("Medieval", "Post-medieval")),
        ("Post-medieval", ("Post-medieval",)),
        ("Medieval to modern", ("Medieval", "Post-medieval", "Modern")),
        (
            "Roman to post-medieval",
            ("Roman", "Early medieval", "Medieval", "Post-medieval"),
        ),
        ("Time of the second well", ("Time of the second well",)),
    ],
)
def test_periods_are_read_out_of_words(
    written: str, broad: tuple[str, ...], types: list[Type]
) -> None:
    assert period(written, types) == broad


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("copper alloy; iron is commoner after c. 300 BC", ("copper alloy", "iron or steel")),
        ("copper alloy, often tinned", ("copper alloy", "tinned")),
        ("copper alloy; lead or tin alloy; silver; gold",
         ("copper alloy", "silver", "gold or gilt", "lead or tin alloy")),
        ("copper alloy, about two-thirds enamelled", ("copper alloy", "enamel")),
        ("amber", ("amber",)),
    ],
)  # fmt: skip
def test_materials_are_read_out_of_words(
    written: str, read: tuple[str, ...], types: list[Type]
) -> None:
    from dataclasses import replace

    assert materials_of(replace(types[0], material=written)) == read


def test_the_shipped_types_are_all_in_broad_periods_and_materials(types: list[Type]) -> None:
    facets = {facet.name: facet for facet in filter_types(types, Wanted()).facets}
    assert set(facets) == set(FACETS)
    assert {choice.label for choice in facets["form"].choices} <= set(GROUPS)
    assert len(facets["period"].choices) <= 8
    assert len(facets["material"].choices) <= 10


@pytest.mark.parametrize("facet", FACETS)
def test_a_count_is_what_choosing_it_alone_shows(types: list[Type], facet: str) -> None:
    base = Wanted(words="brooch", years=(1, 400))
    shown = next(f for f in filter_types(types, base).facets if f.name == facet)
    for choice in shown.choices:
        alone = Wanted("brooch", {facet: frozenset([choice.label])}, (1, 400))
        assert len(filter_types(types, alone).types) == choice.count


def test_choices_of_one_facet_add_and_facets_narrow(types: list[Type]) -> None:
    def found(**choices: set[str]) -> set[str]:
        wanted = Wanted(choices={name: frozenset(labels) for name, labels in choices.items()})
        return {kind.id for kind in filter_types(types, wanted).types}

    roman, iron = found(period={"Roman"}), found(period={"Iron Age"})
    assert found(period={"Roman", "Iron Age"}) == roman | iron
    assert found(period={"Roman"}, fixing={"hinged"}) == roman & found(fixing={"hinged"})
    assert found(fixing={"hinged"}) >= {k.id for k in types if k.pin_fixing == "sprung or hinged"}
    assert found(period=set(), form=set()) == {kind.id for kind in types}
    assert found(period={"no such period"}) == set()


@pytest.mark.parametrize(
    ("text", "year"),
    [("50 BC", -49), ("1 bc", 0), ("50 B.C.", -49), ("AD 60", 60), ("60 AD", 60), ("1650", 1650),
     ("  43 ", 43), ("20 BCE", -19), ("CE 7", 7), ("", None), ("   ", None)],
)  # fmt: skip
def test_years_are_read_as_people_write_them(text: str, year: int | None) -> None:
    """1 BC is the astronomical year 0 (ISO 8601-1:2019)."""
    assert read_year(text) == year


@pytest.mark.parametrize("text", ["soon", "0", "0 BC", "12345", "AD 4 BC", "-49", "4th century"])
def test_what_is_no_year_is_told(text: str) -> None:
    with pytest.raises(DateError) as caught:
        read_year(text)
    assert caught.value.hint


def test_a_span_the_wrong_way_round_is_told() -> None:
    assert read_years("50 BC", "") == (-49, None)
    with pytest.raises(DateError, match="later than"):
        read_years("AD 60", "50 BC")


@pytest.mark.parametrize(
    ("dates", "years", "fits"),
    [
        ("0043/0065", (65, 100), True),
        ("0043/0065", (66, 100), False),
        ("0043/0065", (1, 43), True),
        ("0043/0065", (1, 42), False),
        ("1850~/..", (1900, None), True),
        ("1850~/..", (None, 1849), False),
        ("../0100", (None, 50), True),
        ("0043/0065", (None, None), True),
    ],
)
def test_spans_share_at_least_a_year(
    dates: str, years: tuple[int | None, int | None], fits: bool
) -> None:
    assert in_years(parse_edtf(dates), years) is fits
