"""What leaves the register: terms, coarse places, no formulas."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from simsearch.register.errors import RegisterError
from simsearch.register.export import as_csv, as_json, columns, export
from simsearch.register.grid import read_findspot
from simsearch.register.records import FindRecord, from_fields
from simsearch.register.vocabulary import MATERIALS, PERIODS, material_id, period_id
from tests.register.invented import WORDS, find_fields

# DCMI Metadata Terms, section 2, http://purl.org/dc/terms/ (from memory).
DCMI_TERMS = {
    *("identifier", "title", "type", "subject", "temporal", "medium", "extent", "description"),
    "spatial",
}


def record(**changes: object) -> FindRecord:
    return from_fields(
        {"id": "find-0001", "created_on": "2026-05-01T09:00:00Z"} | find_fields(**changes)
    )


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def test_columns_are_terms_of_the_standard() -> None:
    used = {name.removeprefix("dcterms:") for name in columns() if name.startswith("dcterms:")}
    assert used == DCMI_TERMS


def test_csv_of_a_find() -> None:
    row = rows(as_csv([record()]))[0]
    assert row["dcterms:identifier"] == "find-0001"
    assert row["dcterms:type"] == "http://purl.org/dc/dcmitype/PhysicalObject"
    assert row["dcterms:temporal"] == "Roman"
    assert row["dcterms:extent"] == "length 34.2 mm"
    assert row["length_mm"] == "34.2"
    assert row["type_confidence"] == "possible"


@pytest.mark.parametrize("write", [as_csv, as_json])
def test_places_and_finders_are_held_back_unless_asked_for(write: object) -> None:
    assert callable(write)
    words = read_findspot("third field past the mill", words=WORDS)
    found = [record(), record(findspot=words), record(findspot=read_findspot("52.65801, 1.71607"))]
    kept = write(found).decode("utf-8-sig")
    for secret in ("51409", "13177", "mill", "52.658", "1.716", "A. Finder"):
        assert secret not in kept
    assert "TG 51 13" in kept
    assert WORDS in kept
    told = write(found, exact=True, people=True).decode("utf-8-sig")
    for wanted in ("TG 51409 13177", "mill", "52.65801", "A. Finder"):
        assert wanted in told


def test_the_middle_of_a_square_says_how_far_it_may_be_off() -> None:
    row = rows(as_csv([record()]))[0]
    # The middle of TG 51 13 and half its diagonal; the tower is within it.
    assert float(row["position_within_m"]) == pytest.approx(707.1 + 5, abs=5)
    assert abs(float(row["latitude"]) - 52.6608) < 0.001
    assert "OSGB36" in row["position_how"]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "＝"])
def test_no_cell_is_a_formula(start: str) -> None:
    # The characters that OWASP's page on CSV injection lists.
    dangerous = f"{start}HYPERLINK(1)"
    found = FindRecord(id="find-0001", title=dangerous, description=dangerous, nearby="-0.5")
    row = rows(as_csv([found]))[0]
    assert row["dcterms:title"] == f"'{dangerous}"
    assert row["dcterms:description"] == f"'{dangerous}"
    assert row["nearby"] == "-0.5"
    assert json.loads(as_json([found]))["records"][0]["dcterms:title"] == dangerous


def test_json_has_a_context_and_lists() -> None:
    document = json.loads(as_json([record()]))
    assert document["@context"]["dcterms"] == "http://purl.org/dc/terms/"
    assert document["records"][0]["checked"] == ["Looked behind the head: two coils of a spring"]
    assert document["records"][0]["length_mm"] == 34.2
    assert "leads" in document["note"]


@pytest.mark.parametrize(
    ("words", "ending", "relation"),
    [
        ("Roman", "/RO", "exact"),
        ("Early Roman", "/RO", "broader"),
        ("Post-medieval", "/PM", "exact"),
        ("Early Anglo-Saxon", "/EM", "broader"),
        ("Early medieval", "/EM", "exact"),
        ("Late Iron Age", "/IA", "broader"),
    ],
)
def test_periods_with_an_id(words: str, ending: str, relation: str) -> None:
    uri, found = period_id(words)
    assert uri.endswith(ending)
    assert found == relation


@pytest.mark.parametrize("words", ["", "Late Iron Age to early Roman", "Modern", "old"])
def test_periods_without_an_id_are_left_empty(words: str) -> None:
    assert period_id(words) == ("", "")


def test_materials_only_when_they_say_the_same() -> None:
    assert material_id("Copper alloy").endswith("aat/300010942")
    assert material_id("copper alloy, gilt") == ""
    assert all(term.basis in ("second-hand", "from memory") for term in (*MATERIALS, *PERIODS))


def test_files_by_their_ending(tmp_path: Path) -> None:
    assert export([record()], tmp_path / "finds.csv") == 1
    assert export([record()], tmp_path / "finds.JSON") == 1
    assert len(rows((tmp_path / "finds.csv").read_bytes())) == 1
    assert len(json.loads((tmp_path / "finds.JSON").read_bytes())["records"]) == 1
    with pytest.raises(RegisterError, match=r"\.csv nor \.json"):
        export([record()], tmp_path / "finds.xls")
    with pytest.raises(RegisterError, match="could not be written"):
        export([record()], tmp_path / "none" / "finds.csv")
