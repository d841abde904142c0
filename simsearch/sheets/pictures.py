"""Photos on paper: small copies, scale bars, and where a find may lie on a whole object."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, TypeAlias

from reportlab.lib.colors import black, white
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable, Paragraph, Table

from simsearch.errors import PhotoError
from simsearch.leads.model import Line
from simsearch.photo import open_photo
from simsearch.sheets import styles
from simsearch.sheets.fonts import REGULAR

if TYPE_CHECKING:
    from PIL.Image import Image

    from simsearch.sets.photos import PhotoRow

PictureSource: TypeAlias = "str | Path | bytes | BinaryIO | Image"
_MOST_PIXELS, _QUALITY = 1000, 85
_BAR_ROOM, _BAR_THICK = 22, 4  # points below a photo, and the bar itself
_BAR_SHARE = 0.45  # of the photo's width at most
_MISSING = 45 * mm
_PLATE_HEIGHTS = {1: 92 * mm, 2: 68 * mm, 3: 52 * mm}
NO_SCALE = "no scale"
NOT_TO_SCALE = "No scale: pictures of the reference set are not true to size with each other."


@dataclass(frozen=True)
class Copy:
    """A small copy of a photo as JPEG; ``shrunk`` is its width as a share of the original's."""

    jpeg: bytes
    width: int
    height: int
    shrunk: float


def copy_of(source: PictureSource) -> Copy:
    """Read a photo and make a small copy of it, without metadata.

    Raises ``PhotoError`` when it cannot be read.
    """
    return copy_of_image(open_photo(source))


def copy_of_image(photo: Image) -> Copy:
    """A small JPEG of a picture."""
    whole = photo.width
    small = photo.convert("RGB")
    small.thumbnail((_MOST_PIXELS, _MOST_PIXELS))
    with io.BytesIO() as buffer:
        small.save(buffer, format="JPEG", quality=_QUALITY)
        return Copy(buffer.getvalue(), small.width, small.height, small.width / whole)


class Picture(Flowable):
    """A photo as large as fits into a box, with a scale bar or "no scale" below if asked for.

    ``mm_per_px`` is that of the original. ``lines`` are drawn over the photo, as fractions of its
    width and height. Without a copy a frame says that the photo is missing.
    """

    def __init__(
        self,
        copy: Copy | None,
        box: tuple[float, float],
        *,
        mm_per_px: float | None = None,
        scale: bool = False,
        lines: Sequence[Line] = (),
    ) -> None:
        super().__init__()
        self._copy, self._lines, self._mm_per_px, self._scale = copy, lines, mm_per_px, scale
        room = _BAR_ROOM if scale else 0
        if copy is None:
            self.width, self.height = min(_MISSING, box[0]), min(_MISSING * 0.6, box[1])
        else:
            factor = min(box[0] / copy.width, (box[1] - room) / copy.height)
            # A sliver of a photo still has to be a photo.
            self.width = max(copy.width * factor, 2.0)
            self.height = max(copy.height * factor, 2.0)
        self._photo_height = self.height
        self.height += room if copy is not None else 0
        # "no scale" and the bar need a little width even below a narrow photo.
        self._photo_width = self.width
        self.width = min(box[0], max(self.width, 60.0)) if scale else self.width

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        canvas = self.canv
        if self._copy is None:
            canvas.rect(0, 0, self._photo_width, self._photo_height)
            canvas.setFont(REGULAR, 7.5)
            canvas.drawCentredString(
                self._photo_width / 2, self._photo_height / 2 - 3, "photo cannot be read"
            )
            return
        bottom = self.height - self._photo_height
        width, height = self._photo_width, self._photo_height
        canvas.drawImage(ImageReader(io.BytesIO(self._copy.jpeg)), 0, bottom, width, height)
        canvas.setLineWidth(0.4)
        canvas.setStrokeColor(styles.GREY)
        canvas.rect(0, bottom, width, height)
        self._draw_lines(bottom)
        if self._scale:
            self._draw_scale(bottom)

    def _draw_lines(self, bottom: float) -> None:
        """Dark with light dashes on top, so that it can be told from any photo without colour."""
        if not self._lines:
            return
        canvas, width, height = self.canv, self._photo_width, self._photo_height
        canvas.saveState()
        inside = canvas.beginPath()
        inside.rect(0, bottom, width, height)
        canvas.clipPath(inside, stroke=0, fill=0)
        path = canvas.beginPath()
        for line in self._lines:
            for number, (x, y) in enumerate(line):
                point = (x * width, bottom + (1 - y) * height)
                path.lineTo(*point) if number else path.moveTo(*point)
            path.close()
        canvas.setLineJoin(1)
        for colour, thick, dash in ((black, 2.6, ()), (white, 1.3, (4, 3))):
            canvas.setStrokeColor(colour)
            canvas.setLineWidth(thick)
            canvas.setDash(*dash) if dash else canvas.setDash()
            canvas.drawPath(path, stroke=1, fill=0)
        canvas.restoreState()

    def _draw_scale(self, bottom: float) -> None:
        canvas = self.canv
        canvas.setFont(REGULAR, 7.5)
        canvas.setFillColor(black)
        across = self.mm_across
        if across is None:
            canvas.drawString(0, bottom - 11, NO_SCALE)
            return
        length = bar_length(across)
        points = length / across * self._photo_width
        y = bottom - 4 - _BAR_THICK
        canvas.setStrokeColor(black)
        canvas.setLineWidth(0.6)
        for part in range(4):
            canvas.setFillColor(black if part % 2 == 0 else white)
            canvas.rect(part * points / 4, y, points / 4, _BAR_THICK, fill=1)
        canvas.setFillColor(black)
        canvas.drawString(0, y - 8, "0")
        canvas.drawString(max(points - 4, 8), y - 8, f"{length:g} mm")

    @property
    def mm_across(self) -> float | None:
        """How many mm on the object the photo is wide; ``None`` without a scale."""
        if self._copy is None or self._mm_per_px is None:
            return None
        return self._mm_per_px * self._copy.width / self._copy.shrunk


