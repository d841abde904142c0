"""open_photo on files that are no photo, are damaged, or are made to do harm."""

from __future__ import annotations

import io
import os
import struct
import warnings
import zipfile
import zlib
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from simsearch.errors import PhotoError
from simsearch.photo import MAX_FILE_BYTES, MAX_PIXELS, open_photo

RNG = np.random.default_rng(11)
NOISE = Image.fromarray(RNG.integers(0, 256, (48, 64, 3), dtype=np.uint8))


def encoded(kind: str, **options: object) -> bytes:
    buffer = io.BytesIO()
    if kind == "HEIC":
        pillow_heif.from_pillow(NOISE).save(buffer, quality=80)
    else:
        NOISE.save(buffer, kind, **options)
    return buffer.getvalue()


SAMPLES = {
    "JPEG": encoded("JPEG"),
    "progressive JPEG": encoded("JPEG", progressive=True),
    "PNG": encoded("PNG"),
    "WebP": encoded("WEBP"),
    "lossless WebP": encoded("WEBP", lossless=True),
    "TIFF": encoded("TIFF"),
    "packed TIFF": encoded("TIFF", compression="tiff_lzw"),
    "BMP": encoded("BMP"),
    "HEIC": encoded("HEIC"),
}


def refusal(source: object) -> str:
    with pytest.raises(PhotoError) as caught:
        open_photo(source)  # type: ignore[arg-type]
    assert caught.value.hint, "each refusal says what to do"
    return str(caught.value)


def png_header(width: int, height: int) -> bytes:
    """A PNG that claims a size and holds one byte of pixels (PNG specification, 5 and 11.2)."""

    def chunk(name: bytes, content: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(name + content))
        return struct.pack(">I", len(content)) + name + content + check

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def test_the_message_names_the_file(tmp_path: Path) -> None:
    path = tmp_path / "brooch.jpg"
    path.write_bytes(b"not a photo at all")
    assert "brooch.jpg is not a photo" in refusal(path)
    path.write_bytes(SAMPLES["JPEG"][:400])
    text = refusal(path)
    assert "brooch.jpg" in text and "damaged or cut short" in text


def test_a_missing_file(tmp_path: Path) -> None:
    assert "no file" in refusal(tmp_path / "gone.jpg")
    assert "no file" in refusal("a\0b")


def test_a_folder(tmp_path: Path) -> None:
    assert "is a folder" in refusal(tmp_path)


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("this system has no named pipes")
    os.mkfifo(tmp_path / "pipe")
    assert "ordinary file" in refusal(tmp_path / "pipe")


def test_an_empty_file(tmp_path: Path) -> None:
    (tmp_path / "empty.jpg").touch()
    assert "empty.jpg is empty" in refusal(tmp_path / "empty.jpg")
    assert "is empty" in refusal(b"")
    assert "is empty" in refusal(io.BytesIO())


def test_a_file_over_the_limit(tmp_path: Path) -> None:
    path = tmp_path / "large.png"
    with path.open("wb") as file:
        file.write(SAMPLES["PNG"])
        file.truncate(MAX_FILE_BYTES + 1)
    assert "50 MB" in refusal(path)
    with path.open("rb") as file:
        assert "50 MB" in refusal(file)


def test_a_zip_called_jpg(tmp_path: Path) -> None:
    path = tmp_path / "photos.jpg"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.txt", "a")
    assert "zip archive" in refusal(path)


