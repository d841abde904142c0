"""The whole report on small sets, as data, as text and as HTML."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from PIL import ImageOps

from simsearch.care.report import look_after, look_after_folder
from simsearch.commands.care import care
from simsearch.page.care_view import render_care_report
from simsearch.sets.reference_set import open_set
from tests import tiny_set
from tests.care.making_pictures import textured
from tests.care.small import set_with

PHOTOS = {f"{kind}-{n}": {"type": kind} for kind in ("knee", "dolphin", "jetton") for n in range(3)}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A set of nine photos and one more, a mirrored copy under another type."""
    set_with(tmp_path / "set", PHOTOS)
    folder = tmp_path / "set"
    ImageOps.mirror(textured(0, 320)).save(folder / "photos/copy.png")
    rows = [
        tiny_set.photo_row(folder, photo_id, cells["type"]) for photo_id, cells in PHOTOS.items()
    ]
    rows.append(tiny_set.photo_row(folder, "copy", "dolphin", labelled_on="2026-03-01"))
    tiny_set.write_photos(folder, rows)
    open_set(folder).rebuild_index(tiny_set.GridEncoder())
    return folder


def test_a_report_tells_what_matters_first_and_is_plain_data(folder: Path) -> None:
    steps: list[tuple[int, int]] = []
    report = look_after(open_set(folder), progress=lambda *step: steps.append(step))
    first = report.findings[0]
    assert (first.kind, first.severity, first.photos) == ("copy", "mend", ("copy", "knee-0"))
    assert "mirrored" in first.what and first.action.kind == "label"
    assert len(report.of_kind("copy")) == 1
    document = json.loads(json.dumps(report.to_dict()))
    assert document["counts"]["mend"] == 1 and document["worth"]["photos"] == 10
    assert steps == sorted(steps) and steps[-1][0] == steps[-1][1]


def test_without_an_index_the_rest_is_told(folder: Path) -> None:
    (folder / "index/index.json").unlink()
    report = look_after(open_set(folder))
    assert report.worth is None and report.confusions is None
    (told,) = report.of_kind("index")
    assert told.action.command == f"simsearch index {folder}"
    assert report.of_kind("copy")


def test_a_missing_licence_and_a_broken_photo_are_told(folder: Path) -> None:
    rows = [tiny_set.photo_row(folder, photo_id, c["type"]) for photo_id, c in PHOTOS.items()]
    rows[0]["licence"] = ""
    tiny_set.write_photos(folder, rows)
    (folder / "photos/knee-1.png").write_bytes(b"no picture")
    report = look_after_folder(folder)
    (licence,) = report.of_kind("licence")
    assert "No licence given" in licence.what and licence.severity == "mend"
    assert [one.photos for one in report.of_kind("unreadable")] == [("knee-1",)]


def test_an_empty_set_is_looked_over_too(tmp_path: Path) -> None:
    report = look_after(open_set(tiny_set.make_set(tmp_path / "set", photos_per_type=0)))
    assert {one.kind for one in report.findings} == {"no photo"}


def test_html_shows_photos_escapes_words_and_says_rendered(folder: Path) -> None:
    reference = open_set(folder)
    report = look_after(reference)
    html = render_care_report(report, reference)
    assert "data:image/jpeg;base64," in html and 'class="ss-tag">rendered' in html
    assert "--by NAME" in html and "<svg" in html
    object.__setattr__(report, "set_title", "<script>")
    assert "<script>" not in render_care_report(report, reference)


def test_the_command_prints_draws_and_ends_with_1(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / "out.svg"
    with pytest.raises(typer.Exit) as ended:
        care(folder, picture=picture, as_json=False)
    assert ended.value.exit_code == 1
    out = capsys.readouterr().out
    assert "How good is this set?" in out and "1 to mend" in out
    assert picture.read_text(encoding="utf-8").startswith("<svg")
    with pytest.raises(typer.Exit):
        care(folder, picture=None, as_json=True)
    assert json.loads(capsys.readouterr().out)["photos"] == 10
