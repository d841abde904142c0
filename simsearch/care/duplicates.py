"""Photos that are in the set more than once, and what that does.

The same file twice is told by its hash; a copy that was saved again, resized, cropped or
mirrored by laying photos over one another (``copies``). Other photos of the same object are no
copies, and neither are two finds of one form.
"""

from __future__ import annotations

import numpy as np

from simsearch.care.actions import Actions
from simsearch.care.copies import Copy, Progress, find_copies
from simsearch.care.findings import Finding, Severity
from simsearch.care.pictures import Pictures
from simsearch.index import PhotoIndex
from simsearch.sets.photos import PhotoRow

_NEAREST_BY_INDEX = 3
_LEAST_BY_INDEX = 0.9


def duplicate_findings(
    pictures: Pictures,
    actions: Actions,
    *,
    index: PhotoIndex | None = None,
    progress: Progress | None = None,
) -> list[Finding]:
    """Return one finding for every two photos that are the same picture.

    With an ``index``, what it holds to be nearest is laid over one another too.
    """
    rows = pictures.rows
    also = near_by_index(rows, index) if index is not None else []
    same = _same_files(rows)
    copies = [
        *(Copy(first, second, 1.0, False, False) for first, second in sorted(same)),
        *(
            copy
            for copy in find_copies(pictures.squares, progress, also=also)
            if (copy.first, copy.second) not in same
        ),
    ]
    return [_finding(rows, copy, (copy.first, copy.second) in same, actions) for copy in copies]


def _same_files(rows: tuple[PhotoRow, ...]) -> set[tuple[int, int]]:
    first: dict[str, int] = {}
    pairs = set()
    for place, row in enumerate(rows):
        seen = first.setdefault(row.sha256, place)
        if seen != place:
            pairs.add((seen, place))
    return pairs


def near_by_index(rows: tuple[PhotoRow, ...], index: PhotoIndex) -> list[tuple[int, int]]:
    """Pairs of photos that the encoder puts close together, by position in ``rows``."""
    place = {row.id: number for number, row in enumerate(rows)}
    scores, near = index.search(index.vectors, _NEAREST_BY_INDEX + 1)
    pairs = set()
    for start, query in enumerate(index.photo_ids):
        for other in near[start][scores[start] >= _LEAST_BY_INDEX]:
            name = index.photo_ids[int(other)]
            if name != query and name in place and query in place:
                pairs.add((min(place[query], place[name]), max(place[query], place[name])))
    return sorted(pairs)


def _finding(rows: tuple[PhotoRow, ...], copy: Copy, same_file: bool, actions: Actions) -> Finding:
    kept, spare = _kept_and_spare(rows[copy.first], rows[copy.second])
    how = "is the very file of" if same_file else "shows the same picture as"
    if not same_file and (copy.mirrored or copy.turned):
        done = ["mirrored"] * copy.mirrored + ["turned"] * copy.turned
        how = f"shows the same picture, {' and '.join(done)}, as"
    severity: Severity = "mend"
    action = actions.withdraw(spare.id)
    if kept.type != spare.type:
        what = f"Yet one is labelled {kept.type} and the other {spare.type}: one label is wrong."
        action = actions.label(spare.id)
    elif kept.specimen != spare.specimen:
        what = (
            f"Yet they are said to be two objects, {kept.specimen} and {spare.specimen}: "
            "one find counts as two witnesses."
        )
    else:
        what = "Keep the larger or the less cropped one."
        severity = "look"
    types = (kept.type,) if kept.type == spare.type else (kept.type, spare.type)
    return Finding(
        kind="copy",
        severity=severity,
        photos=(spare.id, kept.id),
        types=types,
        what=f"Photo {spare.id} {how} {kept.id}. {what}",
        action=action,
        weight=float(np.clip(copy.agreement, 0, 1)),
    )


def _kept_and_spare(first: PhotoRow, second: PhotoRow) -> tuple[PhotoRow, PhotoRow]:
    """The row that was labelled earlier is kept; without days, the one that stands first."""
    if second.labelled_on and first.labelled_on and second.labelled_on < first.labelled_on:
        return second, first
    return first, second
