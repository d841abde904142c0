"""The page in a real browser: Chromium, driven by Playwright, against a served small set."""

from __future__ import annotations

import os
import queue
import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from tests.page.gps import MARKER, save_photo_with_place
from tests.page.small_set import COLOURS, FAR_COLOUR, make_small_set, save_find

sync_api = pytest.importorskip("playwright.sync_api", reason="needs Playwright")
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "chrome"))), None)
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium"),
]
# Without these the browser itself looks for updates and the like.
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
WAIT_MS = 30_000
PHONE = {"viewport": {"width": 390, "height": 800}, "has_touch": True, "is_mobile": True}
DESK = {"viewport": {"width": 1280, "height": 900}}


@dataclass
class Visit:
    """One open page, with what it asked for and complained about."""

    page: Any
    hosts: set[str] = field(default_factory=set)
    complaints: list[str] = field(default_factory=list)

    def upload(self, *files: Path) -> None:
        held = self.page.locator(".ss-tray-list li")
        before = held.count()
        self.page.locator("#ss-files").set_input_files([str(file) for file in files])
        held.nth(before + len(files) - 1).wait_for()

    def look(self) -> None:
        self.page.get_by_role("button", name="Look for leads").click()
        self.page.locator("#ss-results-title").wait_for()
        # The photos are looked over after the leads; leaving in the middle of it makes the
        # framework complain in the console.
        self.page.locator("#ss-measuring-title").wait_for()


@dataclass(frozen=True)
class Server:
    """A served page: its address, and the folder that all its temporary files lie in."""

    address: str
    scratch: Path


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = make_small_set(tmp_path_factory.mktemp("small") / "set")
    scratch = tmp_path_factory.mktemp("scratch")
    # Without a port the page takes the first free one and tells where it is.
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.page.serve", str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
        env=own_folders(scratch),
    )
    try:
        yield Server(_first_line(process), scratch)
    finally:
        process.terminate()
        process.wait(timeout=20)
    # Stopped politely, the page takes its private folder with it.
    assert not list(scratch.glob("simsearch-page-*"))


def own_folders(scratch: Path) -> dict[str, str]:
    """An environment in which whatever is kept for the user lies in ``scratch``."""
    own = {f"XDG_{kind}_HOME": str(scratch / kind) for kind in ("CACHE", "DATA", "CONFIG")}
    return {**os.environ, **own, "TMPDIR": str(scratch)}


def _first_line(process: subprocess.Popen[str]) -> str:
    lines: queue.Queue[str] = queue.Queue()
    assert process.stdout is not None
    threading.Thread(target=lambda: lines.put(process.stdout.readline()), daemon=True).start()
    address = lines.get(timeout=60).strip()
    assert address.startswith("http://127.0.0.1:"), "the page did not start"
    return address


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as playwright:
        yield playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))


@pytest.fixture
def visit(request: pytest.FixtureRequest, browser: Any, server: Server) -> Iterator[Visit]:
    """Open the page, by default on a desk; every visit must end without a complaint."""
    context = browser.new_context(**getattr(request, "param", DESK))
    context.set_default_timeout(WAIT_MS)
    visit = Visit(context.new_page())
    visit.page.on("request", lambda asked: visit.hosts.add(_host(asked.url)))
    visit.page.on("pageerror", lambda error: visit.complaints.append(str(error)))
    visit.page.on("console", lambda said: _note(said, visit.complaints))
    visit.page.goto(server.address)
    visit.page.get_by_role("heading", level=1).wait_for()
    yield visit
    context.close()
    assert visit.hosts <= {"127.0.0.1", ""}
    assert visit.complaints == []


def _host(url: str) -> str:
    return urlsplit(url).hostname or ""  # data: and blob: addresses have no host


def _note(said: Any, complaints: list[str]) -> None:
    if said.type == "error":
        complaints.append(said.text)


def test_a_photo_gives_leads_and_a_type_opens_by_keyboard(visit: Visit, tmp_path: Path) -> None:
    page = visit.page
    visit.upload(save_find(tmp_path / "find.png"))
    page.locator("#ss-look-button").focus()
    page.keyboard.press("Enter")
    page.locator("#ss-results-title").wait_for()
    first = page.get_by_role("article").first
    assert first.get_by_role("heading", level=3).inner_text().endswith("Knee brooch")
    page.get_by_text("Leads to verify, never an identification.").wait_for()
    page.get_by_role("link", name="Open the full page on Knee brooch").focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", level=2, name="Knee brooch").wait_for()
    page.wait_for_function("document.activeElement.id === 'ss-type-title'")
    assert page.url.endswith("?type=knee")


