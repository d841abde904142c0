"""The shapes of IIIF Presentation 2.1 that version 3 has changed."""

from __future__ import annotations

from typing import Any

from simsearch.bring.iiif_parts import Picture, items

_IMAGE = "dctypes:Image"


def canvases(manifest: dict[str, Any]) -> list[Any]:
    """The canvases of the first sequence; any others only order them differently."""
    for sequence in items(manifest.get("sequences"))[:1]:
        if isinstance(sequence, dict):
            return items(sequence.get("canvases"))
    return []


def pictures(canvas: dict[str, Any]) -> list[Picture]:
    """What is painted on a canvas, up to two: more is told apart from one only."""
    found: list[Picture] = []
    for annotation in items(canvas.get("images")):
        if not isinstance(annotation, dict):
            continue
        resource = annotation.get("resource")
        if isinstance(resource, dict) and resource.get("@type") == "oa:Choice":
            resource = resource.get("default")
        is_part = isinstance(resource, dict) and resource.get("@type") == "oa:SpecificResource"
        if is_part and isinstance(resource, dict):
            resource = resource.get("full")
        if isinstance(resource, dict) and resource.get("@type", _IMAGE) == _IMAGE:
            found.append(Picture(resource, annotation, is_part))
        if len(found) > 1:
            break
    return found
