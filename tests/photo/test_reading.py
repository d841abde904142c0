"""open_photo: every mode and format, against values worked out with Pillow and numpy."""

from __future__ import annotations

import io
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pillow_heif
import pytest
from PIL import Image, ImageCms

from simsearch.photo import open_photo

RNG = np.random.default_rng(7)


def pixels(image: Image.Image) -> npt.NDArray[np.int64]:
    return np.asarray(image).astype(np.int64)


def encoded(image: Image.Image, kind: str, **options: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, kind, **options)
    return buffer.getvalue()


def smooth(width: int = 96, height: int = 64) -> Image.Image:
    """A picture without fine detail, so that lossy formats stay close to it."""
    x, y = np.meshgrid(np.linspace(20, 230, width), np.linspace(230, 30, height))
    return Image.fromarray(np.dstack([x, y, (x + y) / 2]).astype(np.uint8))


def heic(image: Image.Image, **options: object) -> bytes:
    buffer = io.BytesIO()
    pillow_heif.from_pillow(image).save(buffer, quality=95, **options)
    return buffer.getvalue()


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "BMP"])
def test_lossless_formats_are_read_exactly(kind: str) -> None:
    image = Image.fromarray(RNG.integers(0, 256, (20, 31, 3), dtype=np.uint8))
    assert np.array_equal(pixels(open_photo(encoded(image, kind))), pixels(image))


@pytest.mark.parametrize(
    "data", [encoded(smooth(), "JPEG"), encoded(smooth(), "WEBP"), heic(smooth())]
)
def test_lossy_formats_are_read_closely(data: bytes) -> None:
    result = open_photo(data)
    assert result.mode == "RGB" and result.size == (96, 64)
    assert np.abs(pixels(result) - pixels(smooth())).mean() < 4


def test_every_source_gives_the_same_picture(tmp_path: Path) -> None:
    data = encoded(smooth(), "PNG")
    path = tmp_path / "no ending"
    path.write_bytes(data)
    with path.open("rb") as file:
        results = [open_photo(s) for s in (path, str(path), data, io.BytesIO(data), file)]
    results.append(open_photo(smooth()))
    assert all(np.array_equal(pixels(r), pixels(smooth())) for r in results)


def test_the_content_decides_and_not_the_name(tmp_path: Path) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(encoded(smooth(), "PNG"))
    assert np.array_equal(pixels(open_photo(path)), pixels(smooth()))


def test_sixteen_bit_grey_is_divided_by_257() -> None:
    # PNG specification, 13.12: linear scaling from 0..65535 to 0..255.
    values = np.array([[0, 256, 257, 32768, 65535]], dtype=np.uint16)
    expected = np.rint(values / 257)[..., None].repeat(3, axis=2)
    for kind in ("PNG", "TIFF"):
        assert np.array_equal(pixels(open_photo(encoded(Image.fromarray(values), kind))), expected)


def test_big_endian_sixteen_bit_tiff() -> None:
    values = np.array([[0, 25700, 65535]], dtype=">u2")
    image = Image.frombytes("I;16B", (3, 1), values.tobytes())
    assert pixels(open_photo(encoded(image, "TIFF")))[0, :, 0].tolist() == [0, 100, 255]


def tiff_grey(bits: int, photometric: int, samples: bytes, width: int) -> bytes:
    """A one-row grey TIFF made by hand (TIFF 6.0, section 4)."""
    entries = [
        (256, 3, width), (257, 3, 1), (258, 3, bits), (259, 3, 1), (262, 3, photometric),
        (273, 4, 8), (277, 3, 1), (278, 3, 1), (279, 4, len(samples)),
    ]  # fmt: skip
    padded = samples + b"\0" * (len(samples) % 2)
    ifd = struct.pack("<H", len(entries))
    ifd += b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in entries)
    return struct.pack("<2sHI", b"II", 42, 8 + len(padded)) + padded + ifd + b"\0" * 4


