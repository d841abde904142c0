"""The tab "Your set" laid out without a server, for tests. Everything in it is invented."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import gradio as gr
import pytest

import simsearch.encode
from simsearch.page import own_set
from simsearch.page.browse import html, lay_out_browsing
from simsearch.page.own_set_forms import (
    NEW_TYPE,
    START,
    HeldUpload,
    take_upload,
)
from simsearch.page.shelf import Shelf
from simsearch.sets.reference_set import open_set
from tests.making.club import errors
from tests.page.small_set import make_small_set
from tests.tiny_set import GridEncoder

FIELDS = START | {
    "type": "knee",
    "creator": "B. Clubber (invented)",
    "licence": "CC-BY-4.0",
    "source": "taken at a club evening",
    "by": "A. Finder (invented)",
    "authority": "seen in the hand",
    "consent": "given",
}
NEW = FIELDS | {
    "type": NEW_TYPE, "new_name": "Fen brooch", "group": "bow brooch", "period": "Roman",
    "first_year": "50 BC", "last_year": "AD 60",
}  # fmt: skip


@dataclass(frozen=True)
class Tab:
    """The tab as laid out for a set, and the folder that uploads arrive in."""

    shelf: Shelf
    parts: own_set.OwnParts
    changed: own_set.Changed
    uploads: Path
    faults: frozenset[str]  # of the small set as it is made

    def new_faults(self) -> set[str]:
        """What is wrong with the set that was not wrong when the page was opened."""
        return set(errors(self.folder)) - self.faults

    @property
    def folder(self) -> Path:
        return self.shelf.reference.folder

    def held(self, photo: Path) -> HeldUpload:
        """Upload a photo; what then waits to be added."""
        place = self.uploads / "upload" / photo.name
        place.parent.mkdir(exist_ok=True)
        place.write_bytes(photo.read_bytes())
        taken = take_upload({"path": str(place), "name": photo.name}, self.uploads)
        assert isinstance(taken, HeldUpload)
        return taken

    def add(self, held: HeldUpload | None, fields: dict[str, str]) -> dict[Any, Any]:
        """Press "Add this photo"; the last word on each part of the page."""
        return last(own_set.adding(self.shelf, self.parts, self.changed, held, fields))

    def withdraw(self, **sent: Any) -> dict[Any, Any]:
        return last(own_set.withdrawn(self.shelf, self.parts, self.changed, sent))


def last(steps: Iterator[dict[Any, Any]]) -> dict[Any, Any]:
    said: dict[Any, Any] = {}
    for step in steps:
        said |= step
    return said


@pytest.fixture(scope="module")
def small_set(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_small_set(tmp_path_factory.mktemp("small") / "set")


@pytest.fixture
def tab(small_set: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Tab:
    monkeypatch.setattr(simsearch.encode, "load_encoder", lambda name="grid": GridEncoder(name))
    uploads = tmp_path / "uploads"
    uploads.mkdir()
    monkeypatch.setenv("GRADIO_TEMP_DIR", str(uploads))
    folder = Path(shutil.copytree(small_set, tmp_path / "set"))
    shelf = Shelf(open_set(folder), home=tmp_path / "home")
    with gr.Blocks() as page:
        top, browse = html(""), lay_out_browsing(shelf.live)
        parts = own_set.lay_out_own_set(shelf)
        own_set.wire_own_set(parts, shelf, page, top, browse)
    changed = own_set.Changed(parts, shelf, top, browse)
    return Tab(shelf, parts, changed, uploads, frozenset(errors(folder)))
