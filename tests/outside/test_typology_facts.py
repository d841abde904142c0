"""Dates and sizes of the shipped types, checked against published statements.

Each check names the publication beside it. The table is read with the csv module alone, so
that a fault in the package's own reader cannot hide a wrong value. Years are astronomical:
450 BC is -449.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

TABLE = Path(__file__).resolve().parents[2] / "reference_index" / "types.csv"


def _rows() -> dict[str, dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as handle:
        return {row["id"]: row for row in csv.DictReader(handle)}


ROWS = _rows()


def years(type_id: str) -> tuple[int, int]:
    """Earliest and latest astronomical year of a closed range."""
    start, end = ROWS[type_id]["date_edtf"].split("/")
    return int(start.rstrip("~?%")), int(end.rstrip("~?%"))


def lengths(type_id: str) -> tuple[float, float]:
    """Smallest and largest size in millimetres."""
    low, high = ROWS[type_id]["length_mm"].split("/")
    return float(low), float(high)


@pytest.mark.parametrize(
    ("type_id", "start", "end"),
    [
        # Crummy 1983, Colchester Archaeological Report 2, Type 90: Tiberius to Nero.
        ("colchester", 14, 68),
        # Bayley & Butcher 2004, Roman Brooches in Britain, p. 150 (quoted second-hand).
        ("langton-down", 25, 75),
        # Wikipedia, Dragonesque brooch, citing Johns and Hunter.
        ("dragonesque", 75, 175),
        # Border Archaeology, complete Roman bow and fantail brooch.
        ("bow-and-fantail", 50, 150),
        # MacGregor & Bolick 1993, p. 111 (quoted second-hand).
        ("great-square-headed", 500, 575),
        # Martin 2015, The Cruciform Brooch and Anglo-Saxon England: 5th and 6th centuries.
        ("cruciform", 401, 600),
        # Archaeologs, dictionary entry Saucer brooch: 5th and 6th centuries.
        ("saucer", 401, 600),
        # Oxfordshire Museums, lozenge plate brooch: 2nd century.
        ("lozenge-plate", 101, 200),
        # The Royal Mint, medieval voided long cross silver penny.
        ("voided-long-cross-penny", 1247, 1279),
    ],
)
def test_range_is_the_published_one(type_id: str, start: int, end: int) -> None:
    assert years(type_id) == (start, end)


@pytest.mark.parametrize(
    ("type_id", "low", "high"),
    [
        # Adams 2014, Iron in a time of change: first brooches in Britain c. 450 BC.
        ("la-tene-i-bow", -449, -449),
        # Mackreth, Easton Maudit: just before the conquest of AD 43.
        ("colchester-derivative-harlow", 35, 43),
        # Victoria County History, Berkshire, vol. 1, p. 227: a few are late 3rd century.
        ("crossbow", 267, 300),
        # Mackreth, Easton Maudit no. 48: probably 1st century BC.
        ("penannular-a", -99, 0),
        # Stedman 2008, Proceedings of the Hampshire Field Club 63: later 5th century.
        ("early-disc", 450, 500),
        # Avent & Evison 1982, Archaeologia 107, abstract: no later than the late 5th century.
        ("button-brooch", 420, 500),
        # Crummy 1983, bone pin Type 3: cautious start c. 200.
        ("hairpin-globular", 200, 200),
        # Mernick, Jettons or reckoning counters: last quarter of the 13th century.
        ("jetton", 1275, 1300),
        # Blunt, Crotal bells: from the beginning of the 13th century.
        ("crotal-bell", 1200, 1225),
    ],
)
def test_start_falls_where_published(type_id: str, low: int, high: int) -> None:
    assert low <= years(type_id)[0] <= high


@pytest.mark.parametrize(
    ("type_id", "low", "high"),
    [
        # Mackreth, Easton Maudit no. 31: must be before 100 BC.
        ("la-tene-ii-bow", -199, -99),
        # Mackreth, Easton Maudit: to about AD 75/80.
        ("colchester-derivative-harlow", 75, 80),
        # Crummy 1983: dropped by the army c. AD 60/65.
        ("aucissa", 60, 65),
        # Crummy 1983 (c. 60/65) and Bayley & Butcher 2004, p. 153 (c. 70, second-hand).
        ("hod-hill", 60, 70),
        # Victoria County History, Berkshire, vol. 1, p. 227: a few are early 5th century.
        ("crossbow", 401, 433),
        # Wikipedia, Anglo-Saxon brooches: out of fashion by the end of the 6th century.
        ("small-long", 575, 600),
        # Avent & Evison 1982, abstract: to the middle of the 6th century.
        ("button-brooch", 540, 560),
        # Stedman 2008: earlier 6th century.
        ("early-disc", 501, 550),
        # Mernick: general use probably ceased in the 17th century.
        ("jetton", 1601, 1700),
    ],
)
def test_end_falls_where_published(type_id: str, low: int, high: int) -> None:
    assert low <= years(type_id)[1] <= high


def test_short_cross_stops_where_long_cross_starts() -> None:
    # The Royal Mint: the voided long cross penny begins in 1247.
    assert years("short-cross-penny")[1] == years("voided-long-cross-penny")[0] == 1247


@pytest.mark.parametrize(
    ("type_id", "words"),
    [
        # Mackreth, Easton Maudit: AD 30-60 for a large Langton Down brooch.
        ("langton-down", "AD 30-60"),
        # Current Archaeology, Finds tray: AD 50-150 for one dragonesque brooch.
        ("dragonesque", "AD 50-150"),
        # Crummy 1983: out of army use c. AD 60/65, against the later end that is shown.
        ("hod-hill", "AD 60/65"),
        # Van Thienen 2017: 3rd to 6th century across the Empire.
        ("crossbow", "3rd to 6th"),
        # Border Archaeology 2017, comment by Cool: possibly AD 138-180.
        ("trumpet", "AD 138-180"),
        # Article on thimbles: Lofting's works of 1693.
        ("thimble", "1693"),
    ],
)
def test_other_published_dates_are_told(type_id: str, words: str) -> None:
    assert words in ROWS[type_id]["date_note"]


@pytest.mark.parametrize(
    ("type_id", "measured"),
    [
        # Crummy 1983 nos 40 and 38; Mackreth, Easton Maudit no. 1.
        ("colchester", (43.0, 83.0, 47.0)),
        # Crummy 1983 nos 2, 4, 5, 6, 9 and 15.
        ("nauheim-derivative", (41.0, 43.5, 26.0, 28.0, 26.0, 38.5)),
        # Mackreth, Easton Maudit no. 32.
        ("boss-on-bow", (65.0,)),
        # Mackreth, Easton Maudit.
        ("langton-down", (35.0, 43.0)),
        # Crummy 1983 no. 19; a variant in Mackreth, Easton Maudit.
        ("aucissa", (53.5, 40.0)),
        # Measured pieces and the typical size in Wikipedia, Dragonesque brooch.
        ("dragonesque", (36.7, 38.0, 43.0, 48.0, 50.0)),
        # Crummy 1983 nos 88 and 89.
        ("umbonate-disc", (42.0,)),
        ("lozenge-plate", (37.5,)),
        # Mackreth, Easton Maudit nos 48 to 50 (diameters).
        ("penannular-a", (32.0, 35.0)),
        ("penannular-c", (12.0, 15.0, 21.0, 24.0)),
        # Stedman 2008; Suzuki 2009, Archaeologia Cantiana 129 (diameters).
        ("early-disc", (30.0,)),
        ("button-brooch", (20.0,)),
        # Crummy 1983, complete bone pins of Type 3.
        ("hairpin-globular", (52.5, 111.0)),
        # Middlewich Heritage, Roman dress accessories.
        ("trumpet", (59.0, 54.0)),
    ],
)
def test_measured_examples_are_in_range_and_quoted(
    type_id: str, measured: tuple[float, ...]
) -> None:
    low, high = lengths(type_id)
    note = ROWS[type_id]["length_note"]
    for value in measured:
        assert low <= value <= high
        assert f"{value:.1f}" in note or f"{value:.0f}" in note


def test_la_tene_i_sizes_are_those_of_the_munsingen_table() -> None:
    # Doran & Hodson 1975, Table 9.1: 30 brooches, shortest 26 mm, longest 128 mm.
    assert lengths("la-tene-i-bow") == (26.0, 128.0)
    assert "49.5" in ROWS["la-tene-i-bow"]["length_note"]


def test_suspected_misprint_is_not_used_as_a_size() -> None:
    # Border Archaeology prints 140 mm for a bow-and-fantail brooch 14.7 mm wide.
    assert lengths("bow-and-fantail")[1] < 140


@pytest.mark.parametrize("bore", [12, 17, 24, 36])
def test_shot_diameters_follow_from_the_bore(bore: int) -> None:
    # n bore means n balls to the pound of 0.45359237 kg (Weights and Measures Act 1985);
    # lead has a density of 11.34 g per cubic centimetre (handbook value).
    volume = 453.59237 / bore / 11.34
    diameter = 20 * (3 * volume / (4 * math.pi)) ** (1 / 3)
    low, high = lengths("lead-shot")
    assert low <= diameter <= high
    assert f"{diameter:.1f}" in ROWS["lead-shot"]["length_note"].split(f"{bore} bore", 1)[1][:9]


def test_penannular_letters_keep_their_definitions() -> None:
    # Fowler's letters as defined in Mackreth, Easton Maudit nos 48 to 50: A has knobs, C has
    # ends coiled at right angles to the plane of the ring.
    assert "knobs" in ROWS["penannular-a"]["front"]
    assert "coils" in ROWS["penannular-c"]["front"]
    assert "right angles" in ROWS["penannular-c"]["side"]


def test_dates_from_memory_do_not_claim_to_be_read() -> None:
    # A date resting on memory alone must say so in words as well as in its mark.
    silent = [
        type_id
        for type_id, row in ROWS.items()
        if row["basis"] == "from memory" and "memory" not in row["date_note"]
    ]
    assert silent == []