def bar_length(mm_across: float) -> float:
    """A round length in mm that is less than half as long as the photo is wide."""
    most = mm_across * _BAR_SHARE
    ten = 10.0 ** math.floor(math.log10(most))
    return ten * max(step for step in (1, 2, 5) if step * ten <= most * (1 + 1e-9))


def copy_or_none(source: PictureSource) -> Copy | None:
    """A small copy of a photo, ``None`` where it cannot be read: a sheet has more to say."""
    try:
        return copy_of(source)
    except PhotoError:
        return None


@dataclass(frozen=True)
class Plate:
    """One photo and the short lines below it."""

    picture: Picture
    lines: tuple[Paragraph, ...]


def plates(
    made: Sequence[Callable[[tuple[float, float]], Plate]], *, columns: int = 0, height: float = 0
) -> Table:
    """Set photos in rows; each of ``made`` gets the box it may fill and returns its plate.

    Rows break over pages; a photo and its lines do not.
    """
    columns = columns or _columns(len(made))
    height = height or _PLATE_HEIGHTS[columns]
    width = styles.WIDTH / columns
    cells: list[list[object]] = []
    for start in range(0, len(made), columns):
        row = [make((width - 8, height)) for make in made[start : start + columns]]
        filled: list[object] = [[plate.picture, *plate.lines] for plate in row]
        cells.append(filled + [""] * (columns - len(filled)))
    table = Table(cells, colWidths=[width] * columns, hAlign="LEFT")
    table.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 8),
            ("TOPPADDING", (0, 0), (-1, -1), 2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
        ]
    )
    return table


def _columns(count: int) -> int:
    return 1 if count == 1 else 2 if count <= 4 else 3


def plate_room(count: int) -> float:
    """Points that the first row of so many photos may need, with its lines."""
    return _PLATE_HEIGHTS[_columns(count)] + 30


def credit(photo: PhotoRow) -> str:
    """Who made a reference photo and under what licence; a rendered picture says so first."""
    kind = "Rendered picture" if photo.is_rendered else "Photo"
    return f"{kind}: {photo.creator}, {photo.licence}"