def test_tiff_where_zero_is_white() -> None:
    samples = np.array([0, 25700, 65535], dtype="<u2").tobytes()
    assert pixels(open_photo(tiff_grey(16, 0, samples, 3)))[0, :, 0].tolist() == [255, 155, 0]


def test_twelve_bit_tiff_uses_its_own_scale() -> None:
    # 4095, 0: two 12-bit samples packed into three bytes, most significant bit first.
    assert pixels(open_photo(tiff_grey(12, 1, b"\xff\xf0\x00", 2)))[0, :, 0].tolist() == [255, 0]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ([0, 25700, 65535], [0, 100, 255]),
        ([0, 50_000, 100_000], [0, 128, 255]),
        ([-100, 0, 100], [0, 128, 255]),
    ],
)
def test_mode_i_is_sixteen_bit_or_else_stretched(values: list[int], expected: list[int]) -> None:
    image = Image.fromarray(np.array([values], dtype=np.int32))
    assert image.mode == "I"
    assert pixels(open_photo(image))[0, :, 0].tolist() == expected
    assert pixels(open_photo(encoded(image, "TIFF")))[0, :, 0].tolist() == expected


def test_mode_f_is_zero_to_one_or_else_stretched() -> None:
    def grey(values: list[float]) -> list[int]:
        image = Image.fromarray(np.array([values], dtype=np.float32))
        return pixels(open_photo(encoded(image, "TIFF")))[0, :, 0].tolist()

    assert grey([0, 0.2, 1]) == [0, 51, 255]
    assert grey([10, 20, 30]) == [0, 128, 255]
    assert grey([0, float("nan"), 1]) == [0, 0, 255]


@pytest.mark.parametrize("mode", ["1", "L", "P", "RGB", "CMYK", "YCbCr", "HSV", "RGBX"])
def test_opaque_modes_equal_pillows_own_conversion(mode: str) -> None:
    image = smooth().convert(mode)
    assert np.array_equal(pixels(open_photo(image)), pixels(image.convert("RGB")))


def test_cmyk_jpeg_written_the_adobe_way_is_not_inverted() -> None:
    # Pillow writes CMYK JPEGs inverted with an Adobe marker, as the usual programs do.
    cmyk = Image.merge("CMYK", [Image.new("L", (32, 32), v) for v in (200, 30, 10, 20)])
    data = encoded(cmyk, "JPEG", quality=95)
    assert b"Adobe" in data
    # Ink c and black k leave (1 - c)(1 - k) of the light.
    expected = [(255 - v) * (255 - 20) / 255 for v in (200, 30, 10)]
    assert np.abs(pixels(open_photo(data)).mean(axis=(0, 1)) - expected).max() < 3


def test_lab_goes_through_the_colour_engine() -> None:
    image = Image.new("LAB", (4, 4), (128, 128, 128))  # L* 50, a* and b* 0: mid grey
    # L* = 50 has Y = ((50 + 16) / 116)^3 (CIE 1976); sRGB then encodes that as 119.
    assert np.abs(pixels(open_photo(image)) - 119).max() <= 2


def alpha_ramp() -> Image.Image:
    values = RNG.integers(0, 256, (8, 16, 4), dtype=np.uint8)
    values[..., 3] = np.linspace(0, 255, 16).astype(np.uint8)
    return Image.fromarray(values)


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_alpha_is_laid_on_white(kind: str) -> None:
    image = alpha_ramp()
    options = {"lossless": True, "exact": True} if kind == "WEBP" else {}
    values = pixels(image).astype(float)
    alpha = values[..., 3:] / 255
    expected = values[..., :3] * alpha + 255 * (1 - alpha)
    result = pixels(open_photo(encoded(image, kind, **options)))
    assert np.abs(result - expected).max() <= 1


@pytest.mark.parametrize("mode", ["LA", "PA", "RGBA", "RGBa", "La"])
def test_every_mode_with_alpha_is_laid_on_white(mode: str) -> None:
    grey = Image.new("P" if mode == "PA" else "L", (4, 4), 80)
    grey.putalpha(Image.new("L", (4, 4), 0))
    straight = grey.convert("RGBA" if mode == "RGBa" else "LA")
    image = grey if mode == "PA" else straight.convert(mode)
    assert image.mode == mode
    assert (pixels(open_photo(image)) == 255).all()


