"""The register on the page: forms filled and checked, finds kept, found again, changed, undone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import simsearch.encode
from simsearch.errors import SimsearchError
from simsearch.law.choice import chosen_country
from simsearch.law.countries import rules
from simsearch.leads.observed import Measure, Observed
from simsearch.page.intake import Tray
from simsearch.page.law_tab import choose, render_law
from simsearch.page.papers import make_paper
from simsearch.page.record import Desk, Room, answer
from simsearch.page.record_form import LABELS, read_form, record_problems, start_empty, start_from
from simsearch.page.refine import look_at, weigh_in
from simsearch.register.observing import observed_of
from simsearch.register.records import FIELDS, FindRecord
from simsearch.register.store import open_register
from simsearch.sets.reference_set import ReferenceSet, open_set
from tests.page.small_set import COLOURS, FAR_COLOUR, HOSTILE, make_small_set
from tests.page.test_render import Read, tray_of
from tests.tiny_set import GridEncoder

EXACT = "TG 51409 13177"
"""The point of the Ordnance Survey's worked example (A guide to coordinate systems in Great
Britain, annexe C): a published place, no findspot."""


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the user's own settings out of it."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setattr(simsearch.encode, "load_encoder", lambda name="grid": GridEncoder(name))


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> ReferenceSet:
    return open_set(make_small_set(tmp_path_factory.mktemp("small") / "set"))


@pytest.fixture
def room(tmp_path: Path, reference: ReferenceSet) -> Room:
    looked = look_at(tray_of(COLOURS["knee"]), reference)[1]
    assert looked is not None
    _, looked, _ = weigh_in(
        looked, {"length": "31", "broken": "yes", "fixing": "sprung", "weight": "4.2"}, reference
    )
    return Room(tmp_path / "register", reference, Tray(), looked)


def press(room: Room, desk: Desk, does: str, find_id: str = "", **fields: str) -> tuple[Read, Desk]:
    """Press a button, as the browser would send it."""
    page, desk = answer(room, desk, {"do": does, "id": find_id, "fields": fields})
    return Read(page), desk


def sent(desk: Desk, **changes: Any) -> dict[str, Any]:
    """The fields of the form in hand as a browser would send them, some of them changed."""
    assert desk.writing is not None
    return {**desk.writing.values, "by": "Recorder", **changes}


def kept(room: Room, **changes: Any) -> Desk:
    """Write the find with leads up and keep it."""
    _, desk = press(room, Desk(), "write")
    page, desk = press(room, desk, "keep", **sent(desk, **{"keep-0": "yes"} | changes))
    assert "Recorded as find-" in page.text
    return desk


def test_the_form_starts_with_what_is_known(room: Room) -> None:
    page, desk = press(room, Desk(), "write")
    assert desk.writing is not None
    values = desk.writing.values
    assert values["type_id"] == "knee"
    assert values["type_confidence"] in ("possible", "probable")
    assert values["title"] == "Perhaps a knee brooch"
    assert values["length_mm"] == "31" and values["weight_g"] == "4.2"
    assert values["fixing"] == "sprung"
    assert "1. Knee brooch (" in values["leads_note"]
    assert "not an identification" in values["leads_note"]
    assert desk.writing.checks[:2] == ("Look for a spring case", "Feel for a rib")
    assert "Feel for a rib" in page.text
    # Nothing is on the disk before somebody says so.
    assert not room.folder.exists()


def test_where_nothing_is_close_no_type_is_filled_in(reference: ReferenceSet) -> None:
    looked = look_at(tray_of(FAR_COLOUR), reference)[1]
    assert looked is not None
    writing = start_from(looked, reference)
    assert "type_id" not in writing.values
    assert writing.values["leads_note"].startswith("Nothing looked close")
    assert start_from(looked, reference, "dolphin").values["type_id"] == "dolphin"


def test_a_find_is_kept_with_its_photo_and_what_was_seen(room: Room) -> None:
    kept(room, findspot=EXACT, findspot_words="Harrow Fen (invented)", **{"seen-1": "no rib"})
    with open_register(room.folder) as register:
        find = register.get("find-0001")
        change = register.history("find-0001")[0]
        path = register.photo_path(find.photos[0])
        assert path.is_file()
    assert find.checked == ("Feel for a rib: no rib",)
    assert find.findspot is not None and find.findspot.value == EXACT
    assert find.length_mm == 31 and find.type_id == "knee"
    assert change.by == "Recorder"


def test_findspots_are_shown_coarse(room: Room) -> None:
    desk = kept(room, findspot=EXACT, findspot_words="Harrow Fen (invented)")
    listed, desk = press(room, desk, "list")
    opened, desk = press(room, desk, "open", "find-0001")
    form, desk = press(room, desk, "edit", "find-0001")
    for page in (listed, opened, form):
        everything = page.text + str(page.elements)
        assert "TG 51 13" in everything
        assert "51409" not in everything
    assert "TG 51409 13177" in press(room, desk, "exact", "find-0001")[0].text


@pytest.mark.parametrize(
    ("changes", "field", "says"),
    [
        ({"title": " "}, "title", "title is empty"),
        ({"by": ""}, "by", "who you are"),
        ({"length_mm": "3 cm"}, "length_mm", "not a number"),
        ({"weight_g": "-4"}, "weight_g", "above 0"),
        ({"findspot": "TG 5140 131"}, "findspot", "7 figures"),
        ({"findspot": "TG 51 13", "findspot_precision_m": "5"}, "findspot", "1000 m"),
        ({"findspot_precision_m": "5"}, "findspot", "not where"),
        ({"found_on": "14.3.2026"}, "found_on", "2026-03-14"),
        ({"verified_by": "a finds officer"}, "verified_by", "go together"),
        ({"type_confidence": "certain"}, "type_confidence", "A lead is never certain"),
        ({"type_confidence": "agreed by a finds officer"}, "verified_by", "who, and which day"),
        ({"type_id": ""}, "type_confidence", "say which type"),
        ({"status": "lost"}, "status", "not offered"),
        ({"description": "a\x07b"}, "description", "control character"),
    ],
)
def test_what_the_register_refuses_stands_with_its_field(
    room: Room, changes: dict[str, str], field: str, says: str
) -> None:
    _, desk = press(room, Desk(), "write")
    assert desk.writing is not None
    problems = read_form(desk.writing, sent(desk, **changes)).problems
    assert set(problems) == {field}
    assert says in problems[field]
    page, after = press(room, desk, "keep", **sent(desk, **changes))
    assert f"ss-told-{field}" in str(page.elements)
    assert after.writing is desk.writing  # nothing typed is lost
    assert not room.folder.exists()


def test_problems_name_fields_as_the_form_does() -> None:
    problems = record_problems(FindRecord(title="x", verified_by="somebody"))
    assert problems["verified_by"].startswith("“Seen by” and “Seen on” go together")
    assert {name for name in FIELDS if name not in LABELS} == {"id", "created_on", "changed_on"}


def test_a_form_is_kept_once(room: Room) -> None:
    _, desk = press(room, Desk(), "write")
    fields = sent(desk)
    _, done = press(room, desk, "keep", **fields)
    page, _ = press(room, done, "keep", **fields)
    assert "kept already" in page.text
    with open_register(room.folder) as register:
        assert register.status().finds == 1


def test_change_history_and_undo(room: Room) -> None:
    desk = kept(room, findspot=EXACT)
    _, desk = press(room, desk, "edit", "find-0001")
    page, desk = press(room, desk, "keep", **sent(desk, title="Bow brooch", status="recorded"))
    assert "Title: Perhaps a knee brooch → Bow brooch" in page.text
    with open_register(room.folder) as register:
        find = register.get("find-0001")
        assert find.findspot is not None and find.findspot.value == EXACT  # an empty field keeps it
        assert len(find.photos) == 1
    page, desk = press(room, desk, "undo", "find-0001")
    assert "Say who you are" in page.text
    page, desk = press(room, desk, "undo", "find-0001", by="Recorder")
    assert "was taken back" in page.text and "Perhaps a knee brooch" in page.text
    page, desk = press(room, desk, "undo", "find-0001", by="Recorder")
    assert "out of the register" in page.text


def test_a_change_by_somebody_else_is_not_overwritten(room: Room) -> None:
    _, desk = press(room, kept(room), "edit", "find-0001")
    with open_register(room.folder) as register:
        register.change("find-0001", {"title": "Another title"}, by="Somebody else")
    page, _ = press(room, desk, "keep", **sent(desk, title="My title"))
    assert "changed by somebody else" in page.text and "Nothing was recorded" in page.text
    assert any(part.get("value") == "My title" for part in page.all("input"))
    with open_register(room.folder) as register:
        assert register.get("find-0001").title == "Another title"


def test_the_list_is_searched_and_dated(room: Room) -> None:
    desk = kept(room)
    _, desk = press(room, desk, "blank")
    page, desk = press(room, desk, "keep", **sent(desk, title="Iron key"))
    page, desk = press(room, desk, "list", words="iron")
    assert "1 of 2 finds." in page.text and "Perhaps a knee" not in page.text
    page, desk = press(room, desk, "list", words="")
    assert "2 finds." in page.text
    assert "1 find with a type lead of this set" in page.text and page.all("svg")


def test_an_empty_register_says_what_to_do(room: Room) -> None:
    page, _ = press(room, Desk(), "list")
    assert "Nothing is recorded yet." in page.text
    assert not room.folder.exists()


def test_the_country_is_chosen_once_and_law_stands_beside_the_find(room: Room) -> None:
    desk = kept(room, material="silver")
    page, desk = press(room, desk, "open", "find-0001")
    assert "Told because the material is given as 'silver'." in page.text
    assert "No country is chosen yet" in page.text
    page, desk = press(room, desk, "country", "find-0001", country="scotland")
    assert chosen_country() == "scotland"
    assert "Told for Scotland." in page.text
    page, desk = press(room, desk, "country", "find-0001", country="atlantis")
    assert "not a country with lines of its own" in page.text


def test_what_is_not_there_is_told(room: Room) -> None:
    kept(room)
    page, _ = press(room, Desk(), "open", "find-9999")
    assert "There is no find 'find-9999'" in page.text
    page, _ = press(room, Desk(), "open", HOSTILE)
    assert "onerror" not in str(page.elements)


def test_hostile_text_stays_text(room: Room) -> None:
    desk = kept(room, title=HOSTILE, description=HOSTILE, findspot_words=HOSTILE)
    for does in ("list", "open", "edit", "exact"):
        page, desk = press(room, desk, does, "find-0001")
        assert not any("onerror" in part for part in page.all("img"))


def test_sheets_are_pdf(room: Room, reference: ReferenceSet) -> None:
    kept(room, findspot=EXACT)
    name, content = make_paper({"kind": "find", "id": "find-0001"}, reference, room.folder)
    # ISO 32000-2, 7.5.2: a PDF file begins with %PDF-.
    assert name == "find-0001.pdf" and content.startswith(b"%PDF-")
    for kind in ("type", "look-alikes"):
        assert make_paper({"kind": kind, "id": "knee"}, reference, room.folder)[1][:5] == b"%PDF-"


@pytest.mark.parametrize("wanted", [None, [], {"kind": "find"}, {"kind": "x", "id": "knee"}, {}])
def test_a_sheet_that_cannot_be_made_is_told(
    wanted: Any, reference: ReferenceSet, tmp_path: Path
) -> None:
    with pytest.raises(SimsearchError):
        make_paper(wanted, reference, tmp_path / "none")


def test_what_a_record_says_counts_again_for_its_sheet() -> None:
    record = FindRecord(
        title="x", length_mm=30, completeness="half or more", material="green stuff", weight_g=3
    )
    observed = Observed(length_mm=Measure(30, 1, "broken"), weight_g=3, completeness="half or more")
    assert observed_of(record) == observed


def test_an_empty_form_asks_for_a_title_and_a_name() -> None:
    writing = start_empty()
    assert set(read_form(writing, writing.values).problems) == {"title", "by"}


def test_the_law_of_the_country_chosen_is_told_line_by_line() -> None:
    assert "choose once" in Read(render_law()).text
    page = Read(choose("ireland"))
    assert "The law in Ireland" in page.text
    for rule in rules("ireland"):
        assert rule.words in page.text and rule.source in page.text
    assert "not a country with lines of its own" in choose("atlantis")
    assert chosen_country() == "ireland"
