"""Addresses of pictures of a bounded size, as the IIIF Image API (versions 2 and 3) forms them.

``{service}/{region}/{size}/{rotation}/{quality}.{format}``: see sections 4 of both versions and
their compliance documents for the sizes that each level must offer.
"""

from __future__ import annotations

import re
from typing import Any

from simsearch.bring.plain import web_address

_LEVEL = re.compile(r"(?:^|level)([012])(?:\.json)?$")


def sized_address(resource: dict[str, Any], side: int) -> str:
    """Where to get the picture with no side over ``side`` pixels; empty if none can be told.

    ``resource`` is an image of a manifest with its ``service``. Nothing is asked of a service
    that its level does not promise, and no picture is asked to be larger than it is.
    """
    for service in _services(resource):
        base, version = _base(service), _version(service)
        if not base or not version:
            continue
        size = _size(service, version, _dimensions(resource), side)
        if size:
            return f"{base}/full/{size}/0/default.jpg"
    return ""


def _services(resource: dict[str, Any]) -> list[dict[str, Any]]:
    service = resource.get("service")
    listed = service if isinstance(service, list) else [service]
    return [item for item in listed[:20] if isinstance(item, dict)]


def _base(service: dict[str, Any]) -> str:
    base = web_address(service.get("@id") or service.get("id")).rstrip("/")
    return "" if "?" in base or "#" in base else base


def _version(service: dict[str, Any]) -> int:
    kind = service.get("type") or service.get("@type")
    if kind == "ImageService3":
        return 3
    if kind == "ImageService2":
        return 2
    context = service.get("@context")
    for named in context if isinstance(context, list) else [context]:
        found = re.fullmatch(r"https?://iiif\.io/api/image/([23])/context\.json", str(named)[:100])
        if found:
            return int(found.group(1))
    return 0


def _level(service: dict[str, Any]) -> int:
    profile = service.get("profile")
    named = profile[0] if isinstance(profile, list) and profile else profile
    found = _LEVEL.search(named[-40:]) if isinstance(named, str) else None
    return int(found.group(1)) if found else 0


def _dimensions(resource: dict[str, Any]) -> tuple[int, int] | None:
    width, height = resource.get("width"), resource.get("height")
    if not (_is_length(width) and _is_length(height)):
        return None
    return int(width), int(height)  # type: ignore[arg-type]


def _is_length(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 < value <= 1_000_000


def _size(service: dict[str, Any], version: int, full: tuple[int, int] | None, side: int) -> str:
    level = _level(service)
    whole = "max" if version == 3 else "full"
    if level == 0:
        return _offered_size(service, version, side)
    if full and max(full) <= side:
        return whole
    if level == 2:
        return f"!{side},{side}"
    if not full:
        return ""
    width = max(1, int(full[0] * side / max(full)))
    return f"{width},"


def _offered_size(service: dict[str, Any], version: int, side: int) -> str:
    """The largest of the listed ``sizes`` that fits; level 0 has no others."""
    sizes = service.get("sizes")
    best = (0, 0)
    for item in sizes[:50] if isinstance(sizes, list) else []:
        found = _dimensions(item) if isinstance(item, dict) else None
        if found and max(found) <= side and found > best:
            best = found
    if best == (0, 0):
        return ""
    # The canonical form of a size is "w," in version 2 and "w,h" in version 3.
    return f"{best[0]},{best[1]}" if version == 3 else f"{best[0]},"
