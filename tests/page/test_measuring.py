"""Measuring on the page: what is offered, from a photo card or between points, and what is not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

import simsearch.encode
from simsearch.page.intake import HeldPhoto, Tray, jpeg_bytes
from simsearch.page.measuring import between_points, render_measuring
from simsearch.page.refine import Looked, look_at
from simsearch.page.thumbs import encode_picture
from simsearch.sets.reference_set import open_set
from tests.measure.rendering import photo_of, scene
from tests.page.small_set import COLOURS, make_small_set
from tests.page.test_render import Read, tray_of
from tests.tiny_set import GridEncoder


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Looked:
    reference = open_set(make_small_set(tmp_path_factory.mktemp("small") / "set"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(simsearch.encode, "load_encoder", lambda name="grid": GridEncoder(name))
        looked = look_at(tray_of(COLOURS["knee"]), reference)[1]
    assert looked is not None
    return looked


def showing(found: Looked, picture: Image.Image) -> Looked:
    """The same look with another photo."""
    held = HeldPhoto("a.jpg", picture, encode_picture(picture, 640), jpeg_bytes(picture))
    return replace(found, tray=Tray((held,)))


def offered(html: str) -> dict[str, str]:
    """What would go into the panel."""
    buttons = [part for part in Read(html).all("button") if "data-take" in part]
    assert len(buttons) == 1
    return {name: buttons[0][f"data-{name}"] for name in ("length", "width", "error")}


def test_a_photo_card_offers_length_and_width(found: Looked) -> None:
    picture, _ = photo_of(scene())  # a disc of 30 mm
    html = render_measuring(showing(found, picture))
    sizes = {name: float(text) for name, text in offered(html).items()}
    assert abs(sizes["length"] - 30) <= sizes["error"] < 3
    assert abs(sizes["width"] - 30) <= sizes["error"]
    assert "±" in Read(html).text


def test_a_photo_without_a_card_offers_nothing(found: Looked) -> None:
    html = render_measuring(found)
    assert "data-take" not in html
    assert "The photo card was not used" not in html


def test_points_on_a_known_distance_give_the_length(found: Looked) -> None:
    seen = showing(found, Image.new("RGB", (1000, 500)))
    points = [[0.1, 0.2], [0.3, 0.2], [0.1, 0.8], [0.4, 0.8]]
    sizes = offered(between_points(seen, {"photo": 0, "points": points, "mm": "20,0"}))
    # 200 pixels are 20 mm, so 300 pixels are 30 mm.
    assert float(sizes["length"]) == pytest.approx(30, abs=0.05)
    assert float(sizes["error"]) > 0 and sizes["width"] == ""


@pytest.mark.parametrize(
    ("sent", "says"),
    [
        ({}, "no longer held"),
        ({"photo": 7, "points": [], "mm": "1"}, "no longer held"),
        ({"photo": 0, "points": [[0.1, 0.1]], "mm": "10"}, "Four points are needed"),
        ({"photo": 0, "points": [["x", 2]] * 4, "mm": "10"}, "Four points are needed"),
        ({"photo": 0, "points": [[0, 0], [1, 1], [0, 0], [1, 1]], "mm": "ten"}, "is no number"),
        ({"photo": 0, "points": [[0, 0], [1, 1], [0, 0], [1, 1]], "mm": "inf"}, "mm apart"),
        ({"photo": 0, "points": [[0.5, 0.5]] * 4, "mm": "10"}, "farther apart"),
    ],
)
def test_what_cannot_be_measured_is_told(found: Looked, sent: dict[str, Any], says: str) -> None:
    html = between_points(found, sent)
    assert says in Read(html).text
    assert "data-take" not in html


def test_leads_that_are_gone_are_told(tmp_path: Path) -> None:
    assert "no longer held" in between_points(None, {})
