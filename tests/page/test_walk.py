"""Walks through browsing in a real browser: typo, type, look-alike, likeness, overview, phone."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.small_set import COLOURS, make_small_set, save_find
from tests.page.test_browser import (
    DESK,
    PHONE,
    Server,
    Visit,
    _first_line,
    browser,
    pytestmark,
    server,
    visit,
)

# Fixtures and the reason to skip are the other browser tests' own.
__all__ = ["browser", "pytestmark", "server", "visit"]
PASSWORD = "harrow fen 1066"


def open_overview(visit: Visit) -> Any:
    visit.page.get_by_role("tab", name="Browse").click()
    visit.page.get_by_role("link", name="Overview picture").click()
    canvas = visit.page.locator("#ss-map canvas")
    canvas.wait_for()
    visit.page.get_by_role("button", name="Knee brooch (4)").wait_for()
    return canvas


@pytest.mark.parametrize("visit", [DESK, PHONE], indirect=True, ids=["desk", "phone"])
def test_from_a_typo_to_a_type_of_the_overview(visit: Visit) -> None:
    page = visit.page
    page.get_by_role("tab", name="Browse").click()
    page.get_by_label("Words to look for").fill("dolfin")
    page.get_by_text("“dolfin” was taken for “dolphin”.").wait_for()
    page.locator("#ss-browse").get_by_role("link", name="Dolphin brooch", exact=True).click()
    page.get_by_role("heading", level=2, name="Dolphin brooch").wait_for()
    # A look-alike with a photo of each, side by side.
    beside = page.get_by_role("region", name="Dolphin brooch beside Knee brooch")
    assert beside.locator("img").count() == 2
    beside.get_by_role("link", name="Knee brooch", exact=True).click()
    page.get_by_role("heading", level=2, name="Knee brooch").wait_for()
    # Others that look like one of its photos; then back, twice.
    page.locator("#ss-type-page a[data-like='knee-2']").last.click()
    page.get_by_role("heading", name="Photos that look like this one").wait_for()
    page.wait_for_function("document.activeElement.id === 'ss-similar-title'")
    assert page.url.endswith("?like=knee-2")
    assert page.locator(".ss-alike h3").first.inner_text().startswith("Knee brooch")
    page.go_back()
    page.get_by_role("heading", level=2, name="Knee brooch").wait_for()
    page.get_by_role("link", name="All types").click()
    page.get_by_label("Words to look for").fill("")
    canvas = open_overview(visit)
    page.wait_for_timeout(500)  # pictures arrive
    page.get_by_role("button", name="Lead shot (4)").click()
    page.locator("#ss-map-picked").get_by_role("link", name="Lead shot", exact=True).wait_for()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    canvas.focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=2, name="Lead shot", exact=True).wait_for()
    page.go_back()
    canvas.wait_for(state="visible")
    # The picture is as it was left: still picked.
    assert (
        page.locator("#ss-map-picked")
        .get_by_role("link", name="Lead shot", exact=True)
        .is_visible()
    )


def test_the_overview_by_keyboard_and_pointer(visit: Visit) -> None:
    page = visit.page
    canvas = open_overview(visit)
    canvas.focus()
    picked = page.locator("#ss-map-picked h3")
    names = set()
    for key in ("ArrowLeft", "ArrowRight", "ArrowRight", "ArrowUp", "ArrowDown", "ArrowDown"):
        page.keyboard.press(key)
        page.wait_for_timeout(150)
        if picked.count():
            names.add(picked.inner_text())
    assert len(names) >= 2
    page.keyboard.press("+")
    page.keyboard.press("+")
    page.get_by_text("zoom in to see them").wait_for(state="detached")
    inside = page.locator(".ss-map-types button").count()
    page.keyboard.press("0")
    page.wait_for_timeout(200)
    assert page.locator(".ss-map-types button").count() == 5 >= inside
    # A tap where a photo lies picks it: every place of the whole picture is near some photo.
    where = canvas.evaluate(
        """(canvas) => {
          const data = JSON.parse(canvas.closest('.ss-map').dataset.points);
          const i = data.ids.indexOf('early-disc-1');
          const size = Math.min(canvas.clientWidth, canvas.clientHeight) - 60;
          return { x: canvas.clientWidth / 2 + (data.x[i] / 10000 - 0.5) * size,
                   y: canvas.clientHeight / 2 + (data.y[i] / 10000 - 0.5) * size };
        }"""
    )
    canvas.click(position=where)
    page.locator("#ss-map-picked").get_by_role(
        "link", name="Early disc brooch", exact=True
    ).wait_for()


def test_filters_narrow_list_and_overview_and_keep_their_place(visit: Visit) -> None:
    page = visit.page
    page.get_by_role("tab", name="Browse").click()
    page.locator("#ss-filters summary").click()
    box = page.get_by_role("checkbox", name="disc brooch")
    box.focus()
    page.keyboard.press("Space")
    page.get_by_text("1 of 6 types fits.").wait_for()
    assert page.get_by_role("checkbox", name="disc brooch").is_checked()
    page.wait_for_function("document.activeElement.value === 'disc brooch'")
    page.get_by_label("from").fill("soon")
    page.get_by_label("from").press("Tab")
    page.get_by_text("“soon” is not a year.").wait_for()
    page.get_by_role("link", name="Overview picture").click()
    page.get_by_role("button", name="Early disc brooch (4)").wait_for()
    assert page.locator(".ss-map-types button").count() == 1
    page.get_by_role("button", name="Take all filters away").click()
    page.get_by_role("button", name="Knee brooch (4)").wait_for()


def test_the_find_itself_leads_to_what_looks_like_it(visit: Visit, tmp_path: Path) -> None:
    page = visit.page
    visit.upload(save_find(tmp_path / "find.png", COLOURS["dolphin"]))
    visit.look()
    page.get_by_role("link", name="Photos that look like it, your photo 1").click()
    page.get_by_role("heading", name="Photos that look like yours").wait_for()
    assert page.locator(".ss-alike h3").first.inner_text().startswith("Dolphin brooch")
    page.get_by_role("link", name="Back to the leads for your find").click()
    page.locator("#ss-results-title").wait_for(state="visible")
    # From a lead's evidence as well.
    page.locator("#ss-results a[data-like]").first.click()
    page.get_by_role("heading", name="Photos that look like this one").wait_for()
    page.go_back()
    page.locator("#ss-results-title").wait_for(state="visible")


def test_a_link_to_what_looks_alike_or_to_nothing(visit: Visit, server: Server) -> None:
    visit.page.goto(f"{server.address}?like=early-disc-1")
    visit.page.get_by_role("heading", name="Photos that look like this one").wait_for()
    visit.page.goto(f"{server.address}?like=%3Cb%3Enothing")
    visit.page.get_by_text("There is no photo '<b>nothing' in this set.").wait_for()


@pytest.fixture
def closed(tmp_path: Path) -> Iterator[str]:
    """The address of a page that asks for a password."""
    folder = make_small_set(tmp_path / "set")
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.page.serve", str(folder), "0", PASSWORD],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "TMPDIR": str(tmp_path)},
    )
    try:
        yield _first_line(process)
    finally:
        process.terminate()
        process.wait(timeout=20)


def test_a_phone_comes_in_by_password_or_by_the_scanned_code(
    browser: Any, closed: str, tmp_path: Path
) -> None:
    context = browser.new_context(**PHONE)
    page = context.new_page()
    page.goto(closed)
    page.get_by_label("Password").fill("guess")
    page.get_by_role("button", name="Open the page").click()
    page.get_by_text("That is not the password.").wait_for()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Open the page").click()
    visit = Visit(page)
    page.get_by_role("heading", level=1).wait_for()
    # Uploads and the queue work behind the door.
    visit.upload(save_find(tmp_path / "find.png"))
    visit.look()
    context.close()
    scanned = browser.new_context(**PHONE).new_page()
    scanned.goto(f"{closed}#harrow%20fen%201066")
    scanned.get_by_role("tab", name="Browse").wait_for()
    assert "harrow" not in scanned.url
    scanned.context.close()