def test_half_transparent_grey() -> None:
    image = Image.new("LA", (3, 3), (100, 128))
    expected = 100 * 128 / 255 + 255 * 127 / 255
    assert np.abs(pixels(open_photo(encoded(image, "PNG"))) - expected).max() <= 1


def test_palette_with_transparency() -> None:
    image = Image.new("P", (2, 1))
    image.putpalette([10, 20, 30, 200, 0, 0])
    image.putdata([0, 1])
    plain = pixels(open_photo(encoded(image, "PNG"))).tolist()
    see_through = pixels(open_photo(encoded(image, "PNG", transparency=1))).tolist()
    assert plain == [[[10, 20, 30], [200, 0, 0]]]
    assert see_through == [[[10, 20, 30], [255, 255, 255]]]


@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_one_colour_declared_transparent(mode: str) -> None:
    image = Image.new(mode, (2, 1), "black")
    image.putpixel((1, 0), 90 if mode == "L" else (90, 90, 90))
    data = encoded(image, "PNG", transparency=0 if mode == "L" else (0, 0, 0))
    assert pixels(open_photo(data)).tolist() == [[[255] * 3, [90] * 3]]


# Exif 2.32, 4.6.4 A: orientation -> where row 0 and column 0 of the stored picture belong.
# The picture to be seen has red, green, blue, white at its four corners, clockwise from the top.
UPRIGHT = np.array([[[255, 0, 0], [0, 255, 0]], [[255, 255, 255], [0, 0, 255]]])
STORED = {
    1: UPRIGHT,
    2: UPRIGHT[:, ::-1],
    3: UPRIGHT[::-1, ::-1],
    4: UPRIGHT[::-1],
    5: UPRIGHT.transpose(1, 0, 2),
    6: np.rot90(UPRIGHT, 1),  # stored a quarter turn to the left: shown turned to the right
    7: UPRIGHT[::-1, ::-1].transpose(1, 0, 2),
    8: np.rot90(UPRIGHT, -1),
}


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_exif_orientation(kind: str, orientation: int) -> None:
    stored = STORED[orientation].repeat(16, axis=0).repeat(32, axis=1).astype(np.uint8)
    exif = Image.Exif()
    exif[274] = orientation
    data = encoded(Image.fromarray(stored), kind, exif=exif, quality=95)
    result = open_photo(data)
    turned = orientation >= 5
    assert result.size == ((32, 64) if turned else (64, 32))
    corners = pixels(result.resize((2, 2), Image.Resampling.BOX))
    assert np.abs(corners - UPRIGHT).max() < 40


def test_heic_is_turned_once() -> None:
    stored = STORED[6].repeat(64, axis=0).repeat(32, axis=1).astype(np.uint8)
    exif = Image.Exif()
    exif[274] = 6
    image = Image.fromarray(stored)
    # The container turns the picture; the EXIF inside says so once more, as on phones.
    result = open_photo(heic(image, exif=exif.tobytes()))
    assert result.size == (128, 64)
    corners = pixels(result.resize((2, 2), Image.Resampling.BOX))
    assert np.abs(corners - UPRIGHT).max() < 60


def test_garbled_exif_leaves_the_picture_as_stored() -> None:
    data = encoded(smooth(), "JPEG", exif=b"Exif\0\0II*\0\xff\xff\xff\x7f garbage", quality=95)
    assert open_photo(data).size == (96, 64)