@pytest.mark.parametrize(
    ("data", "named"),
    [
        (encoded("GIF"), "a GIF"),
        (b"%PDF-1.7\n", "a PDF"),
        (b"8BPS\0\1", "PSD"),
        (b"\0\0\0\x20ftypisom\0\0\0\0isommp41", "a video"),
        (b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf", "AVIF"),
        (b"\0\0\0\x1cftypmif1\0\0\0\0avifmif1miaf", "AVIF"),
        (b"II*\0\x10\0\0\0CR\2\0", "camera raw"),
        (b"  <svg xmlns='http://www.w3.org/2000/svg'/>", "SVG"),
        (b"\0\0\0\x0cJXL \r\n\x87\n", "JPEG XL"),
        (encoded("JPEG2000"), "JPEG 2000"),
    ],
)
def test_an_unsupported_format_is_named(data: bytes, named: str) -> None:
    text = refusal(data)
    assert named in text and "JPEG, PNG, WebP, TIFF, HEIC" in text


def test_a_digital_negative_is_named() -> None:
    tags = {50706: b"\1\4\0\0"}
    assert "camera raw" in refusal(encoded("TIFF", tiffinfo=tags))


@pytest.mark.parametrize("size", [(9000, 9000), (12_000, 12_000), (65_000, 65_000), (2**31 - 1, 5)])
def test_a_picture_over_the_pixel_limit_is_refused_before_decoding(size: tuple[int, int]) -> None:
    assert size[0] * size[1] > MAX_PIXELS
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # Pillow's own warning must not come out
        assert "80 megapixels" in refusal(png_header(*size))


def test_the_pixel_limit_holds_for_pil_images_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Image.Image, "load", lambda self: pytest.fail("it was decoded"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        image = Image.open(io.BytesIO(png_header(9500, 9500)))
    assert "80 megapixels" in refusal(image)


def test_a_tiff_with_a_huge_tile_is_refused() -> None:
    def entry(tag: int, value: int) -> bytes:
        return struct.pack("<HHII", tag, 4, 1, value)

    tags = [(256, 8), (257, 8), (258, 8), (259, 1), (262, 1), (277, 1)]
    tags += [(322, 60_000), (323, 60_000), (324, 8), (325, 64)]
    ifd = struct.pack("<H", len(tags)) + b"".join(entry(*t) for t in tags) + b"\0" * 4
    data = struct.pack("<2sHI", b"II", 42, 8) + ifd
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        refusal(data)


@pytest.mark.parametrize("size", [(0, 10), (10, 0), (0, 0)])
def test_no_pixels(size: tuple[int, int]) -> None:
    refusal(png_header(*size))
    assert "no pixels" in refusal(Image.new("RGB", size))


def test_a_lazily_opened_damaged_image() -> None:
    image = Image.open(io.BytesIO(SAMPLES["PNG"][:2000]))
    assert "damaged or cut short" in refusal(image)


def test_a_wrong_kind_of_source_is_the_callers_mistake() -> None:
    with pytest.raises(TypeError, match="A photo is a path"):
        open_photo(42)  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="binary mode"):
        open_photo(io.StringIO("text"))  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", SAMPLES)
@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9])
def test_a_file_cut_short_is_refused(kind: str, share: float) -> None:
    data = SAMPLES[kind]
    refusal(data[: max(1, int(len(data) * share))])


def check_survives(data: bytes) -> bool:
    """Return whether ``data`` was read; anything but a picture or a PhotoError fails the test."""
    try:
        result = open_photo(data, max_side=40)
    except PhotoError:
        return False
    assert result.mode == "RGB" and result.info == {} and 1 <= max(result.size) <= 40
    return True


@pytest.mark.parametrize("kind", SAMPLES)
def test_damaged_files_give_a_picture_or_a_photo_error(kind: str) -> None:
    """Forty damaged copies of each kind: bytes changed, cut out, doubled, or zeroed."""
    rng = np.random.default_rng(len(kind))
    original = np.frombuffer(SAMPLES[kind], dtype=np.uint8)
    read = 0
    with warnings.catch_warnings():
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        warnings.simplefilter("ignore", UserWarning)
        for turn in range(40):
            data = original.copy()
            reach = len(data) if turn % 2 else min(200, len(data))  # half of them in the header
            where = rng.integers(0, reach, size=int(rng.integers(1, 12)))
            data[where] = rng.integers(0, 256, size=len(where), dtype=np.uint8)
            start, stop = sorted(rng.integers(0, len(data), size=2))
            if turn % 4 == 2:
                data = np.delete(data, slice(start, stop))
            elif turn % 4 == 3:
                data = np.concatenate([data[:stop], data[start:]])
            read += check_survives(data.tobytes())
    assert read < 40  # the damage was real


def test_random_bytes_behind_each_signature() -> None:
    rng = np.random.default_rng(5)
    heads = [data[:kept] for data in SAMPLES.values() for kept in (4, 12, 30, 100)]
    read = sum(check_survives(head + rng.bytes(3000)) for head in heads)
    assert read < len(heads) / 2  # a lossy format may make a picture out of noise
