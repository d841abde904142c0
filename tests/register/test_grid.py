"""Findspots: reading, keeping the precision as stated, and dropping figures."""

from __future__ import annotations

import random

import pytest

from simsearch.register.errors import FindspotError
from simsearch.register.grid import (
    DEGREES,
    GRID_GB,
    GRID_IRELAND,
    WORDS,
    Findspot,
    coarse,
    on_grid,
    position,
    read_findspot,
    read_reference,
    shown,
)


@pytest.mark.parametrize(
    ("text", "kind", "precision"),
    [
        ("TG 51409 13177", GRID_GB, 1),
        ("tg51401317", GRID_GB, 10),
        ("TG 514 131", GRID_GB, 100),
        ("TG5113", GRID_GB, 1000),
        ("TG51", GRID_GB, 10_000),
        ("O 159 346", GRID_IRELAND, 100),
        ("o1534", GRID_IRELAND, 1000),
        ("between the dyke and the old hedge", WORDS, None),
        ("Field 12, Harrow Fen (invented)", WORDS, None),
        ("12 paces north of the gate", WORDS, None),
    ],
)
def test_kind_and_precision_are_told_from_the_text(
    text: str, kind: str, precision: float | None
) -> None:
    spot = read_findspot(text)
    assert (spot.kind, spot.value, spot.precision_m) == (kind, text, precision)


@pytest.mark.parametrize(
    ("text", "latitude", "longitude"),
    [
        ("52.6580, 1.7161", 52.6580, 1.7161),
        ("52.6580 N 1.7161 W", 52.6580, -1.7161),
        ("53.3, -6.2", 53.3, -6.2),
        ("52°39'27.2531\"N 1°43'4.5177\"E", 52.657570, 1.717922),
        ("52°39'27\"N, 0°43'4\"W", 52.6575, -0.717778),
    ],
)
def test_degrees_in_several_ways(text: str, latitude: float, longitude: float) -> None:
    spot = read_findspot(text)
    where = position(spot)
    assert spot.kind == DEGREES
    assert where is not None
    assert abs(where.latitude - latitude) < 0.051
    assert abs(where.longitude - longitude) < 0.051
    assert (where.longitude < 0) == (longitude < 0)
    assert spot.precision_m == pytest.approx(where.radius_m * 2**0.5)


@pytest.mark.parametrize(
    "text",
    ["TG 514 13", "TG", "IG 51 13", "TG 514091 131771", "ZZ 51 13", "TI 51 13", "AA 10 10"],
)
def test_what_is_no_british_reference(text: str) -> None:
    with pytest.raises(FindspotError) as told:
        read_reference(text, GRID_GB)
    assert text in str(told.value)
    assert told.value.hint


@pytest.mark.parametrize("text", ["99.1, 1.2", "52.1, 181.0", "52°70'1\"N 1°1'1\"E"])
def test_what_is_no_place(text: str) -> None:
    with pytest.raises(FindspotError):
        read_findspot(text, kind=DEGREES)


def test_precision_may_be_coarser_than_the_figures_but_never_finer() -> None:
    assert read_findspot("TG 51409 13177", precision_m=50).precision_m == 50
    with pytest.raises(FindspotError, match="100 m"):
        read_findspot("TG 514 131", precision_m=10)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # 51999 and 13999 would round to 52 and 14: another square.
        ("TG 51999 13999", "TG 51 13"),
        ("TG 51409 13177", "TG 51 13"),
        ("TG 00999 00999", "TG 00 00"),
        ("TG 51 13", "TG 51 13"),
        ("TG 5 1", "TG 5 1"),
        ("O 15999 34999", "O 15 34"),
        ("52.6599999, 1.7999999", "52.65, 1.7"),
        ("52.6599999, -1.7999999", "52.65, -1.7"),
        ("52.6599999, -0.0099999", "52.65, -0.0"),
    ],
)
def test_coarser_is_cut_and_never_rounded(text: str, expected: str) -> None:
    spot = coarse(read_findspot(text))
    assert spot.value == expected
    assert spot.precision_m is not None
    assert spot.precision_m >= 1000


def test_coarse_squares_always_hold_the_find_and_stay_as_they_are() -> None:
    chance = random.Random(7)
    for _ in range(300):
        figures = chance.choice((4, 5))
        east, north = (f"{chance.randrange(10**figures):0{figures}d}" for _ in "en")
        spot = read_findspot(f"TG {east} {north}")
        square = read_reference(spot.value, GRID_GB)
        cut = coarse(spot)
        larger = read_reference(cut.value, GRID_GB)
        assert 0 <= square.easting - larger.easting < larger.side_m
        assert 0 <= square.northing - larger.northing < larger.side_m
        assert coarse(cut) == cut


def test_coarse_degrees_are_at_least_a_kilometre_and_stay_as_they_are() -> None:
    chance = random.Random(8)
    for _ in range(300):
        latitude, longitude = chance.uniform(49, 61), chance.uniform(-10.5, 2)
        cut = coarse(read_findspot(f"{latitude:.6f}, {longitude:.6f}"))
        assert coarse(cut).value == cut.value
        given = position(read_findspot(f"{latitude:.6f}, {longitude:.6f}"))
        where = position(cut)
        assert where is not None
        assert given is not None
        assert cut.precision_m is not None
        # Pythagoras on 111.32 km a degree is near enough at this size.
        east = abs(where.longitude - given.longitude) * 111_320 * 0.7
        north = abs(where.latitude - given.latitude) * 111_320
        assert (east**2 + north**2) ** 0.5 <= where.radius_m * 1.05


def test_a_stated_precision_coarser_than_a_kilometre_is_kept() -> None:
    spot = coarse(read_findspot("TG 51409 13177", precision_m=5000))
    assert (spot.value, spot.precision_m) == ("TG 5 1", 10_000)


def test_shown_is_coarse_unless_asked_otherwise() -> None:
    spot = read_findspot("TG 51409 13177", words="Harrow Fen (invented)")
    assert shown(spot) == "TG 51 13 (to 1 km), Harrow Fen (invented)"
    assert "51409" in shown(spot, exact=True)
    assert shown(None) == "not recorded"


def test_of_words_only_those_that_may_be_shown() -> None:
    spot = read_findspot("third field past the mill", words="Harrow Fen (invented)")
    assert shown(spot) == "Harrow Fen (invented)"
    assert "mill" in shown(spot, exact=True)
    assert "mill" not in shown(read_findspot("by the mill"))
    assert position(spot) is None


def test_places_that_a_grid_does_not_reach() -> None:
    with pytest.raises(FindspotError, match="outside"):
        on_grid(read_findspot("40.0000, -30.0000"), GRID_GB)
    with pytest.raises(FindspotError):
        on_grid(Findspot(WORDS, "by the mill"), GRID_GB)
