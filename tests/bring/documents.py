"""Documents as the published specifications describe them, about invented objects.

Shapes after the IIIF Presentation API 3.0 and 2.1.1 and the IIIF Image API 3.0 and 2.1.1, read in
the repository of the specifications (github.com/IIIF/api, source/presentation and source/image);
answers of the MediaWiki API after API:Query and API:Imageinfo, partly from memory.
"""

from __future__ import annotations

from typing import Any

BY = "http://creativecommons.org/licenses/by/4.0/"
ZERO = "http://creativecommons.org/publicdomain/zero/1.0/"
CREDIT = "Harrow Fen Finds Club (invented)"


def image_three(base: str, name: str, *, level: int | None = 2) -> dict[str, Any]:
    """An image resource of version 3, with an Image API 3 service unless ``level`` is None."""
    image: dict[str, Any] = {
        "id": f"{base}/images/{name}.jpg",
        "type": "Image",
        "format": "image/jpeg",
        "width": 4000,
        "height": 3000,
    }
    if level is not None:
        service = {"id": f"{base}/iiif/{name}", "type": "ImageService3", "profile": f"level{level}"}
        image["service"] = [service]
    return image


def canvas_three(base: str, name: str, label: str, **image: Any) -> dict[str, Any]:
    """A canvas of version 3 with one image painted on it."""
    here = f"{base}/canvas/{name}"
    annotation = {
        "id": f"{here}/painting",
        "type": "Annotation",
        "motivation": "painting",
        "body": image_three(base, name, **image),
        "target": here,
    }
    page = {"id": f"{here}/page", "type": "AnnotationPage", "items": [annotation]}
    return {
        "id": here,
        "type": "Canvas",
        "label": {"en": [label]},
        "height": 3000,
        "width": 4000,
        "items": [page],
    }


def manifest_three(
    base: str, path: str, title: str, canvases: list[dict[str, Any]], **more: Any
) -> dict[str, Any]:
    """A manifest of version 3, openly licensed unless ``rights`` says otherwise."""
    return {
        "@context": "http://iiif.io/api/presentation/3/context.json",
        "id": base + path,
        "type": "Manifest",
        "label": {"de": [f"{title} (deutsch)"], "en": [title]},
        "rights": BY,
        "requiredStatement": {
            "label": {"en": ["Attribution"]},
            "value": {"en": [f"<span>Provided by <b>{CREDIT}</b></span>"]},
        },
        "homepage": [
            {
                "id": f"{base}/page{path}",
                "type": "Text",
                "label": {"en": [title]},
                "format": "text/html",
            }
        ],
        "items": canvases,
    } | more


def collection_three(base: str, path: str, members: list[tuple[str, str]]) -> dict[str, Any]:
    """A collection of version 3; ``members`` are (type, path)."""
    return {
        "@context": "http://iiif.io/api/presentation/3/context.json",
        "id": base + path,
        "type": "Collection",
        "label": {"en": ["An invented collection"]},
        "items": [
            {"id": base + target, "type": kind, "label": {"en": [target]}}
            for kind, target in members
        ],
    }


def manifest_two(base: str, path: str, title: Any, names: list[str], **more: Any) -> dict[str, Any]:
    """A manifest of version 2.1 with one sequence."""
    canvases = []
    for name in names:
        resource = {
            "@id": f"{base}/iiif/{name}/full/full/0/default.jpg",
            "@type": "dctypes:Image",
            "format": "image/jpeg",
            "height": 2000,
            "width": 1500,
            "service": {
                "@context": "http://iiif.io/api/image/2/context.json",
                "@id": f"{base}/iiif/{name}",
                "profile": ["http://iiif.io/api/image/2/level2.json", {"formats": ["jpg"]}],
            },
        }
        here = f"{base}/canvas/{name}.json"
        image = {
            "@type": "oa:Annotation",
            "motivation": "sc:painting",
            "resource": resource,
            "on": here,
        }
        canvases.append(
            {
                "@id": here,
                "@type": "sc:Canvas",
                "label": name,
                "height": 2000,
                "width": 1500,
                "images": [image],
            }
        )
    return {
        "@context": "http://iiif.io/api/presentation/2/context.json",
        "@id": base + path,
        "@type": "sc:Manifest",
        "label": title,
        "license": "http://creativecommons.org/licenses/by-sa/4.0/",
        "attribution": {"@value": CREDIT, "@language": "en"},
        "sequences": [{"@type": "sc:Sequence", "canvases": canvases}],
    } | more


def wiki_page(base: str, number: int, name: str, **about: str) -> dict[str, Any]:
    """One file page of a MediaWiki answer in format version 2."""
    told = {
        "LicenseUrl": "https://creativecommons.org/licenses/by-sa/4.0",
        "LicenseShortName": "CC BY-SA 4.0",
        "License": "cc-by-sa-4.0",
        "UsageTerms": "Creative Commons Attribution-Share Alike 4.0",
        "Artist": f'<a href="//wiki.example.org/wiki/User:X" title="User:X">{CREDIT}</a>',
        "Credit": '<span class="int-own-work" lang="en">Own work</span>',
    } | about
    return {
        "pageid": number,
        "ns": 6,
        "title": f"File:{name}.jpg",
        "imagerepository": "local",
        "imageinfo": [
            {
                "size": 812_345,
                "width": 4000,
                "height": 3000,
                "thumburl": f"{base}/thumb/{number}.jpg",
                "thumbwidth": 1600,
                "thumbheight": 1200,
                "url": f"{base}/original/{number}.jpg",
                "descriptionurl": f"{base}/wiki/File:{number}.jpg",
                "mime": "image/jpeg",
                "extmetadata": {
                    key: {"value": value, "source": "commons-desc-page"}
                    for key, value in told.items()
                    if value
                },
            }
        ],
    }


def wiki_answer(pages: list[dict[str, Any]], go_on: dict[str, str] | None = None) -> dict[str, Any]:
    """An answer of ``action=query`` that is complete for its pages."""
    answer: dict[str, Any] = {"batchcomplete": True, "query": {"pages": pages}}
    return {"continue": go_on, **answer} if go_on else answer
