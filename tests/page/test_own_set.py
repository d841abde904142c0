"""The tab "Your set" without a browser: sets, forms, adding, opinions, withdrawing, care."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import gradio as gr
import pytest
from PIL import ExifTags, Image, ImageOps

import simsearch.encode
from simsearch.errors import SetError
from simsearch.page import own_set, own_set_view
from simsearch.page.browse import lay_out_browsing
from simsearch.page.own_set_forms import (
    NEW_TYPE,
    START,
    HeldUpload,
    check_form,
    edtf_of,
    read_fields,
    take_upload,
)
from simsearch.page.own_set_work import stepping
from simsearch.page.shelf import Shelf, index_fits
from simsearch.sets.reference_set import open_set
from tests.making.club import snap, tree
from tests.page.gps import MARKER, save_photo_with_place
from tests.page.own_tab import FIELDS, NEW, Tab, last, small_set, tab
from tests.tiny_set import GridEncoder

__all__ = ["small_set", "tab"]  # fixtures


def test_the_shipped_set_is_only_looked_at(tmp_path: Path) -> None:
    shelf = Shelf(open_set(), home=tmp_path)
    assert not shelf.may_change
    with pytest.raises(SetError, match="not changed"):
        shelf.require_change()
    head = own_set_view.render_own_head(shelf)
    assert "It is not changed here" in head
    assert "simsearch add" not in head and "simsearch merge" not in head
    panel = own_set_view.render_panel(shelf, shelf.reference.photos[0].id, doing="withdraw")
    assert "data-sure" not in panel and 'data-do="opinion"' not in panel
    with gr.Blocks():
        parts = own_set.lay_out_own_set(shelf)
    assert parts.form.value == "" and parts.shot.value == ""
    # A request that no button of the page sends is refused all the same.
    top = gr.HTML("")
    with gr.Blocks():
        changed = own_set.Changed(parts, shelf, top, lay_out_browsing(shelf.live))
    photo = shelf.reference.photos[0].id
    last(own_set.withdrawn(shelf, parts, changed, {"photo": photo, "sure": "yes"}))
    assert photo in {row.id for row in open_set().photos}


def test_a_set_is_made_in_the_users_data_and_opened(tab: Tab) -> None:
    live, first = tab.shelf.live, tab.shelf.reference
    tab.shelf.make("Brooches of the Fen", "", with_types=True)
    assert tab.folder == tab.shelf.home / "brooches-of-the-fen"
    assert live.title == "Brooches of the Fen" and live.photos == ()
    assert list(live.types) == list(first.types)
    assert tab.new_faults() == set()
    names = [(place.name, place.is_open) for place in tab.shelf.places()]
    assert names == [("", False), ("brooches-of-the-fen", True)]
    tab.shelf.use("")
    assert len(live.photos) == 20


@pytest.mark.parametrize("name", ["../../outside", "/etc", "..", "a/../../b", "C:\\x"])
def test_a_set_is_made_nowhere_else(tab: Tab, name: str) -> None:
    tab.shelf.make("Title", name, with_types=False)
    assert tab.folder.parent == tab.shelf.home


@pytest.mark.parametrize(
    ("title", "name", "told"),
    [("", "", "name"), ("", "x", "title"), ("Fen", "fen", "something in")],
)
def test_what_is_wrong_with_a_new_set_is_told(tab: Tab, title: str, name: str, told: str) -> None:
    tab.shelf.make("Fen", "fen", with_types=False)
    with pytest.raises(SetError, match=told):
        tab.shelf.make(title, name, with_types=False)
    assert tab.folder.name == "fen"
    with pytest.raises(SetError, match="no such set"):
        tab.shelf.use("../set")


def test_an_upload_is_shown_upright_and_its_file_is_gone(tab: Tab, tmp_path: Path) -> None:
    photo = tmp_path / "IMG_1.jpg"
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6  # Exif 2.32: the picture is to be turned right
    snap(photo, 5, (60, 40), exif=exif, quality=95)
    held = tab.held(photo)
    with Image.open(photo) as image:
        upright = ImageOps.exif_transpose(image).size
    assert held.shown.image.size == upright == (40, 60)
    assert not [path for path in tab.uploads.rglob("*") if path.is_file()]
    shown = own_set_view.render_shot(held)
    assert "IMG_1.jpg" in shown and 'width="40" height="60"' in shown


def test_a_path_that_is_no_upload_is_neither_read_nor_deleted(tab: Tab, tmp_path: Path) -> None:
    secret = snap(tmp_path / "secret.png", 1)
    for entry in ({"path": str(secret), "name": "x.png"}, None, "x", {"path": 7}, {}):
        assert not isinstance(take_upload(entry, tab.uploads), HeldUpload)
    assert secret.is_file()


def test_what_is_missing_is_told_beside_its_field_and_nothing_is_written(tab: Tab) -> None:
    before = tree(tab.folder)
    said = tab.add(None, dict(START))
    form = said[tab.parts.form]
    for name in ("type", "by", "authority", "creator", "licence", "source", "consent"):
        assert f'id="ss-own-{name}-wrong"' in form
    assert "Choose or take a photo first." in form
    assert tree(tab.folder) == before


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"licence": "All rights reserved"}, "licence"),
        ({"view": "above"}, "view"),
        ({"consent": "maybe"}, "consent"),
        ({"type": "no-such"}, "type"),
        ({"specimen": "no-such"}, "specimen"),
        ({"specimen_name": "knee 1"}, "specimen_name"),
        ({"specimen": "dolphin-1"}, "specimen"),
    ],
)
def test_a_wrong_field_keeps_the_photo_out(
    tab: Tab, tmp_path: Path, changes: dict[str, str], field: str
) -> None:
    before = tree(tab.folder)
    said = tab.add(tab.held(snap(tmp_path / "a.png", 3)), FIELDS | changes)
    assert f'id="ss-own-{field}-wrong"' in said[tab.parts.form]
    assert tree(tab.folder) == before


def test_a_photo_of_a_new_type_is_added_and_indexed(tab: Tab, tmp_path: Path) -> None:
    photo = save_photo_with_place(tmp_path / "IMG_0007.jpg", (200, 120, 40))
    said = tab.add(tab.held(photo), NEW)
    assert "Added as fen-brooch-img-0007" in said[tab.parts.told]
    assert said[tab.parts.held] is None
    fresh = open_set(tab.folder)
    kind = fresh.types["fen-brooch"]
    assert (kind.name, kind.dates.words()) == ("Fen brooch", "50 BC - AD 60")
    row = fresh.photos[-1]
    assert (row.type, row.labelled_by, row.licence) == ("fen-brooch", FIELDS["by"], "CC-BY-4.0")
    assert fresh.index.photo_ids[-1] == row.id and index_fits(fresh)
    assert tab.shelf.reference.photos[-1].id == row.id
    assert [one.by for one in fresh.opinions if one.photo == row.id] == [FIELDS["by"]]
    assert tab.new_faults() == set()
    # Without the tick the place is nowhere: not in the set, not where uploads arrive.
    assert not [name for name, content in tree(tab.folder).items() if MARKER in content]
    assert fresh.private[row.id].gps == "" and "Exif" not in str(tree(tab.folder)[row.file][:200])
    assert not [path for path in tab.uploads.rglob("*") if path.is_file()]
    form = said[tab.parts.form]
    assert 'value="B. Clubber (invented)"' in form and 'value="Fen brooch"' not in form


def test_the_place_is_kept_when_ticked_and_never_shown(tab: Tab, tmp_path: Path) -> None:
    photo = save_photo_with_place(tmp_path / "p.jpg", (200, 120, 40))
    tab.add(tab.held(photo), FIELDS | {"keep_gps": "yes"})
    row = tab.shelf.reference.photos[-1]
    # 52 deg 30 min 15 s and 0 deg 20 min 45 s, by hand: 52 + 30/60 + 15/3600, 20/60 + 45/3600.
    assert tab.shelf.reference.private[row.id].gps == "52.50417, 0.34583"
    assert MARKER not in tree(tab.folder)[row.file]
    panel = own_set_view.render_panel(tab.shelf, row.id)
    assert "52.5" not in panel and "not shown here" in panel


def test_the_same_photo_is_added_once(tab: Tab, tmp_path: Path) -> None:
    photo = snap(tmp_path / "a.png", 3)
    tab.add(tab.held(photo), FIELDS)
    before = tree(tab.folder)
    said = tab.add(tab.held(photo), FIELDS)
    assert "in the set already" in said[tab.parts.form]
    assert tree(tab.folder) == before


def test_a_second_photo_joins_an_object(tab: Tab, tmp_path: Path) -> None:
    tab.add(tab.held(snap(tmp_path / "b.png", 4)), FIELDS | {"specimen": "knee-1", "view": "back"})
    row = tab.shelf.reference.photos[-1]
    assert (row.specimen, row.view) == ("knee-1", "back")
    assert {"id": "knee-1", "words": "knee-1 (2 photos)"} in own_set_view.objects_of(
        tab.shelf.reference, "knee"
    )


def opinion(tab: Tab, **fields: str) -> str:
    said = own_set.second_opinion(tab.shelf, tab.parts, tab.changed, dict(fields))
    return str(said[tab.parts.panel])


def test_a_second_opinion_stands_beside_the_first(tab: Tab) -> None:
    given = {"photo": "knee-1", "type": "dolphin", "by": "C. Officer", "authority": "finds officer"}
    panel = opinion(tab, **given, note="the bow is ribbed")
    assert "The label in force stays" in panel and "the bow is ribbed" in panel
    assert [row.type for row in open_set(tab.folder).photos if row.id == "knee-1"] == ["knee"]
    panel = opinion(tab, **given, in_force="yes")
    fresh = open_set(tab.folder)
    assert [row.type for row in fresh.photos if row.id == "knee-1"] == ["dolphin"]
    told = [(one.type, one.by) for one in fresh.opinions if one.photo == "knee-1"]
    assert told == [("knee", "the tests"), *[("dolphin", "C. Officer")] * 2]
    assert panel.count("in force</span>") == 1
    assert tab.new_faults() == set()


@pytest.mark.parametrize("missing", ["type", "by", "authority"])
def test_an_opinion_needs_a_type_a_name_and_an_authority(tab: Tab, missing: str) -> None:
    before = tree(tab.folder)
    given = {"photo": "knee-1", "type": "dolphin", "by": "C. Officer", "authority": "handbook"}
    panel = opinion(tab, **given | {missing: ""})
    assert "Nothing was written" in panel and "<details open>" in panel
    assert tree(tab.folder) == before


def test_a_withdrawn_photo_goes_after_a_second_word_and_stays_out(tab: Tab, tmp_path: Path) -> None:
    photo = snap(tmp_path / "a.png", 3)
    tab.add(tab.held(photo), FIELDS)
    row = tab.shelf.reference.photos[-1]
    picture = tree(tab.folder)[row.file]
    before = tree(tab.folder)
    asked = tab.withdraw(photo=row.id)
    assert tree(tab.folder) == before
    assert "It really goes" in asked[tab.parts.panel]
    tab.withdraw(photo=row.id, sure="yes")
    after = tree(tab.folder)
    assert row.file not in after and picture not in after.values()
    assert row.id not in open_set(tab.folder).index.photo_ids
    named = [name for name, content in after.items() if row.id.encode() in content]
    assert named == []
    assert tab.new_faults() == set()
    said = tab.add(tab.held(photo), FIELDS)
    assert "withdrawn" in said[tab.parts.form] and 'name="again"' in said[tab.parts.form]
    tab.add(tab.held(photo), FIELDS | {"again": "yes"})
    assert len(tab.shelf.reference.photos) == 21


def test_an_index_that_fails_leaves_the_photo_in_and_says_so(
    tab: Tab, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(progress: object) -> None:
        raise SetError("The disk is full.", hint="Make room.")

    monkeypatch.setattr(tab.shelf, "bring_index_up_to_date", fails)
    said = tab.add(tab.held(snap(tmp_path / "a.png", 3)), FIELDS)
    assert "The disk is full." in said[tab.parts.told]
    assert "only the index is not up to date" in said[tab.parts.told]
    assert "Bring the index up to date" in said[tab.parts.head]
    monkeypatch.undo()
    monkeypatch.setattr(simsearch.encode, "load_encoder", lambda name="grid": GridEncoder(name))
    last(own_set.indexed_again(tab.shelf, tab.parts, tab.changed))
    assert index_fits(tab.shelf.reference) and len(tab.shelf.reference.photos) == 21


def test_care_reports_and_its_buttons_lead_on(tab: Tab, tmp_path: Path) -> None:
    tab.add(tab.held(snap(tmp_path / "a.png", 3, (400, 300))), FIELDS)
    said = last(own_set.looked_over(tab.shelf, tab.parts))[tab.parts.report]
    assert "How good is this set?" in said
    assert 'data-do="act"' in said and 'data-action="replace"' in said
    photo = tab.shelf.reference.photos[-1].id

    def act(kind: str, **sent: str) -> dict[Any, Any]:
        return own_set.acted(tab.shelf, tab.parts, {"action": kind, **sent})

    label = act("label", photos=f"{photo};knee-1", types="knee")[tab.parts.panel]
    assert f"Photo {photo}" in label and "<details open><summary>Give another" in label
    assert "<details open><summary>Withdraw" in act("replace", photos=photo)[tab.parts.panel]
    assert 'value="knee" checked' in act("add", types="knee")[tab.parts.form]
    assert "Not in this set" in act("withdraw", photos="<b>gone")[tab.parts.panel]
    assert "<b>" not in act("withdraw", photos="<b>gone")[tab.parts.panel]


EVIL = ("<script>alert(1)</script>", "../../etc/passwd", "\x00\x1b[2J", "x" * 100_000, "=1+1", "")


@pytest.mark.parametrize("evil", EVIL)
def test_whatever_is_sent_nothing_breaks_or_is_shown_as_code(
    tab: Tab, tmp_path: Path, evil: str
) -> None:
    sent = dict.fromkeys((*NEW, "specimen", "specimen_name", "photo", "words", "note"), evil)
    fields = read_fields(sent | {"odd": ["a"], "number": 7})
    assert all(len(value) <= 300 and value.isprintable() for value in fields.values())
    held = tab.held(snap(tmp_path / "a.png", 3))
    panel = own_set.second_opinion(tab.shelf, tab.parts, tab.changed, fields)
    pieces = [
        *tab.add(held, fields).values(),
        *panel.values(),
        *tab.withdraw(photo=evil, sure="yes").values(),
        *own_set.acted(tab.shelf, tab.parts, {"action": "label", "photos": evil}).values(),
        own_set_view.render_type_choices(tab.shelf.reference, evil[:200], evil[:200]),
        own_set_view.render_photos(tab.shelf.reference, evil[:200]),
        own_set_view.render_own_head(tab.shelf, evil, {"title": evil, "folder": evil}),
    ]
    assert not [piece for piece in pieces if isinstance(piece, str) and "<script" in piece]
    assert "<img src=x" not in str(pieces)  # the hostile name of one of the small set's types
    assert tab.new_faults() == set()
    assert len(open_set(tab.folder).photos) == 20


@pytest.mark.parametrize(
    ("first", "last_year", "about", "written", "years"),
    [
        ("50 BC", "AD 60", "", "-0049/0060", (-49, 60)),
        ("50 BC", "AD 60", "yes", "-0049~/0060~", (-49, 60)),
        ("1 BC", "1 BC", "", "0000/0000", (0, 0)),
        ("1850", "", "", "1850/..", None),
        ("", "1540", "yes", "../1540~", None),
    ],
)
def test_years_become_edtf(
    first: str, last_year: str, about: str, written: str, years: tuple[int, int] | None
) -> None:
    """Read again by the edtf package, which follows the Library of Congress specification."""
    edtf = pytest.importorskip("edtf")
    text = edtf_of({"first_year": first, "last_year": last_year, "about": about})
    assert text == written
    read = edtf.parse_edtf(text)
    if years:
        assert (read.lower.lower_strict().tm_year, read.upper.lower_strict().tm_year) == years


def test_no_field_becomes_a_formula_of_a_spreadsheet(tab: Tab, tmp_path: Path) -> None:
    """OWASP, "CSV Injection": cells that begin with = + - @ are evaluated; ' makes them text."""
    sent = FIELDS | {"creator": "=HYPERLINK(A1)", "source": "@SUM(1)", "by": "-1+cmd|' /C calc'!A0"}
    fields = read_fields(sent | {"type": NEW_TYPE, "first_year": "-50"})
    assert (fields["type"], fields["first_year"]) == (NEW_TYPE, "-50")  # these stay as they are
    tab.add(tab.held(snap(tmp_path / "a.png", 3)), read_fields(sent))
    row = open_set(tab.folder).photos[-1]
    assert (row.creator, row.source) == ("'=HYPERLINK(A1)", "'@SUM(1)")
    assert row.labelled_by.startswith("'-1+cmd")


