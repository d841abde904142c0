"""Measuring from the photos of a find, and advice on them: offered, never filled in unasked."""

from __future__ import annotations

import io
import logging
import math
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import gradio as gr
from PIL import Image

from simsearch.errors import SimsearchError
from simsearch.page import render
from simsearch.page.browse import html, light, payload, script
from simsearch.page.pieces import fill
from simsearch.page.refine import Looked, typed

if TYPE_CHECKING:
    from simsearch.measure.model import Measurement
    from simsearch.page.intake import HeldPhoto

_LOG = logging.getLogger(__name__)
_POINTS = 4
"""Two on the scale, then the two ends of the find."""


def lay_out_measuring() -> gr.HTML:
    """Put the part together; it is empty until there are leads."""
    return html("", js_on_load=script("measuring.js"), elem_id="ss-measuring")


def wire_measuring(part: gr.HTML, looked: gr.State, after: Any) -> None:
    """Look at the photos once the leads of ``after`` stand, and measure between points."""

    def look(found: Looked | None) -> Iterator[str]:
        if found is None:
            yield ""
            return
        yield fill("measuring_wait.html")
        yield render_measuring(found)

    options: dict[str, Any] = {
        "inputs": looked,
        "outputs": part,
        "api_visibility": "private",
        "concurrency_id": "encoder",
        "concurrency_limit": 1,
        "show_progress": "hidden",
    }
    after.success(look, **options)

    def points(found: Looked | None, event: gr.EventData) -> str:
        return between_points(found, payload(event))

    light(part.points, points, inputs=looked, outputs=part)


def render_measuring(
    looked: Looked, *, offered: Mapping[str, Any] | None = None, problem: str = ""
) -> str:
    """Advice on each photo, what the photo card gives, and the way to measure without one.

    ``offered`` is what two points gave, ``problem`` why they gave nothing; the photos are then
    not looked at again.
    """
    fresh = offered is None and not problem
    photos = [
        {
            "name": photo.name,
            "data_uri": photo.preview.data_uri,
            "width": photo.preview.width,
            "height": photo.preview.height,
            **(_looked_over(photo, looked) if fresh else {"advice": [], "card": None, "said": ""}),
        }
        for photo in looked.tray.photos
    ]
    return fill("measuring.html", photos=photos, offered=offered, problem=problem, points=_POINTS)


def _looked_over(photo: HeldPhoto, looked: Looked) -> dict[str, Any]:
    picture = large(photo)
    advice = _tried(lambda: [item.words for item in _advice(picture, looked)], [])
    card, said = None, ""
    try:
        card = _by_card(picture, looked)
    except SimsearchError as error:
        # A photo without any card is no fault: most have none.
        said = "" if getattr(error, "reason", "") == "none" else str(error)
    except Exception:
        _LOG.exception("measuring failed")
    return {"advice": advice, "card": card, "said": said}


def _advice(picture: Image.Image, looked: Looked) -> Any:
    from simsearch.measure.advice import advise

    if not hasattr(looked.encoder, "masks"):
        return ()
    return advise(picture, looked.encoder)


def _by_card(picture: Image.Image, looked: Looked) -> dict[str, str]:
    from simsearch.measure.by_card import measure_on_card

    observed = looked.leads.observed
    thickness = observed.thickness_mm.value if observed and observed.thickness_mm else None
    encoder = looked.encoder if hasattr(looked.encoder, "masks") else None
    return offer(measure_on_card(picture, thickness_mm=thickness, encoder=encoder))


def offer(found: Measurement) -> dict[str, str]:
    """A measurement in words, and as what would go into the panel's fields if it is taken."""
    errors = [found.error_mm, found.width_error_mm or 0.0]
    return {
        "words": found.words(),
        "how": found.how,
        "length": f"{found.length_mm:.1f}",
        "width": "" if found.width_mm is None else f"{found.width_mm:.1f}",
        "error": f"{math.ceil(10 * max(errors)) / 10:.1f}",
    }


def between_points(looked: Looked | None, sent: Mapping[str, Any]) -> str:
    """Measure between points that were clicked on one photo; they come as shares of its sides."""
    if looked is None:
        return render.render_problem("That photo is no longer held here.", "Look for leads again.")
    try:
        return render_measuring(looked, offered=offer(_clicked(looked, sent)))
    except SimsearchError as error:
        return render_measuring(looked, problem=str(error))


def _clicked(looked: Looked, sent: Mapping[str, Any]) -> Measurement:
    from simsearch.measure.model import MeasureError
    from simsearch.measure.two_points import measure_between, two_point_scale

    number, points = sent.get("photo"), sent.get("points")
    text = typed({"mm": sent.get("mm")}).get("mm", "").strip().replace(",", ".")
    if not isinstance(number, int) or not 0 <= number < len(looked.tray.photos):
        raise MeasureError("That photo is no longer held here.", hint="Look for leads again.")
    shares = points if isinstance(points, list) else []
    if len(shares) != _POINTS or not all(map(_is_share, shares)):
        raise MeasureError(
            "Four points are needed.",
            hint="Click both ends of the known distance, then both ends of the find.",
        )
    try:
        mm = float(text)
    except ValueError:
        raise MeasureError(
            "The known distance is no number.", hint="Write it in mm, such as 10 or 22.5."
        ) from None
    size = large(looked.tray.photos[number]).size
    places = [(x * size[0], y * size[1]) for x, y in shares]
    scale = two_point_scale(size, places[0], places[1], mm)
    return measure_between(size, scale, places[2], places[3])


def _is_share(point: object) -> bool:
    return (
        isinstance(point, list)
        and len(point) == 2
        and all(isinstance(part, int | float) and 0 <= part <= 1 for part in point)
    )


def large(photo: HeldPhoto) -> Image.Image:
    """The photo as large as it is held."""
    if not photo.large:
        return photo.image
    with Image.open(io.BytesIO(photo.large), formats=["JPEG"]) as picture:
        return picture.convert("RGB")


def _tried(make: Callable[[], list[str]], without: list[str]) -> list[str]:
    """Advice is a courtesy: where it fails the leads still stand."""
    try:
        return make()
    except Exception:
        _LOG.exception("advice failed")
        return without
