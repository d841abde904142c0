"""The report on a set as HTML: what to mend, with the photos, and how good the set is."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from simsearch.care.confusions import confusion_picture, pair_words
from simsearch.page.pieces import fill
from simsearch.page.thumbs import thumbnail
from simsearch.page.words import count

if TYPE_CHECKING:
    from simsearch.care.report import Finding, Report
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet

_SIDE = 96
_MOST_PHOTOS, _MOST_OF_KIND, _MOST_PAIRS = 4, 30, 10
_TITLES = {"mend": "To mend", "look": "To look at", "note": "Could be better"}
# What the page can settle itself, and the event that does it; else the command is for typing.
_SETTLED_HERE = {
    "withdraw": "act", "label": "act", "replace": "act", "add": "act", "index": "index",
}  # fmt: skip
_KINDS = {
    "table": "Rows that cannot be read", "unreadable": "Photos that cannot be read",
    "consent": "Consent refused", "licence": "Licences", "index": "Index",
    "copy": "The same picture twice", "opinions": "Opinions that disagree",
    "label": "Photos that disagree with their label", "date": "Dates in notes",
    "material": "Materials in notes", "metadata": "Not said", "no object": "No object found",
    "blur": "Blurred", "dark": "Dark", "light": "Burnt out", "small": "Small",
    "lettering": "Lettering over the photo", "thin type": "Types with few objects",
    "no complete": "No complete example", "view missing": "Views missing",
    "confused": "Types taken for one another", "no photo": "Types without photos",
}  # fmt: skip


def render_care_report(report: Report, reference: ReferenceSet) -> str:
    """Render a report on ``reference`` as one block of HTML."""
    rows = {row.id: row for row in reference.photos}
    sections = [
        {
            "title": _TITLES[severity],
            "kinds": [
                _kind(kind, list(same), rows, reference) for kind, same in groupby(found, _of)
            ],
        }
        for severity, found in groupby(report.findings, key=lambda one: one.severity)
    ]
    picture, pairs = None, []
    if report.confusions is not None:
        # The picture does its own escaping.
        picture = Markup(confusion_picture(report.confusions, reference.types))
        worst = report.confusions.pairs[:_MOST_PAIRS]
        pairs = [pair_words(pair, reference.types) for pair in worst]
    return fill(
        "care_report.html",
        title=report.set_title,
        photos=count(report.photos, "photo"),
        counts=report.counts(),
        sections=sections,
        worth=report.worth,
        picture=picture,
        pairs=pairs,
    )


def _of(finding: Finding) -> str:
    return finding.kind


def _kind(
    kind: str, findings: list[Finding], rows: dict[str, PhotoRow], reference: ReferenceSet
) -> dict[str, Any]:
    return {
        "title": _KINDS[kind],
        "count": len(findings),
        "findings": [_finding(one, rows, reference) for one in findings[:_MOST_OF_KIND]],
        "left": max(0, len(findings) - _MOST_OF_KIND),
    }


def _finding(
    finding: Finding, rows: dict[str, PhotoRow], reference: ReferenceSet
) -> dict[str, Any]:
    photos = []
    for photo_id in finding.photos[:_MOST_PHOTOS]:
        row = rows.get(photo_id)
        picture = thumbnail(reference.path_of(row), _SIDE) if row is not None else None
        rendered = row is not None and row.is_rendered
        alt = f"{'Rendered picture' if rendered else 'Photo'} {photo_id}"
        photos.append({"id": photo_id, "picture": picture, "rendered": rendered, "alt": alt})
    return {
        "what": finding.what,
        "photos": photos,
        "more": max(0, len(finding.photos) - _MOST_PHOTOS),
        "action": finding.action,
        "settled_here": _SETTLED_HERE.get(finding.action.kind, ""),
        "ids": ";".join(finding.photos),
        "types": ";".join(finding.types),
    }
