"""Opening sets, finding the shipped one, and what importing costs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import simsearch
from simsearch.errors import MissingIndexError, SetError, StaleIndexError
from simsearch.sets import reference_set
from simsearch.sets.reference_set import open_set
from tests.tiny_set import GridEncoder, make_set, photo_row, write_photos


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return make_set(tmp_path / "set")


@pytest.mark.parametrize(
    "code",
    [
        "import simsearch",
        "import simsearch; simsearch.open_set; simsearch.ReferenceSet",
        "import sys, simsearch; print(len(simsearch.open_set(sys.argv[1]).types))",
    ],
)
def test_nothing_heavy_is_imported_before_it_is_needed(folder: Path, code: str) -> None:
    heavy = "{'torch', 'faiss', 'gradio', 'open_clip', 'torchvision'}"
    script = f"{code}\nimport sys; print(sorted({heavy} & sys.modules.keys()))"
    done = subprocess.run(
        [sys.executable, "-c", script, str(folder)],
        cwd=Path(simsearch.__file__).parents[1],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_public_names_are_what_the_package_exports() -> None:
    assert sorted(simsearch.__all__) == ["ReferenceSet", "__version__", "open_set"]
    assert simsearch.open_set is open_set
    assert set(simsearch.__all__) <= set(dir(simsearch))
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        simsearch.nothing  # noqa: B018


def test_the_version_is_that_of_the_project() -> None:
    import tomllib

    project = Path(simsearch.__file__).parents[1] / "pyproject.toml"
    if not project.is_file():
        pytest.skip("not run from a checkout")
    assert tomllib.loads(project.read_text("utf-8"))["project"]["version"] == simsearch.__version__


def test_the_shipped_set_is_looked_for_in_the_package_then_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = tmp_path / "checkout" / "simsearch" / "sets" / "reference_set.py"
    monkeypatch.setattr(reference_set, "__file__", str(module))
    module.parent.mkdir(parents=True)
    with pytest.raises(SetError, match="not installed"):
        open_set()
    beside = make_set(tmp_path / "checkout" / "reference_index")
    assert open_set().folder == beside.resolve()
    inside = make_set(tmp_path / "checkout" / "simsearch" / "reference_index")
    assert open_set().folder == inside.resolve()


def test_a_set_opens_without_an_index_and_says_how_to_build_it(folder: Path) -> None:
    reference = open_set(folder)
    with pytest.raises(MissingIndexError) as caught:
        _ = reference.index
    assert f"simsearch index {folder}" in caught.value.hint


def test_an_index_of_other_photos_is_stale(folder: Path) -> None:
    open_set(folder).rebuild_index(GridEncoder())
    rows = [photo_row(folder, photo.id, photo.type) for photo in open_set(folder).photos]
    write_photos(folder, rows[2:])
    with pytest.raises(StaleIndexError, match="2 removed") as caught:
        _ = open_set(folder).index
    assert f"simsearch index {folder}" in caught.value.hint


def test_rows_in_another_order_do_not_make_an_index_stale(folder: Path) -> None:
    open_set(folder).rebuild_index(GridEncoder())
    before = open_set(folder)
    rows = [photo_row(folder, photo.id, photo.type) for photo in before.photos]
    write_photos(folder, rows[::-1])
    after = open_set(folder)
    assert after.index.photo_ids == before.index.photo_ids
    assert after.fingerprint == before.fingerprint


def test_a_rebuild_says_how_far_it_is_and_keeps_order(folder: Path) -> None:
    calls: list[tuple[int, int]] = []
    reference = open_set(folder)
    index = reference.rebuild_index(GridEncoder(), progress=lambda *call: calls.append(call))
    assert calls[0] == (0, 12)
    assert calls[-1] == (12, 12)
    assert index.photo_ids == tuple(photo.id for photo in reference.photos)
    assert reference.index is index
    assert open_set(folder).index.photo_ids == index.photo_ids


def test_a_rebuild_refuses_a_file_that_was_not_labelled(folder: Path) -> None:
    reference = open_set(folder)
    reference.rebuild_index(GridEncoder())
    before = sorted((folder / "index").iterdir())
    (folder / "photos/knee-2.png").write_bytes((folder / "photos/jetton-1.png").read_bytes())
    with pytest.raises(SetError, match="'knee-2'"):
        reference.rebuild_index(GridEncoder())
    assert sorted((folder / "index").iterdir()) == before
    assert open_set(folder).index.photo_ids


def test_a_set_without_photos_cannot_be_indexed(folder: Path) -> None:
    write_photos(folder, [])
    with pytest.raises(SetError, match="no photos"):
        open_set(folder).rebuild_index(GridEncoder())


def test_the_fingerprint_follows_labels_and_files(folder: Path) -> None:
    before = open_set(folder)
    rows = [photo_row(folder, photo.id, photo.type) for photo in before.photos]
    write_photos(folder, [rows[0] | {"note": "Seen again."}, *rows[1:]])
    assert open_set(folder).fingerprint == before.fingerprint
    write_photos(folder, [rows[0] | {"type": "dolphin"}, *rows[1:]])
    assert open_set(folder).fingerprint != before.fingerprint