def test_back_returns_to_the_leads(visit: Visit, tmp_path: Path) -> None:
    page = visit.page
    visit.upload(save_find(tmp_path / "find.png"))
    visit.look()
    page.get_by_role("link", name="Open the full page on Knee brooch").click()
    page.get_by_role("heading", level=2, name="Knee brooch").wait_for()
    page.go_back()
    page.locator("#ss-results-title").wait_for()
    assert page.get_by_role("tab", name="Your find").get_attribute("aria-selected") == "true"
    assert page.get_by_role("article").count() == 5


def test_a_link_to_a_type_opens_it(visit: Visit, server: Server) -> None:
    visit.page.goto(f"{server.address}?type=early-disc")
    visit.page.get_by_role("heading", level=2, name="Early disc brooch").wait_for()
    visit.page.get_by_role("link", name="All types").click()
    visit.page.get_by_role("link", name="Knee brooch").wait_for()


def test_types_are_filtered_while_typing(visit: Visit) -> None:
    page = visit.page
    page.get_by_role("tab", name="Browse").click()
    page.get_by_label("Words to look for").fill("disc 50 BC")
    page.get_by_text("1 of 6 types fits.").wait_for()
    assert page.locator("#ss-browse a").all_inner_texts() == ["Early disc brooch"]


def test_a_broken_file_is_told_on_the_page_and_nothing_is_lost(
    visit: Visit, tmp_path: Path
) -> None:
    page = visit.page
    visit.upload(save_find(tmp_path / "find.png"))
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8\xff\xe0 and then nothing")
    page.locator("#ss-files").set_input_files(str(broken))
    told = page.locator(".ss-tray .ss-problem")
    told.wait_for()
    assert "broken.jpg" in told.inner_text()
    assert "Nothing was lost: 1 photo of this find still here." in told.inner_text()
    visit.look()
    assert page.get_by_role("article").count() == 5


def test_a_file_too_large_is_not_even_sent(visit: Visit, tmp_path: Path) -> None:
    huge = tmp_path / "huge.jpg"
    with huge.open("wb") as handle:
        handle.truncate(26 * 1024 * 1024)
    visit.page.locator("#ss-files").set_input_files(str(huge))
    told = visit.page.locator("#ss-intake [data-problem]")
    told.wait_for()
    assert "huge.jpg is 26 MB" in told.inner_text()
    assert "Nothing was lost" in told.inner_text()


def test_looking_without_a_photo_says_what_to_do(visit: Visit) -> None:
    visit.page.get_by_role("button", name="Look for leads").click()
    visit.page.get_by_text("There is no photo yet.").wait_for()


def test_a_full_queue_is_told_on_the_page(visit: Visit, tmp_path: Path) -> None:
    page = visit.page
    visit.upload(save_find(tmp_path / "find.png"))
    # What the framework's server answers when as many are waiting as may wait.
    full = {"status": 503, "content_type": "application/json", "body": '{"detail": "full"}'}
    page.route("**/queue/join*", lambda route: route.fulfill(**full))
    page.get_by_role("button", name="Look for leads").click()
    page.get_by_text("too many are waiting").wait_for()
    assert page.locator(".ss-tray-list li").count() == 1
    assert all("503" in complaint for complaint in visit.complaints)
    visit.complaints.clear()


def test_nothing_close_is_said_first(visit: Visit, tmp_path: Path) -> None:
    visit.upload(save_find(tmp_path / "far.png", FAR_COLOUR))
    visit.look()
    assert visit.page.locator("#ss-results-title").inner_text() == "Nothing here looks close"
    assert visit.page.get_by_role("article").count() == 0  # under the fold
    visit.page.get_by_text("Show the nearest types all the same").click()
    assert visit.page.get_by_role("article").count() == 5


def test_photos_can_be_removed_and_started_over(visit: Visit, tmp_path: Path) -> None:
    page = visit.page
    visit.upload(save_find(tmp_path / "a.png"), save_find(tmp_path / "b.png", COLOURS["dolphin"]))
    page.get_by_role("button", name="Remove photo 1, a.png").click()
    page.get_by_role("button", name="Remove photo 1, b.png").wait_for()
    visit.look()
    first = page.get_by_role("article").first
    assert first.get_by_role("heading", level=3).inner_text().endswith("Dolphin brooch")
    page.get_by_role("button", name="Start again").click()
    page.locator("#ss-results-title").wait_for(state="detached")
    assert page.locator(".ss-tray-list li").count() == 0


def test_the_place_of_a_photo_stays_nowhere_on_disk(
    visit: Visit, server: Server, tmp_path: Path
) -> None:
    photo = save_photo_with_place(tmp_path / "placed.jpg")
    assert MARKER in photo.read_bytes()
    visit.upload(photo)
    visit.look()
    files = [path for path in server.scratch.rglob("*") if path.is_file()]
    assert not [path for path in files if MARKER in path.read_bytes()]
    assert not [path for path in files if b"Exif" in path.read_bytes()]
    assert MARKER.decode() not in visit.page.content()


