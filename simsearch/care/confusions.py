"""Types that the encoder puts close together, counted on the set's own photos and drawn.

For every photo it is asked which *other* type its object is nearest to, its own object left out,
and whether that type comes before its own. A pair that is often taken for one another is worth
words: what separates the two belongs into the table of types.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from simsearch.care.actions import Actions
from simsearch.care.findings import Finding
from simsearch.care.lookup import OwnLookup
from simsearch.sets.types import Type

_LEAST_PHOTOS = 2
_LEAST_SHARE = 0.15
_MOST_WORDS = 12
_CELL, _LABELS, _TOP, _FOOT = 14, 210, 8, 30
_INK, _DARK_INK, _GROUND, _DARK_GROUND = "#1c1c1c", "#f0f0f0", "#ffffff", "#161616"


@dataclass(frozen=True)
class Pair:
    """Two types: how many photos of ``type_id`` (of how many) come nearer to ``other_id``."""

    type_id: str
    other_id: str
    photos: int
    of: int
    listed: bool

    @property
    def share(self) -> float:
        """The share of the type's photos that come nearer to the other."""
        return self.photos / self.of


@dataclass(frozen=True, eq=False)
class Confusions:
    """Which type photos come nearest to.

    ``order`` are type ids by group; ``nearest`` is int (types, types): how many photos of the
    type of the row come nearest to the type of the column, its own included.
    """

    order: tuple[str, ...]
    nearest: NDArray[np.int64]
    pairs: tuple[Pair, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain lists, texts and numbers."""
        pairs = [vars(pair) | {"share": pair.share} for pair in self.pairs]
        return {"types": list(self.order), "nearest": self.nearest.tolist(), "pairs": pairs}


def confusions_of(found: OwnLookup, types: Mapping[str, Type]) -> Confusions:
    """Count for each type which types its photos come nearest to, by group and name."""
    ids = found.groups.type_ids
    groups = list(dict.fromkeys(kind.group for kind in types.values()))
    order = sorted(ids, key=lambda one: (groups.index(types[one].group), list(types).index(one)))
    place = np.array([order.index(type_id) for type_id in ids], dtype=np.intp)
    nearest = np.zeros((len(order), len(order)), np.int64)
    known = found.measurable
    first = found.scores.argmax(axis=1)
    np.add.at(nearest, (place[found.truth[known]], place[first[known]]), 1)
    return Confusions(tuple(order), nearest, tuple(_pairs(order, nearest, types)))


def _pairs(
    order: Sequence[str], nearest: NDArray[np.int64], types: Mapping[str, Type]
) -> list[Pair]:
    pairs = []
    for row, column in zip(*np.nonzero(nearest), strict=True):
        if row != column:
            own, other = order[row], order[column]
            listed = any(one.type_id == other for one in types[own].look_alikes)
            of = int(nearest[row].sum())
            pairs.append(Pair(own, other, int(nearest[row, column]), of, listed))
    return sorted(pairs, key=lambda pair: (-pair.share, -pair.photos, pair.type_id))


def confusion_findings(
    found: Confusions, types: Mapping[str, Type], actions: Actions
) -> list[Finding]:
    """Return one finding for each pair that is often taken for one another."""
    findings = []
    for pair in found.pairs:
        if pair.photos < _LEAST_PHOTOS or pair.share < _LEAST_SHARE:
            continue
        what = pair_words(pair, types)
        if pair.listed:
            what += " More photos of both, of the parts that separate them, help."
            action = actions.add_photos(pair.type_id)
        else:
            what += " If they are look-alikes, say in the table of types what separates them."
            action = actions.edit_type(pair.type_id, "look_alikes")
        kinds = (pair.type_id, pair.other_id)
        findings.append(Finding("confused", "note", (), kinds, what, action, pair.share))
    return findings


def pair_words(pair: Pair, types: Mapping[str, Type]) -> str:
    """Say in a sentence how often one type is taken for another."""
    own, other = types[pair.type_id].name, types[pair.other_id].name
    nearer = "comes" if pair.photos == 1 else "come"
    lists = "lists" if pair.listed else "does not list"
    return (
        f"Of {pair.of} photos of {own}, {pair.photos} {nearer} nearest to {other}. "
        f"The set {lists} them as look-alikes."
    )


def confusion_picture(found: Confusions, types: Mapping[str, Type]) -> str:
    """Draw the table of types by nearest types as an SVG document.

    Rows are the types that photos are labelled with, columns, in the same order, the types they
    come nearest to. The darker a cell, the larger the share of the row; the diagonal is what is
    told apart. A cell's number is the number of photos, so nothing hangs on the shade.
    """
    count = len(found.order)
    width = _LABELS + _CELL * max(count, 1) + _TOP
    height = _TOP + _CELL * max(count, 1) + _FOOT
    worst = [pair_words(pair, types) for pair in found.pairs[:_MOST_WORDS]]
    words = " ".join(worst) or "No photo comes nearer to another type than to its own."
    body = [part for row in range(count) for part in _row(found, row, types)]
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" class="confusions" role="img" '
            f'viewBox="0 0 {width} {height}" width="100%" style="max-width:{2 * width}px" '
            'aria-labelledby="confusions-title confusions-desc" font-family="sans-serif">',
            '<title id="confusions-title">Which types photos come nearest to</title>',
            f'<desc id="confusions-desc">{_text(words)}</desc>',
            _style(),
            f'<rect class="ground" width="{width}" height="{height}"/>',
            *body,
            *_group_lines(found, types),
            f'<text x="{_LABELS}" y="{height - 10}" class="foot">'
            "Columns: nearest types, in the order of the rows. The diagonal is right.</text>",
            "</svg>",
        ]
    )


def _row(found: Confusions, row: int, types: Mapping[str, Type]) -> list[str]:
    name, total = types[found.order[row]].name, int(found.nearest[row].sum())
    top = _TOP + row * _CELL
    label = name if len(name) <= 34 else name[:33].rstrip() + "…"
    parts = [f'<text x="{_LABELS - 6}" y="{top + 10}" class="name">{_text(label)}</text>']
    for column, photos in enumerate(found.nearest[row]):
        if photos:
            left, share = _LABELS + column * _CELL, photos / total
            other = types[found.order[column]].name
            told = f"{name}: {photos} of {total} photos nearest to {other}"
            shade = "right" if row == column else "wrong"
            pale = " pale" if share > 0.55 else ""
            parts += [
                f'<rect class="{shade}" x="{left}" y="{top}" width="{_CELL}" height="{_CELL}" '
                f'fill-opacity="{0.12 + 0.88 * share:.2f}"><title>{_text(told)}</title></rect>',
                f'<text class="count{pale}" x="{left + _CELL / 2:g}" y="{top + 10}">'
                f"{photos}</text>",
            ]
    return parts


def _group_lines(found: Confusions, types: Mapping[str, Type]) -> list[str]:
    """Lines between groups of types, so that confusion inside a group can be seen as such."""
    side, lines = _CELL * len(found.order), []
    for place in range(1, len(found.order)):
        before, after = (types[found.order[at]].group for at in (place - 1, place))
        if before != after:
            at = place * _CELL
            strokes = f"M{_LABELS} {_TOP + at}h{side}M{_LABELS + at} {_TOP}v{side}"
            lines.append(f'<path class="line" d="{strokes}"/>')
    return lines


def _text(value: str) -> str:
    return escape("".join(letter if letter.isprintable() else " " for letter in value))


def _style() -> str:
    def rules(ink: str, ground: str) -> str:
        return (
            f".confusions .ground{{fill:{ground}}}.confusions text{{fill:{ink}}}"
            f".confusions .pale{{fill:{ground}}}.confusions rect.right,"
            f".confusions rect.wrong{{fill:{ink}}}.confusions .line{{stroke:{ink};"
            f"stroke-opacity:.35;fill:none}}.confusions rect.wrong{{stroke:{ink}}}"
        )

    sizes = (
        ".confusions .name{font-size:10px;text-anchor:end}.confusions .foot{font-size:10px}"
        ".confusions .count{font-size:8px;text-anchor:middle;pointer-events:none}"
    )
    dark = f"@media (prefers-color-scheme:dark){{{rules(_DARK_INK, _DARK_GROUND)}}}"
    return f"<style>{sizes}{rules(_INK, _GROUND)}{dark}</style>"
