"""A walk through "Your set" in a real browser: make, add, second opinion, care, withdraw."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from simsearch.sets.reference_set import open_set
from tests.page.gps import MARKER, save_photo_with_place
from tests.page.small_set import make_small_set, save_find
from tests.page.test_browser import (
    DESK,
    PHONE,
    Server,
    Visit,
    _first_line,
    browser,
    pytestmark,
    visit,
)

# Fixtures and the reason to skip are the other browser tests' own.
__all__ = ["browser", "pytestmark", "visit"]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """A page of its own for each walk, with a data folder of its own: sets are made in it."""
    folder = make_small_set(tmp_path / "set")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    places = {f"XDG_{kind}_HOME": str(scratch / kind.lower()) for kind in ("DATA", "CACHE")}
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.page.serve", str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "TMPDIR": str(scratch), **places},
    )
    try:
        yield Server(_first_line(process), scratch)
    finally:
        process.terminate()
        process.wait(timeout=20)


def make_a_set(visit: Visit) -> None:
    page = visit.page
    page.get_by_role("tab", name="Your set").click()
    page.get_by_text("Make a set of your own").click()
    page.get_by_label("Its title").fill("Harrow Fen (invented)")
    page.get_by_role("button", name="Make this set and open it").click()
    page.locator("#ss-own-title", has_text="Harrow Fen (invented)").wait_for()


def fill_in(visit: Visit) -> None:
    page = visit.page
    form = page.locator("#ss-own-form")
    form.get_by_label("Who says it is this type").fill("A. Finder (invented)")
    form.get_by_label("On what authority").fill("seen in the hand")
    form.get_by_label("Who took the photo").fill("B. Clubber (invented)")
    form.get_by_label("Licence").select_option("CC-BY-4.0")
    form.get_by_label("Where the photo comes from").fill("taken at a club evening")
    form.get_by_label("Consent of the finder or owner").select_option("given")


def runs_over(visit: Visit) -> bool:
    return bool(visit.page.evaluate("document.documentElement.scrollWidth > innerWidth"))


@pytest.mark.parametrize("visit", [DESK, PHONE], indirect=True, ids=["desk", "phone"])
def test_a_photo_comes_in_is_doubted_and_goes(visit: Visit, server: Server, tmp_path: Path) -> None:
    page = visit.page
    make_a_set(visit)
    folder = server.scratch / "data" / "simsearch" / "sets" / "harrow-fen-invented"
    page.get_by_text("compared with 0 reference photos in Harrow Fen (invented)").wait_for()

    photo = save_photo_with_place(tmp_path / "IMG_0007.jpg")
    page.locator("#ss-own-file").set_input_files(str(photo))
    page.get_by_role("img", name="The photo to add: IMG_0007.jpg").wait_for()
    # Sent too early, nothing is written and every field says what it wants.
    page.get_by_role("button", name="Add this photo").click()
    page.get_by_text("Nothing was written.").wait_for()
    page.wait_for_function("document.activeElement.getAttribute('aria-invalid') === 'true'")
    assert page.locator(".ss-own-wrong").count() == 7
    assert not runs_over(visit)

    page.locator("#ss-own-words").fill("dolfin")
    page.get_by_text("“dolfin” was taken for “dolphin”.").wait_for()
    page.get_by_label("None of these: a new type").check()
    page.get_by_label("Its name").fill("Fen brooch")
    page.get_by_label("Period").fill("Roman")
    page.get_by_label("From the year").fill("50 BC")
    page.get_by_label("To the year").fill("AD 60")
    fill_in(visit)
    page.get_by_role("button", name="Add this photo").click()
    page.get_by_text("Added as fen-brooch-img-0007; the index holds it.").wait_for()
    assert open_set(folder).index.photo_ids == ("fen-brooch-img-0007",)
    written = [path for path in server.scratch.rglob("*") if path.is_file()]
    assert not [path for path in written if MARKER in path.read_bytes()]

    page.get_by_role("button", name="Open it").click()
    page.get_by_role("heading", level=2, name="Fen brooch").wait_for()
    page.get_by_text("Give another opinion").click()
    panel = page.locator("#ss-own-panel")
    panel.get_by_label("Dolphin brooch").check()
    panel.get_by_label("Whose opinion it is").fill("C. Officer (invented)")
    panel.get_by_label("On what authority").fill("finds officer")
    panel.get_by_label("Make it the label in force").check()
    panel.get_by_role("button", name="Give this opinion").click()
    page.get_by_role("heading", level=2, name="Dolphin brooch").wait_for()
    said = panel.locator(".ss-own-opinions li").all_inner_texts()
    assert [line.split("\n")[0] for line in said] == ["Dolphin brooch in force", "Fen brooch"]
    assert not runs_over(visit)
    panel.get_by_role("button", name="Back to the set").click()

    page.get_by_role("button", name="Look the set over").click()
    page.get_by_role("heading", name="Looking after Harrow Fen (invented)").wait_for()
    page.get_by_text("Opinions on object fen-brooch-img-0007 disagree.").wait_for()
    assert not runs_over(visit)
    page.get_by_role("button", name="Look at fen-brooch-img-0007 and label it").click()
    page.wait_for_function("document.activeElement.id === 'ss-own-photo-title'")
    panel.get_by_text("Withdraw this photo").click()
    panel.get_by_text("It really goes").wait_for()
    panel.get_by_role("button", name="Yes, withdraw fen-brooch-img-0007 for good").click()
    page.get_by_text("fen-brooch-img-0007 is withdrawn").wait_for()
    assert open_set(folder).photos == ()
    assert list((folder / "photos").iterdir()) == []


def test_what_was_added_comes_up_among_the_leads(visit: Visit, tmp_path: Path) -> None:
    page = visit.page
    make_a_set(visit)
    find = save_find(tmp_path / "find.png")
    page.get_by_role("tab", name="Your find").click()
    visit.upload(find)
    page.get_by_role("button", name="Look for leads").click()
    page.get_by_text("has no photos yet").wait_for()

    page.get_by_role("tab", name="Your set").click()
    page.locator("#ss-own-file").set_input_files(str(find))
    page.locator("#ss-own-form").get_by_label("Knee brooch").check()
    fill_in(visit)
    page.get_by_role("button", name="Add this photo").click()
    page.get_by_text("Added as knee-find").wait_for()
    page.get_by_role("tab", name="Your find").click()
    visit.look()
    page.get_by_role("link", name="Open the full page on Knee brooch").wait_for()
    # Whoever comes later finds the set that is open now, and can go back to the first one.
    page.reload()
    page.get_by_text("compared with 1 reference photo in Harrow Fen (invented)").wait_for()
    page.get_by_role("tab", name="Your set").click()
    page.get_by_text("Open another set").click()
    page.locator(".ss-own-places button").first.click()
    page.get_by_text("compared with 20 reference photos in set").wait_for()