def test_a_phone_photo_in_heic_is_shown(visit: Visit, tmp_path: Path) -> None:
    pillow_heif = pytest.importorskip("pillow_heif", reason="HEIC needs pillow-heif")
    from PIL import Image

    photo = tmp_path / "IMG_0001.heic"
    pillow_heif.from_pillow(Image.new("RGB", (128, 96), COLOURS["knee"])).save(photo)
    visit.upload(photo)
    shown = visit.page.locator(".ss-tray-list img").first
    assert shown.evaluate("image => image.naturalWidth") == 128


def test_a_hostile_name_runs_nothing(visit: Visit, tmp_path: Path) -> None:
    visit.upload(save_find(tmp_path / "odd.png", COLOURS["odd"]))
    visit.look()
    title = visit.page.get_by_role("article").first.get_by_role("heading", level=3).inner_text()
    assert "<img src=x" in title
    assert visit.page.title() == "simsearch: leads for a find"


@pytest.mark.parametrize("visit", [PHONE, DESK], indirect=True, ids=["phone", "desk"])
def test_nothing_runs_over_the_edge(visit: Visit, tmp_path: Path) -> None:
    page = visit.page

    def too_wide() -> list[str]:
        """What reaches past the right edge without lying in a part that scrolls sideways."""
        return page.evaluate(
            """() => [...document.querySelectorAll('.gradio-container *')].filter((part) => {
              const box = part.getBoundingClientRect();
              if (box.width === 0 || box.right <= innerWidth + 1) return false;
              for (let up = part.parentElement; up; up = up.parentElement)
                if (['auto', 'scroll', 'hidden'].includes(getComputedStyle(up).overflowX)
                    && up.getBoundingClientRect().right <= innerWidth + 1
                    && up.closest('.ss-shots, .ss-find-photos, .tab-container, .ss-hidden'))
                  return false;
              return true;
            }).map((part) => part.outerHTML.slice(0, 120))"""
        )

    visit.upload(save_find(tmp_path / "find.png"))
    visit.look()
    assert too_wide() == []
    page.get_by_role("link", name="Open the full page on Knee brooch").click()
    page.get_by_role("heading", level=2, name="Knee brooch").wait_for()
    assert too_wide() == []
    for tab in ("Browse", "Care and law"):
        page.get_by_role("tab", name=tab).click()
        page.wait_for_timeout(200)
        assert too_wide() == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("visit", [PHONE], indirect=True, ids=["phone"])
def test_a_phone_offers_its_camera(visit: Visit) -> None:
    visit.page.get_by_text("Take a photo", exact=True).wait_for(state="visible")
    assert visit.page.locator("#ss-camera").get_attribute("capture") == "environment"


def test_language_one_top_heading_and_names_for_everything(visit: Visit, tmp_path: Path) -> None:
    page = visit.page
    visit.upload(save_find(tmp_path / "find.png"))
    visit.look()
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.locator("h1").count() == 1
    assert page.locator("img:not([alt])").count() == 0
    unnamed = page.evaluate(
        """() => [...document.querySelectorAll('button, a, input, summary')].filter((part) =>
          part.getClientRects().length && !part.textContent.trim()
          && !part.getAttribute('aria-label') && !(part.labels && part.labels.length)
        ).map((part) => part.outerHTML.slice(0, 120))"""
    )
    assert unnamed == []


@pytest.mark.parametrize("visit", [DESK, {**DESK, "color_scheme": "dark"}], indirect=True)
def test_text_stands_out_from_its_ground(visit: Visit, tmp_path: Path) -> None:
    """WCAG 2.2, success criterion 1.4.3: a contrast of at least 4.5 to 1 for text."""
    visit.upload(save_find(tmp_path / "disc.png", COLOURS["early-disc"]))
    visit.look()
    faint = visit.page.evaluate(
        """() => {
          const rgb = (text) => text.match(/[\\d.]+/g).map(Number);
          // Relative luminance as WCAG 2.2 defines it.
          const light = (c) => c.slice(0, 3).map((v) => v / 255)
            .map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
            .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
          const ground = (part) => {
            for (let up = part; up; up = up.parentElement) {
              const c = rgb(getComputedStyle(up).backgroundColor);
              if (c.length < 4 || c[3] === 1) return c;
            }
            return [255, 255, 255];
          };
          return [...document.querySelectorAll('#ss-tab-look *, #ss-moves *')].filter((part) => {
            const own = [...part.childNodes].some((n) => n.nodeType === 3 && n.data.trim());
            if (!own || !part.getClientRects().length || part.closest('svg')) return false;
            const [a, b] = [light(rgb(getComputedStyle(part).color)), light(ground(part))];
            return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05) < 4.5;
          }).map((part) => part.outerHTML.slice(0, 120));
        }"""
    )
    assert faint == []
