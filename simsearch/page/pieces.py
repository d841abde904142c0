"""What every part of the page is made of: templates, and a reference photo with its credit.

Templates escape everything that is put into them; the only text passed through as it is are
the data URIs made here and the date chart, which does its own escaping.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from simsearch.page.thumbs import thumbnail
from simsearch.sets.licences import LICENCES

if TYPE_CHECKING:
    from simsearch.sets.photos import PhotoRow

THUMB_SIDE, LARGE_SIDE, LIST_SIDE = 220, 420, 96


@lru_cache(maxsize=1)
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("simsearch.page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def fill(template: str, **values: Any) -> str:
    """A template with its values, every one of them escaped."""
    return _environment().get_template(template).render(**values)


def shot(photo: PhotoRow, path: Path, type_name: str, side: int) -> dict[str, Any]:
    """One reference photo with what must always stand under it: credit, licence, rendered."""
    picture = thumbnail(path, side)
    what = f"{photo.view}, {photo.completeness}, {photo.condition}"
    rendered = photo.is_rendered
    return {
        "id": photo.id,
        "data_uri": picture.data_uri if picture else "",
        "width": picture.width if picture else 0,
        "height": picture.height if picture else 0,
        "problem": f"The photo {photo.file} cannot be read.",
        "alt": f"{type_name}, {'rendered picture' if rendered else 'photo'}: {what}",
        "what": what,
        "rendered": rendered,
        "creator": photo.creator,
        "licence": photo.licence,
        "licence_url": LICENCES[photo.licence].url if photo.licence in LICENCES else "",
    }


def varied(photos: Sequence[PhotoRow]) -> list[PhotoRow]:
    """Complete before broken, clean before corroded, and the views in turn."""
    order = {"front": 0, "back": 1, "side": 2, "detail": 3}
    state = {"clean": 0, "worn": 1, "corroded": 2}
    return sorted(
        photos,
        key=lambda p: (
            p.completeness != "complete",
            state.get(p.condition, 3),
            order.get(p.view, 4),
        ),
    )
