"""Taking photos in: nothing of a photo but its pixels stays, and nothing held is lost."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image, features

from simsearch.page.intake import MAX_PHOTOS, Tray, add_uploads
from tests.page.gps import MARKER, save_photo_with_place


@pytest.fixture
def uploads(tmp_path: Path) -> Path:
    folder = tmp_path / "uploads"
    folder.mkdir()
    return folder


def upload(uploads: Path, name: str = "find.jpg", content: bytes | None = None) -> dict[str, str]:
    """Put a file where the page's server puts one: in a folder of its own."""
    folder = uploads / f"hash-of-{name}"
    folder.mkdir()
    path = folder / name
    if content is None:
        save_photo_with_place(path)
    else:
        path.write_bytes(content)
    return {"path": str(path), "name": name}


def test_a_photo_is_held_without_its_place_and_its_file_is_gone(uploads: Path) -> None:
    sent = upload(uploads)
    assert MARKER in Path(sent["path"]).read_bytes()  # or the test below could not fail
    tray = add_uploads(Tray(), [sent], uploads)
    assert [photo.name for photo in tray.photos] == ["find.jpg"]
    assert tray.photos[0].image.size == (120, 80)
    assert not tray.photos[0].image.getexif()
    assert list(uploads.rglob("*")) == []


def test_the_preview_is_a_plain_jpeg_without_metadata(uploads: Path) -> None:
    import base64
    import io

    tray = add_uploads(Tray(), [upload(uploads)], uploads)
    head, _, text = tray.photos[0].preview.data_uri.partition(",")
    preview = base64.b64decode(text)
    assert head == "data:image/jpeg;base64"
    assert MARKER not in preview
    assert b"Exif" not in preview
    assert Image.open(io.BytesIO(preview)).format == "JPEG"


def test_an_unreadable_file_is_told_by_its_own_name_and_deleted(uploads: Path) -> None:
    held = add_uploads(Tray(), [upload(uploads)], uploads)
    sent = upload(uploads, "broken.jpg", b"\xff\xd8\xff\xe0 and then nothing")
    tray = add_uploads(held, [sent], uploads)
    assert tray.photos == held.photos
    assert len(tray.problems) == 1
    assert "broken.jpg" in tray.problems[0].what
    assert str(uploads) not in tray.problems[0].what
    assert tray.problems[0].hint
    assert not Path(sent["path"]).exists()


def test_the_next_upload_clears_the_last_problem(uploads: Path) -> None:
    tray = add_uploads(Tray(), [upload(uploads, "broken.jpg", b"no")], uploads)
    assert tray.problems
    assert not add_uploads(tray, [upload(uploads)], uploads).problems


@pytest.mark.parametrize("where", ["outside.jpg", "uploads/../outside.jpg"])
def test_a_path_elsewhere_is_neither_read_nor_deleted(
    uploads: Path, tmp_path: Path, where: str
) -> None:
    save_photo_with_place(tmp_path / "outside.jpg")
    tray = add_uploads(Tray(), [{"path": str(tmp_path / where), "name": "x.jpg"}], uploads)
    assert not tray.photos
    assert "did not arrive" in tray.problems[0].what
    assert (tmp_path / "outside.jpg").is_file()


def test_a_link_out_of_the_upload_folder_is_not_followed(uploads: Path, tmp_path: Path) -> None:
    save_photo_with_place(tmp_path / "outside.jpg")
    (uploads / "link.jpg").symlink_to(tmp_path / "outside.jpg")
    sent = {"path": str(uploads / "link.jpg"), "name": "link.jpg"}
    assert not add_uploads(Tray(), [sent], uploads).photos
    assert (tmp_path / "outside.jpg").is_file()


@pytest.mark.parametrize("sent", [None, "x", 3, [None], [3], [{}], [{"path": "a\0b"}], {"a": 1}])
def test_what_is_no_upload_adds_nothing(uploads: Path, sent: object) -> None:
    assert not add_uploads(Tray(), sent, uploads).photos


def test_a_find_takes_only_so_many_photos(uploads: Path) -> None:
    sent = [upload(uploads, f"{number}.jpg") for number in range(MAX_PHOTOS + 1)]
    tray = add_uploads(Tray(), sent, uploads)
    assert len(tray.photos) == MAX_PHOTOS
    assert "at most" in tray.problems[0].what
    assert list(uploads.rglob("*")) == []


def test_a_phone_photo_in_heic_is_read(uploads: Path) -> None:
    pillow_heif = pytest.importorskip("pillow_heif", reason="HEIC needs pillow-heif")
    path = uploads / "IMG_0001.HEIC"
    pillow_heif.from_pillow(Image.new("RGB", (96, 64), (90, 120, 60))).save(path)
    tray = add_uploads(Tray(), [{"path": str(path), "name": path.name}], uploads)
    assert not tray.problems
    assert tray.photos[0].image.size == (96, 64)
    assert tray.photos[0].preview.data_uri.startswith("data:image/jpeg")


def test_removing_one_photo_leaves_the_others(uploads: Path) -> None:
    sent = [upload(uploads, f"{name}.jpg") for name in "abc"]
    tray = add_uploads(Tray(), sent, uploads)
    assert [photo.name for photo in tray.without(1).photos] == ["a.jpg", "c.jpg"]
    assert tray.without(99).photos == tray.photos
    assert tray.without(-1).photos == tray.photos


def test_webp_is_among_the_formats_this_pillow_reads() -> None:
    assert features.check("webp"), "the page says that it takes WebP"