def matrix_profile(colorants: list[tuple[float, float, float]]) -> bytes:
    """A minimal display profile (ICC.1:2010, clause 7 and 8.3) with the given RGB colorants."""

    def s15(value: float) -> bytes:
        return struct.pack(">i", round(value * 65536))

    def xyz(values: tuple[float, float, float]) -> bytes:
        return b"XYZ \0\0\0\0" + b"".join(s15(v) for v in values)

    curve = b"curv\0\0\0\0" + struct.pack(">IHH", 1, round(2.2 * 256), 0)
    white = (0.9642, 1.0, 0.8249)  # D50
    text = b"desc\0\0\0\0" + struct.pack(">I", 5) + b"test\0" + b"\0" * 83
    tags = [(b"desc", text), (b"wtpt", xyz(white)), (b"cprt", b"text\0\0\0\0CC0\0")]
    tags += [(n, xyz(c)) for n, c in zip((b"rXYZ", b"gXYZ", b"bXYZ"), colorants, strict=True)]
    tags += [(n, curve) for n in (b"rTRC", b"gTRC", b"bTRC")]
    body, table, offset = b"", b"", 128 + 4 + 12 * len(tags)
    for name, content in tags:
        content += b"\0" * (-len(content) % 4)
        table += name + struct.pack(">II", offset + len(body), len(content))
        body += content
    size = offset + len(body)
    head = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H", 2020, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28
    head += b"".join(s15(v) for v in white)
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


# The D50 colorants of sRGB (IEC 61966-2-1 adapted to D50, as in the common sRGB profiles; from
# memory).
SRGB = [(0.4361, 0.2225, 0.0139), (0.3851, 0.7169, 0.0971), (0.1431, 0.0606, 0.7141)]


def test_the_embedded_profile_is_applied() -> None:
    """A profile that calls the first channel green and the second red swaps the two."""
    swapped = matrix_profile([SRGB[1], SRGB[0], SRGB[2]])
    image = Image.new("RGB", (8, 8), (255, 0, 0))
    for kind in ("PNG", "TIFF"):
        result = pixels(open_photo(encoded(image, kind, icc_profile=swapped)))
        assert np.abs(result - [0, 255, 0]).max() <= 3


def test_an_srgb_profile_changes_nothing_visible() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = encoded(smooth(), "PNG", icc_profile=profile)
    assert np.abs(pixels(open_photo(data)) - pixels(smooth())).max() <= 2


def test_a_profile_with_alpha_still_lays_on_white() -> None:
    swapped = matrix_profile([SRGB[1], SRGB[0], SRGB[2]])
    image = Image.new("RGBA", (2, 1), (255, 0, 0, 255))
    image.putpixel((1, 0), (255, 0, 0, 0))
    result = pixels(open_photo(encoded(image, "PNG", icc_profile=swapped)))
    assert np.abs(result[0] - [[0, 255, 0], [255, 255, 255]]).max() <= 3


@pytest.mark.parametrize("profile", [b"rubbish", matrix_profile(SRGB)[:90]])
def test_a_broken_profile_is_ignored(profile: bytes) -> None:
    data = encoded(smooth(), "PNG", icc_profile=profile)
    assert np.array_equal(pixels(open_photo(data)), pixels(smooth()))


def test_a_profile_for_another_kind_of_image_is_ignored() -> None:
    cmyk = smooth().convert("CMYK")
    data = encoded(cmyk, "TIFF", icc_profile=matrix_profile(SRGB))
    assert np.array_equal(pixels(open_photo(data)), pixels(cmyk.convert("RGB")))


@pytest.mark.parametrize("kind", ["TIFF", "WEBP", "PNG"])
def test_of_several_frames_the_first_is_taken(kind: str) -> None:
    frames = [Image.new("RGB", (8, 8), c) for c in ("red", "green", "blue")]
    options = {"lossless": True} if kind == "WEBP" else {}
    data = encoded(frames[0], kind, save_all=True, append_images=frames[1:], **options)
    assert (pixels(open_photo(data)) == [255, 0, 0]).all()