def test_years_that_cannot_be_are_told() -> None:
    reference = open_set()
    for first, end in (("AD 60", "50 BC"), ("", ""), ("long ago", "")):
        told = check_form(NEW | {"first_year": first, "last_year": end}, None, reference)
        assert "first_year" in told


def test_types_are_found_in_spite_of_spelling(tab: Tab) -> None:
    found = own_set_view.render_type_choices(tab.shelf.reference, "dolfin")
    assert 'value="dolphin"' in found and 'value="knee"' not in found
    assert "“dolfin” was taken for “dolphin”" in found
    kept = own_set_view.render_type_choices(tab.shelf.reference, "dolfin", "knee")
    assert 'value="knee" checked' in kept


def test_work_beside_tells_how_far_it_is_and_what_failed() -> None:
    def work(fail: bool) -> Callable[[Callable[[int, int], None]], str]:
        def run(told: Callable[[int, int], None]) -> str:
            told(1, 2)
            told(2, 2)
            if fail:
                raise SetError("no")
            return "done"

        return run

    steps = stepping(work(False))
    told = []
    while True:
        try:
            told.append(next(steps))
        except StopIteration as end:
            assert end.value == "done"
            break
    assert told[-1] == (2, 2)
    with pytest.raises(SetError, match="no"):
        list(stepping(work(True)))


def test_a_held_photo_is_what_was_uploaded(tab: Tab, tmp_path: Path) -> None:
    photo = snap(tmp_path / "a.png", 8)
    assert tab.held(photo).content == photo.read_bytes()
    assert Image.open(io.BytesIO(photo.read_bytes())).size == (40, 30)
