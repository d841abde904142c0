"""The printed card, checked from its PDF: page size, places, marker bits."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from simsearch.measure.card import PAGE_MM, photo_card, place_on_page
from simsearch.measure.layout import A5, A6, DICTIONARY, Layout, marker_cells
from simsearch.measure.model import MeasureError

PX_PER_MM = 10


def pixels_of(layout: Layout) -> np.ndarray:
    """The card cut out of its rendered page, grey."""
    import pypdfium2

    with pypdfium2.PdfDocument(photo_card(layout.name)) as document:
        picture = document[0].render(scale=PX_PER_MM * 25.4 / 72).to_pil().convert("L")
    left, top = (round(mm * PX_PER_MM) for mm in place_on_page(layout))
    return np.asarray(picture)[top:, left:]


def test_the_page_is_a4_in_points() -> None:
    # ISO 216: A4 is 210 x 297 mm; ISO 32000-1, 8.3.2.3: a point of PDF is 1/72 inch.
    from io import BytesIO

    from pypdf import PdfReader

    page = PdfReader(BytesIO(photo_card("a5"))).pages[0]
    assert float(page.mediabox.width) == pytest.approx(297 / 25.4 * 72, abs=0.01)
    assert float(page.mediabox.height) == pytest.approx(210 / 25.4 * 72, abs=0.01)
    # ISO 32000-1, table 150: asks the viewer not to scale.
    reader = PdfReader(BytesIO(photo_card("a6")))
    preferences = reader.trailer["/Root"]["/ViewerPreferences"]
    assert preferences["/PrintScaling"] == "/None"


@pytest.mark.parametrize("layout", [A5, A6], ids=lambda one: one.name)
def test_cards_have_the_sizes_of_iso_216_and_keep_clear_of_printer_margins(layout: Layout) -> None:
    assert (layout.width, layout.height) == {"A5": (210, 148), "A6": (148, 105)}[layout.name]
    assert min(place_on_page(layout)) > 12
    assert PAGE_MM == (297, 210)


@pytest.mark.parametrize("layout", [A5, A6], ids=lambda one: one.name)
def test_printed_markers_are_those_of_opencv_and_stand_where_they_should(layout: Layout) -> None:
    page = pixels_of(layout)
    known = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    for number, box in layout.markers.items():
        bits = cv2.aruco.Dictionary_getBitsFromByteList(known.bytesList[number : number + 1], 5)
        cell = box.width / 7
        at = (np.arange(7) + 0.5) * cell
        rows = np.rint((box.y + at) * PX_PER_MM).astype(int)
        columns = np.rint((box.x + at) * PX_PER_MM).astype(int)
        seen = page[np.ix_(rows, columns)] > 127
        assert (seen[1:-1, 1:-1] == (bits > 0)).all()
        assert not seen[0].any() and not seen[:, 0].any()
        assert (marker_cells(number)[1:-1, 1:-1] == (bits > 0)).all()


def test_the_rule_is_true_to_size() -> None:
    page = pixels_of(A5)
    row = page[round((A5.rule.y + 1) * PX_PER_MM)]
    first, last = A5.rule.x * PX_PER_MM, (A5.rule.x + 100) * PX_PER_MM
    dark = np.flatnonzero(row[round(first) - 5 : round(last) + 6] < 160) + round(first) - 5
    assert dark[0] == pytest.approx(first, abs=2)
    assert dark[-1] == pytest.approx(last, abs=2)
    ticks = np.flatnonzero(np.diff((row[round(first) - 5 : round(last) + 6] < 200).astype(int)) > 0)
    assert len(ticks) == 101


def test_nothing_is_printed_in_the_room_and_no_marker_is_on_both_cards() -> None:
    for layout in (A5, A6):
        room = layout.room.inside(0.5)
        rows = slice(round(room.y * PX_PER_MM), round((room.y + room.height) * PX_PER_MM))
        columns = slice(round(room.x * PX_PER_MM), round((room.x + room.width) * PX_PER_MM))
        assert (pixels_of(layout)[rows, columns] == 255).all()
    assert not set(A5.markers) & set(A6.markers)


def test_the_card_is_black_grey_and_white() -> None:
    import pypdfium2

    with pypdfium2.PdfDocument(photo_card("a5")) as document:
        picture = np.asarray(document[0].render().to_pil().convert("RGB"))
    assert (picture.max(2) == picture.min(2)).all()


def test_other_sizes_are_refused() -> None:
    with pytest.raises(MeasureError, match="a5 or a6"):
        photo_card("a3")