def test_of_a_jpeg_with_several_pictures_the_first_is_taken() -> None:
    data = encoded(smooth(), "MPO", save_all=True, append_images=[Image.new("RGB", (96, 64))])
    assert np.abs(pixels(open_photo(data)) - pixels(smooth())).mean() < 4


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
@pytest.mark.parametrize("size", [(800, 300), (300, 800), (50, 40)])
def test_max_side_shrinks_and_never_enlarges(kind: str, size: tuple[int, int]) -> None:
    result = open_photo(encoded(smooth(*size), kind, quality=95), max_side=100)
    factor = min(1, 100 / max(size))
    assert result.size == (round(size[0] * factor), round(size[1] * factor))
    wanted = smooth(*size).resize(result.size, Image.Resampling.LANCZOS)
    assert np.abs(pixels(result) - pixels(wanted)).mean() < 3


def test_a_large_jpeg_is_decoded_small(monkeypatch: pytest.MonkeyPatch) -> None:
    from PIL.JpegImagePlugin import JpegImageFile

    loaded: list[tuple[int, int]] = []
    load_end = JpegImageFile.load_end
    monkeypatch.setattr(
        JpegImageFile, "load_end", lambda self: (loaded.append(self.size), load_end(self))
    )
    open_photo(encoded(smooth(1600, 1200), "JPEG"), max_side=100)
    assert loaded == [(200, 150)]


def test_max_side_is_checked() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        open_photo(smooth(), max_side=0)


def test_a_very_long_photo_keeps_a_pixel() -> None:
    assert open_photo(Image.new("RGB", (5000, 2)), max_side=10).size == (10, 1)


def test_the_callers_image_is_left_alone() -> None:
    exif = Image.Exif()
    exif[274] = 6
    image = Image.open(io.BytesIO(encoded(smooth(), "JPEG", exif=exif, comment=b"mine")))
    before = dict(image.info)
    result = open_photo(image, max_side=20)
    assert result.size == (13, 20)
    assert image.size == (96, 64) and image.info == before and image.getexif()[274] == 6
    plain = smooth()
    open_photo(plain).putpixel((0, 0), (1, 2, 3))
    assert plain.getpixel((0, 0)) != (1, 2, 3)


def gps_exif() -> Image.Exif:
    exif = Image.Exif()
    exif[0x010F] = "Harrow Fen camera (invented)"
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 30.0, 0.0), 3: "E", 4: (0.0, 12.0, 0.0)})
    exif.get_ifd(0x8769)[0x9003] = "2024:05:06 07:08:09"
    written = Image.Exif()  # only one that was read from bytes can be put into a TIFF
    written.load(exif.tobytes())
    return written


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("saved_as", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_place_and_date_do_not_survive(kind: str, saved_as: str) -> None:
    data = encoded(smooth(), kind, exif=gps_exif())
    source = Image.open(io.BytesIO(data))
    assert source.getexif().get_ifd(0x8825)[2] == (52.0, 30.0, 0.0)  # it was there
    result = open_photo(data)
    assert result.info == {} and dict(result.getexif()) == {}
    again = encoded(result, saved_as)
    assert b"Harrow" not in again and b"2024:05" not in again
    exif = Image.open(io.BytesIO(again)).getexif()
    assert not exif.get_ifd(0x8825) and not exif.get_ifd(0x8769) and 0x010F not in exif


def test_place_in_a_heic_does_not_survive() -> None:
    image = smooth()
    image.info["exif"] = gps_exif().tobytes()
    data = heic(image)
    assert b"Harrow" in data
    result = open_photo(data)
    assert result.info == {} and b"Harrow" not in encoded(result, "JPEG")


def test_reading_heic_registers_nothing_for_the_process(tmp_path: Path) -> None:
    # In a process of its own: packages that other tests import register HEIF with Pillow.
    photo = tmp_path / "find.heic"
    photo.write_bytes(heic(smooth()))
    program = (
        "import sys; from PIL import Image; from simsearch.photo import open_photo;"
        "Image.init(); before = sorted(Image.OPEN); print(open_photo(sys.argv[1]).size);"
        "sys.exit(sorted(Image.OPEN) != before or 'HEIF' in before)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program, str(photo)], capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "(96, 64)\n", "")
