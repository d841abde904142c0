"""What the page shows, read back with the standard library's HTML parser."""

from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image

from simsearch import open_set
from simsearch.leads.model import Leads, Placing
from simsearch.page import render
from simsearch.page.intake import HeldPhoto, Problem, Tray
from simsearch.page.thumbs import encode_picture, thumbnail
from simsearch.sets.reference_set import ReferenceSet
from tests.page.listing import listing
from tests.page.small_set import COLOURS, FAR_COLOUR, HOSTILE, make_small_set
from tests.tiny_set import GridEncoder

VOID = {"img", "br", "input", "link", "meta", "stop", "hr"}


class Read(HTMLParser):
    """Elements with their attributes, the visible text, and whether every tag is closed."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.text = ""
        self._open: list[str] = []
        self.feed(html)
        self.close()
        assert self._open == [], f"left open: {self._open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.elements if name == tag]


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> ReferenceSet:
    return open_set(make_small_set(tmp_path_factory.mktemp("small") / "set"))


def tray_of(colour: tuple[int, int, int]) -> Tray:
    image = Image.new("RGB", (60, 40), colour)
    return Tray((HeldPhoto("find.jpg", image, encode_picture(image, 60)),))


def looked(reference: ReferenceSet, colour: tuple[int, int, int]) -> Leads:
    return reference.look([tray_of(colour).photos[0].image], encoder=GridEncoder())


def leads_page(reference: ReferenceSet, colour: tuple[int, int, int]) -> Read:
    return Read(render.render_leads(looked(reference, colour), tray_of(colour), reference))


def test_leads_stand_in_order_as_articles_with_headings(reference: ReferenceSet) -> None:
    page = leads_page(reference, COLOURS["knee"])
    articles = page.all("article")
    assert [a["aria-labelledby"] for a in articles] == [f"lead-{rank}" for rank in range(1, 6)]
    headings = [a["id"] for a in page.all("h3") if a.get("id", "").startswith("lead-")]
    assert headings == [f"lead-{rank}" for rank in range(1, 6)]
    assert len(page.all("ol")) == 1
    assert page.text.index("Knee brooch") < page.text.index("Early disc brooch")
    assert "Leads to verify, never an identification." in page.text


def test_a_lead_carries_what_is_needed_to_check_it(reference: ReferenceSet) -> None:
    text = leads_page(reference, COLOURS["knee"]).text
    for fact in (
        "bent-bow brooch",
        "c. AD 100 - AD 200",
        "strong lead",
        "More than 19 in 20 of such leads were right in our tests.",
        "Look for a spring case",
        "the bow is smooth, not ribbed",
        "Odds were measured on 80 objects",
        "the right type was in this list. 1 type: Knee brooch.",
        "Do not clean it yet",
    ):
        assert fact in text


def test_every_photo_has_credit_licence_and_a_mark_when_rendered(reference: ReferenceSet) -> None:
    leads = looked(reference, COLOURS["knee"])
    page = leads_page(reference, COLOURS["knee"])
    shown = [evidence.photo for lead in leads.leads for evidence in lead.evidence[:3]]
    shown += [lead.placing.photo for lead in leads.leads[:3] if lead.placing and lead.placing.clear]
    assert len(shown) > 15  # a placing is among them
    assert page.text.count("Harrow Fen Finds Club (invented)") == len(shown)
    licences = [a for a in page.all("a") if "creativecommons.org/publicdomain/zero" in a["href"]]
    assert len(licences) == len(shown)
    tags = [a for a in page.all("span") if a.get("class") == "ss-tag"]
    assert len(tags) == sum(photo.is_rendered for photo in shown)
    named = [a.get("alt", "") for a in page.all("img")] + [
        a.get("aria-label", "") for a in page.all("svg")
    ]
    assert sum("rendered picture" in text for text in named) == len(tags)


def test_pictures_are_inline_and_nothing_is_loaded_from_anywhere(reference: ReferenceSet) -> None:
    html = render.render_leads(
        looked(reference, COLOURS["knee"]), tray_of(COLOURS["knee"]), reference
    )
    page = Read(html)
    assert page.all("img")
    assert all(a["src"].startswith("data:image/jpeg;base64,") for a in page.all("img"))
    assert not page.all("script")
    assert not page.all("iframe")
    assert not page.all("link")


@pytest.mark.parametrize("what", ["leads", "type", "browse", "no type"])
def test_hostile_texts_are_shown_and_never_obeyed(reference: ReferenceSet, what: str) -> None:
    html = {
        "leads": lambda: render.render_leads(
            looked(reference, COLOURS["odd"]), tray_of(COLOURS["odd"]), reference
        ),
        "type": lambda: render.render_type(reference.types["odd"], reference),
        "browse": lambda: listing(reference),
        "no type": lambda: render.render_type_or_close(HOSTILE, reference),
    }[what]()
    page = Read(html)
    assert not [a for _, a in page.elements if any(name.startswith("on") for name in a)]
    assert all(a["src"].startswith("data:") for a in page.all("img"))
    assert HOSTILE[:40] in page.text  # shown as it was written


def test_a_hostile_file_name_is_text_only() -> None:
    held = tray_of(COLOURS["knee"]).photos[0]
    page = Read(render.render_tray(Tray((replace(held, name=HOSTILE),), (Problem(HOSTILE, ""),))))
    assert len(page.all("img")) == 1
    assert page.all("img")[0]["src"].startswith("data:")


def test_nothing_close_is_an_answer_with_the_nearest_under_a_fold(
    reference: ReferenceSet,
) -> None:
    page = leads_page(reference, FAR_COLOUR)
    assert "Nothing here looks close" in page.text
    assert "None of the 20 reference photos" in page.text
    names = [name for name, _ in page.elements]
    assert names.index("details") < names.index("article")
    assert "open" not in page.all("details")[0]
    assert "strong lead" not in page.text


def test_without_measured_odds_none_are_shown(reference: ReferenceSet) -> None:
    leads = looked(reference, COLOURS["knee"])
    bare = tuple(replace(lead, odds=None, band="lead") for lead in leads.leads)
    html = render.render_leads(
        replace(leads, leads=bare, odds_note="No odds are given: they were not measured."),
        tray_of(COLOURS["knee"]),
        reference,
    )
    assert "in our tests" not in html
    assert "No odds are given" in html


HALF = Placing(
    photo=None,  # type: ignore[arg-type]  # filled in from the set
    path=Path(),
    find_photo=0,
    agreement=0.6,
    seen=0.48,
    turn=30.0,
    clear=True,
    outline=(((0.25, 0.25), (0.75, 0.25), (0.5, 1.0)),),
    pairs=((0.1, 0.2, 0.5, 0.5), (0.9, 0.8, 0.75, 0.25)),
)


def placed_page(reference: ReferenceSet, placing: Placing, close: bool = True) -> Read:
    """The page of a find whose first lead has this placing, and no other lead has one."""
    leads = looked(reference, COLOURS["knee"])
    photo = reference.photos_of("knee")[0]
    here = replace(placing, photo=photo, path=reference.path_of(photo))
    bare = tuple(replace(lead, placing=here if lead.rank == 1 else None) for lead in leads.leads)
    found = replace(leads, leads=bare, anything_close=close)
    return Read(render.render_leads(found, tray_of(COLOURS["knee"]), reference))


def test_a_placing_is_drawn_over_the_reference_photo_and_said_in_words(
    reference: ReferenceSet,
) -> None:
    page = placed_page(reference, HALF)
    assert "About half of this type's outline seems to be present." in page.text
    assert "A lead to verify" in page.text
    find, whole = [a for a in page.all("svg") if a.get("class") != "date-chart"]
    assert find["aria-label"] == "Your find, 2 places that look alike numbered in both"
    assert "Knee brooch, rendered picture" in whole["aria-label"]
    assert {a["role"] for a in (find, whole)} == {"img"}
    # The reference photo is 64 x 64 pixels and shown as it is; the find 60 x 40.
    assert (find["viewbox"], whole["viewbox"]) == ("0 0 60 40", "0 0 64 64")
    assert {a["points"] for a in page.all("polygon")} == {"16.0,16.0 48.0,16.0 32.0,64.0"}
    marks = [(float(a["cx"]), float(a["cy"])) for a in page.all("circle")][-4:]
    assert marks == [(6, 8), (54, 32), (32, 32), (48, 16)]
    assert all(a["href"].startswith("data:image/jpeg;base64,") for a in page.all("image"))


def test_a_placing_that_is_not_clear_is_not_drawn(reference: ReferenceSet) -> None:
    for page in (
        placed_page(reference, replace(HALF, clear=False)),
        placed_page(reference, replace(HALF, find_photo=3)),
        placed_page(reference, HALF, close=False),
    ):
        assert not page.all("polygon")
        assert "seems to be present" not in page.text


def test_precious_metal_and_ammunition_carry_their_cautions(reference: ReferenceSet) -> None:
    page = leads_page(reference, COLOURS["early-disc"])
    assert "Check the current text." in page.text
    shot = leads_page(reference, COLOURS["lead-shot"])
    alerts = [a for a in shot.all("div") if a.get("role") == "alert"]
    assert len(alerts) == 1
    assert shot.text.index("This may be ammunition") < shot.text.index("Lead shot")


def test_the_chart_of_dates_repeats_every_lead(reference: ReferenceSet) -> None:
    page = leads_page(reference, COLOURS["knee"])
    assert len([a for a in page.all("svg") if a.get("class") == "date-chart"]) == 1
    assert page.text.count("Thimble") == 0
    assert page.text.count("c. 50 BC - AD 60") >= 2  # in the chart and with its lead


def test_a_type_page_says_everything_the_set_knows(reference: ReferenceSet) -> None:
    page = Read(render.render_type(reference.types["knee"], reference))
    for fact in (
        "Knee brooch",
        "bent-bow brooch, second name",
        "c. AD 100 - AD 200",
        "dates from memory",
        "Another author gives AD 120 - 180.",
        "copper alloy",
        "25 to 60 mm",
        "sprung",
        "A red square.",
        "A short catch.",
        "The bow.",
        "The pin.",
        "Feel for a rib",
        "the bow is smooth, not ribbed",
        "Harrow Fen Finds Club, notes (invented)",
    ):
        assert fact in page.text
    # Four photos of its own, and one of each beside its look-alike.
    assert len(page.all("img")) == 4 + 2
    assert [a["data-type"] for a in page.all("a") if "data-type" in a] == ["dolphin"]
    assert page.text.count("the bow has a rib") == 1  # what the other type says of itself


def test_a_type_without_photos_says_so(reference: ReferenceSet) -> None:
    text = Read(render.render_type(reference.types["no-photo"], reference)).text
    assert "no photo of this type yet" in text
    assert "1400 to today" in text


def test_an_unknown_type_offers_close_ones(reference: ReferenceSet) -> None:
    page = Read(render.render_type_or_close("dolfin", reference))
    assert "No type “dolfin” in this set" in page.text
    assert [a["data-type"] for a in page.all("a") if "data-type" in a] == ["dolphin"]


def test_a_photo_that_has_gone_leaves_words_in_its_place(tmp_path: Path) -> None:
    reference = open_set(make_small_set(tmp_path / "set"))
    (reference.folder / "photos/knee-1.png").unlink()
    page = Read(render.render_type(reference.types["knee"], reference))
    assert "photos/knee-1.png cannot be read" in page.text
    assert len(page.all("img")) == 3 + 1  # its own, and the look-alike's


def test_a_photo_replaced_on_disk_is_read_again(tmp_path: Path) -> None:
    import os

    path = tmp_path / "a.png"
    Image.new("RGB", (30, 30), (255, 0, 0)).save(path)
    first = thumbnail(path, 20)
    Image.new("RGB", (30, 30), (0, 0, 255)).save(path)
    os.utime(path, ns=(1, 1))
    second = thumbnail(path, 20)
    assert first is not None
    assert second is not None
    assert (first.width, first.height) == (20, 20)
    assert first.data_uri != second.data_uri


def test_care_and_law_name_their_sources() -> None:
    page = Read(render.render_care())
    for place in ("England and Wales", "Scotland", "Northern Ireland", "Ireland", "Anywhere else"):
        assert place in page.text
    notes = [a for a in page.all("p") if a.get("class") == "ss-sources"]
    assert len(notes) >= 10
    assert any("legislation.gov.uk" in a["href"] for a in page.all("a"))


def test_errors_say_what_to_do_and_that_nothing_was_lost() -> None:
    text = Read(render.render_tray(Tray((), (Problem("x.jpg is damaged.", "Send another."),)))).text
    for part in ("x.jpg is damaged.", "Send another.", "Nothing was lost"):
        assert part in text
    assert "Nothing was lost" in render.render_problem("What.", "Do.")
