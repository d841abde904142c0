"""A walk in a real browser: photo, leads, what the photo cannot show, record, sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.page.small_set import save_find
from tests.page.test_browser import DESK, PHONE, Visit, browser, pytestmark, server, visit

# Fixtures and the reason to skip are the other browser tests' own.
__all__ = ["browser", "pytestmark", "server", "visit"]
EXACT = "TG 51409 13177"
"""The point of the Ordnance Survey's worked example, no findspot."""


def too_wide(page: Any) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth > innerWidth"))


def weigh(page: Any, **fields: str) -> None:
    panel = page.locator("#ss-cannot-show")
    for label, text in fields.items():
        panel.get_by_role("textbox", name=label).first.fill(text)
    panel.get_by_role("button", name="Weigh these in").click()


@pytest.mark.parametrize("visit", [DESK, PHONE], indirect=True, ids=["desk", "phone"])
def test_from_a_photo_to_a_sheet(visit: Visit, tmp_path: Path) -> None:
    page = visit.page
    visit.upload(save_find(tmp_path / "find.png"))
    visit.look()
    page.get_by_role("heading", name="The leads dated together").wait_for()
    page.get_by_role("heading", name="What to look at next").wait_for()
    # A wrong entry stands with its field, and the leads stay.
    weigh(page, Length="thirty")
    page.locator("#ss-told-length").wait_for()
    assert page.get_by_label("Length").first.input_value() == "thirty"
    assert page.get_by_role("article").count() == 5
    # Two points on a known distance offer a length; it is put in only when that is asked for.
    measuring = page.locator("#ss-measuring")
    measuring.get_by_text("Measure with a scale bar").click()
    for x, y in ((10, 10), (70, 10), (5, 30), (75, 30)):
        measuring.locator("img").click(position={"x": x, "y": y})
    measuring.locator("[data-mm]").fill("20")
    measuring.get_by_role("button", name="Measure", exact=True).click()
    measuring.get_by_role("button", name="Put these into the panel below").wait_for()
    assert page.locator("#ss-cannot-show [name=length]").input_value() == "thirty"
    measuring.get_by_role("button", name="Put these into the panel below").click()
    # 60 pixels are 20 mm, so 70 pixels are 23.3 mm.
    assert page.locator("#ss-cannot-show [name=length]").input_value() == "23.3"
    # Then in earnest.
    page.locator("#ss-cannot-show [name=error]").fill("")
    page.get_by_label("How the pin is fixed").select_option("sprung")
    page.get_by_label("Broken, so it was longer once").check()
    weigh(page, Length="31")
    page.get_by_text("Weighed in: length 31 mm (give or take 1, broken); pin sprung.").wait_for()
    first = page.get_by_role("article").first
    assert "by the photo alone" in first.inner_text()
    assert "of such leads were right in our tests" not in first.inner_text()
    assert not too_wide(page)
    # Into the register.
    page.locator("#ss-under").get_by_role("button", name="Write it up").click()
    page.get_by_role("heading", level=2, name="Write it up").last.wait_for()
    place = page.locator("#ss-register")
    assert place.get_by_role("textbox", name="Title").input_value() == "Perhaps a knee brooch"
    assert place.get_by_role("textbox", name="Length").input_value() == "31"
    assert not too_wide(page)
    place.get_by_role("textbox", name="Findspot").fill("TG 5140 131")
    place.get_by_role("button", name="Keep in the register").click()
    page.locator("#ss-told-findspot").wait_for()
    assert "7 figures" in page.locator("#ss-told-findspot").inner_text()
    page.locator("#ss-told-by").wait_for()
    place.get_by_role("textbox", name="Findspot").fill(EXACT)
    place.get_by_label("Place that may be shown").fill("Harrow Fen (invented)")
    place.get_by_label("Who writes this").fill("Recorder")
    place.get_by_role("button", name="Keep in the register").click()
    place.get_by_text("Recorded as find-").wait_for()
    assert "51409" not in page.content()
    assert not too_wide(page)
    # On paper.
    with page.expect_download() as waiting:
        place.get_by_role("button", name="Find sheet (PDF)").click()
    content = Path(waiting.value.path()).read_bytes()
    # ISO 32000-2, 7.5.2: a PDF file begins with %PDF-.
    assert content.startswith(b"%PDF-")
    assert waiting.value.suggested_filename.startswith("find-")
    place.get_by_text("Saved as find-").wait_for()


def test_the_register_is_searched_changed_and_undone(visit: Visit) -> None:
    page, place = visit.page, visit.page.locator("#ss-register")
    page.get_by_role("tab", name="Finds register").click()
    place.get_by_role("button", name="Record a find").click()
    place.get_by_role("textbox", name="Title").fill("Iron key, bent")
    place.get_by_label("Who writes this").fill("Recorder")
    place.get_by_role("button", name="Keep in the register").click()
    place.get_by_text("Recorded as find-").wait_for()
    place.get_by_role("button", name="Change", exact=True).click()
    place.get_by_role("textbox", name="Title").fill("Iron key, straight")
    place.get_by_role("button", name="Keep the change").click()
    place.get_by_role("heading", name="Iron key, straight").wait_for()
    place.get_by_label("Who are you?").fill("Recorder")
    place.get_by_role("button", name="Undo the newest change").click()
    place.get_by_role("heading", name="Iron key, bent").wait_for()
    place.get_by_label("Which country’s law?").select_option("wales")
    place.get_by_role("button", name="Keep the country").click()
    place.get_by_text("Told for Wales.").wait_for()
    place.get_by_role("button", name="All finds").click()
    place.get_by_label("Words to look for").fill("key")
    place.get_by_role("button", name="Search").click()
    place.get_by_role("button", name="Iron key, bent").wait_for()


def test_a_type_has_its_sheets(visit: Visit) -> None:
    page = visit.page
    page.get_by_role("tab", name="Browse").click()
    page.locator("#ss-browse").get_by_role("link", name="Knee brooch", exact=True).click()
    for name, file in (("Type sheet", "knee.pdf"), ("Look-alike sheet", "knee-look-alikes.pdf")):
        with page.expect_download() as waiting:
            page.get_by_role("button", name=name).click()
        assert waiting.value.suggested_filename == file
        assert Path(waiting.value.path()).read_bytes().startswith(b"%PDF-")


def test_an_evening_of_practice(visit: Visit) -> None:
    page, place = visit.page, visit.page.locator("#ss-practice")
    page.get_by_role("tab", name="Practice").click()
    place.get_by_label("Who is practising?").fill("Wren")
    place.get_by_role("button", name="Begin").click()
    place.get_by_role("radio", name="Cannot tell").check()
    place.get_by_role("button", name="This is my answer").click()
    place.get_by_text("Saying that you cannot tell counts in part").first.wait_for()
    place.get_by_role("button", name="Next one").click()
    place.get_by_role("button", name="This is my answer").wait_for()
    assert not too_wide(page)
    place.get_by_role("button", name="Everybody’s scores").click()
    place.get_by_role("button", name="Delete the scores of Wren").click()
    place.get_by_text("Deleted: Wren, 1 answers.").wait_for()
