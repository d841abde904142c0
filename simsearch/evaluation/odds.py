"""How well the odds of a set hold on held-out renders."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simsearch.encode import Encoder
from simsearch.errors import EncoderError
from simsearch.evaluation.renders import Find, groups_of
from simsearch.index import PHOTO_SIDE
from simsearch.leads.calibration import Calibration
from simsearch.leads.closeness import area_under_curve
from simsearch.leads.left_out import KINDS, features_with_and_without
from simsearch.leads.reliability import (
    Bin,
    equal_mass,
    equal_width,
    error_by_chance,
    mean_gap,
)
from simsearch.leads.shortlist import in_list
from simsearch.photo import open_photo
from simsearch.sets.reference_set import ReferenceSet

Doubles = npt.NDArray[np.float64]
Chosen = npt.NDArray[np.bool_]
_AT_ONCE = 8


@dataclass(frozen=True, eq=False)
class MeasuredFinds:
    """Features (n, types, F) of finds, and of the same finds with type or group left out.

    ``truth`` are the positions of their types, ``objects`` and ``slices`` their names,
    ``families`` the group of each find's type, ``photos`` how many photos show each.
    """

    whole: Doubles
    without: dict[str, Doubles]
    truth: npt.NDArray[np.int64]
    objects: npt.NDArray[np.str_]
    slices: npt.NDArray[np.str_]
    families: npt.NDArray[np.str_]
    photos: npt.NDArray[np.int64]

    def parts(self) -> Iterator[tuple[str, Chosen]]:
        """All finds, each slice, and each group of types, with which finds they are."""
        yield "all", np.ones(len(self.truth), bool)
        for name in sorted(set(self.slices.tolist())):
            yield name, self.slices == name
        for name in sorted(set(self.families.tolist())):
            yield name, self.families == name


def measured_finds(
    reference: ReferenceSet,
    some: list[Find],
    encoder: Encoder,
    tell: Callable[[int, int], None] | None = None,
) -> MeasuredFinds:
    """Measure finds against a set; ``tell`` is called with (done, total)."""
    index, groups = reference.index, groups_of(reference)
    families = [reference.types[name].group for name in groups.type_ids]
    rows: list[dict[str, Doubles]] = []
    for start in range(0, len(some), _AT_ONCE):
        chunk = some[start : start + _AT_ONCE]
        photos = [open_photo(find.path, max_side=PHOTO_SIDE) for find in chunk]
        vectors = encoder.embed(photos)
        try:
            grids = list(encoder.patches(photos)) if index.patches is not None else None
        except EncoderError:
            grids = None
        for number, find in enumerate(chunk):
            seen = (vectors[number], None if grids is None else grids[number])
            own = groups.type_ids.index(find.type_id)
            rows.append(features_with_and_without(index, groups, families, seen, own))
        if tell:
            tell(len(rows), len(some))
    return MeasuredFinds(
        whole=np.stack([row["whole"] for row in rows]),
        without={kind: np.stack([row[kind] for row in rows]) for kind in KINDS},
        truth=np.array([groups.type_ids.index(find.type_id) for find in some]),
        objects=np.array([f"{find.type_id} {find.number}" for find in some]),
        slices=np.array([find.slice for find in some]),
        families=np.array([reference.types[find.type_id].group for find in some]),
        photos=np.ones(len(some), np.int64),
    )


def first_leads(calibration: Calibration, finds: MeasuredFinds) -> tuple[Doubles, Chosen]:
    """The odds of each find's first lead, and whether it was right."""
    odds = calibration.odds.odds(finds.whole, finds.photos)
    return odds.max(axis=1), odds.argmax(axis=1) == finds.truth


def reliability_table(calibration: Calibration, finds: MeasuredFinds) -> str:
    """Markdown: do the odds of first leads hold, over all and by slice? Shares in per cent."""
    lines = [
        "| finds | n | right | mean odds | ECE, equal mass | by chance | ECE, equal width |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    odds, right = first_leads(calibration, finds)
    for name, mine in finds.parts():
        if mine.sum() < 2 * 15:
            continue
        shares = [
            right[mine].mean(),
            odds[mine].mean(),
            mean_gap(equal_mass(odds[mine], right[mine])),
            error_by_chance(odds[mine]),
            mean_gap(equal_width(odds[mine], right[mine])),
        ]
        cells = [name, str(int(mine.sum())), *(f"{100 * share:.1f}" for share in shares)]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def reliability_bins(calibration: Calibration, finds: MeasuredFinds) -> dict[str, tuple[Bin, ...]]:
    """The bins of a reliability diagram: over all finds and for each slice."""
    odds, right = first_leads(calibration, finds)
    names = {"all", *finds.slices.tolist()}
    return {n: equal_mass(odds[mine], right[mine]) for n, mine in finds.parts() if n in names}


def coverage_table(calibration: Calibration, finds: MeasuredFinds) -> str:
    """Markdown: does the list hold the right type as often as promised, and how long is it?"""
    levels = sorted(calibration.limits)
    heads = [f"promise {100 * level:.0f}: right, types" for level in levels]
    lines = [f"| finds | n | {' | '.join(heads)} |", "| --- | --- |" + " --- |" * len(levels)]
    odds = calibration.odds.odds(finds.whole, finds.photos)
    listed = {level: in_list(odds, calibration.limits[level]) for level in levels}
    rows = np.arange(len(finds.truth))
    for name, mine in finds.parts():
        cells = [name, str(int(mine.sum()))]
        for level in levels:
            holds = listed[level][rows, finds.truth][mine].mean()
            cells.append(f"{100 * holds:.1f}, {listed[level][mine].sum(axis=1).mean():.1f}")
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def closeness_table(calibration: Calibration, finds: MeasuredFinds) -> str:
    """Markdown: finds called far though their type is there, and close though it is not."""
    close = calibration.closeness
    if close is None:
        return "Closeness was not measured for this set."
    near = close.of(calibration.odds, finds.whole)
    far = {kind: close.of(calibration.odds, rows) for kind, rows in finds.without.items()}
    heads = [f"close without its {kind}, area under curve" for kind in far]
    lines = [
        f"| finds | n | far with its type there | {' | '.join(heads)} |",
        "| --- | --- | --- |" + " --- |" * len(far),
    ]
    for name, mine in finds.parts():
        cells = [name, str(int(mine.sum())), f"{100 * np.mean(near[mine] < close.threshold):.1f}"]
        for values in far.values():
            wrong = 100 * np.mean(values[mine] >= close.threshold)
            cells.append(f"{wrong:.1f}, {area_under_curve(near[mine], values[mine]):.3f}")
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)
