"""Do a correct length and fixing help? python scripts/evaluate_refine.py FOLDER [--limit N] [...]

FOLDER as render_held_out.py writes it (FOLDER/SLICE/TYPE/N.jpg). The specimens' own lengths are
not kept with the pictures, so a correct one is drawn evenly from the type's range in types.csv and
measured with an error of 1 mm (standard deviation). In the slice "half" the object is broken: what
is left of that length is drawn evenly from 0.4 to 0.7 of it. The fixing is the type's own; of
"sprung or hinged" either is drawn, and a free pin is seen as no fixing. Nothing is given where the
type has no known length or another fixing. Prints R@1 and R@5 with and without.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

import simsearch
from simsearch.encode import Encoder, load_encoder
from simsearch.evaluation.renders import Find, finds, groups_of
from simsearch.index import PHOTO_SIDE
from simsearch.leads.calibration import Calibration
from simsearch.leads.features import features_of, fused
from simsearch.leads.grouping import PhotoGroups
from simsearch.leads.look import fitting_calibration
from simsearch.leads.observed import Measure, Observed
from simsearch.leads.refine import refine
from simsearch.leads.reliability import error_by_chance, expected_calibration_error
from simsearch.photo import open_photo
from simsearch.sets.reference_set import ReferenceSet
from simsearch.sets.types import Type

VARIANTS = ("photo alone", "length", "fixing", "length and fixing")
SLICES = ("complete", "half")
DRAWS = 20
"""Lengths are drawn this often for each find, so that luck of the draw hardly counts."""


@dataclass(frozen=True)
class Row:
    """For one find and variant: the rank of its type, odds of the first lead, or NaN."""

    slice: str
    variant: str
    rank: int
    first: float


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--set", default=None)
    parser.add_argument("--slices", nargs="+", default=list(SLICES))
    parser.add_argument("--limit", type=int, default=None, help="finds of each type and slice")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    reference, encoder = simsearch.open_set(options.set), load_encoder()
    reference.index.require_encoder(encoder, reference.folder)
    groups = groups_of(reference)
    calibration, note = fitting_calibration(reference, reference.index)
    print(note)
    rng, rows = np.random.default_rng(options.seed), []
    for find in _chosen(finds(options.folder), options.slices, options.limit):
        if find.type_id in groups.type_ids:
            rows += _measured(reference, groups, encoder, calibration, find, rng)
    print(_table(rows, options.slices, DRAWS))


def _chosen(every: list[Find], slices: list[str], limit: int | None) -> list[Find]:
    kept = [find for find in every if find.slice in slices]
    return kept if limit is None else [find for find in kept if find.number < limit]


def _measured(
    reference: ReferenceSet,
    groups: PhotoGroups,
    encoder: Encoder,
    calibration: Calibration | None,
    find: Find,
    rng: np.random.Generator,
) -> list[Row]:
    photo = open_photo(find.path, max_side=PHOTO_SIDE)
    vectors = encoder.embed([photo])
    patches = encoder.patches([photo]) if reference.index.patches is not None else None
    features = features_of(reference.index, groups, vectors, patches).values[0]
    judged = None if calibration is None else calibration.judge(features)
    sums = fused(features) if judged is None else judged.sums
    odds = None if judged is None else judged.odds
    types = [reference.types[type_id] for type_id in groups.type_ids]
    own = groups.type_ids.index(find.type_id)
    rows = []
    for _ in range(DRAWS):
        seen = observed_on(reference.types[find.type_id], find.slice != "complete", rng)
        for variant in VARIANTS:
            given = _only(seen, variant)
            order, after = sums, odds
            if given.given:
                refined = refine(types, given, sums=sums, odds=odds)
                order, after = refined.order, refined.odds
            rank = int((order >= order[own]).sum())
            first = float("nan") if after is None else float(after.max())
            rows.append(Row(find.slice, variant, rank, first))
    return rows


def observed_on(kind: Type, broken: bool, rng: np.random.Generator) -> Observed:
    """Draw a correct length and fixing for an object of this type."""
    length = None
    if kind.length_mm is not None:
        whole = rng.uniform(*kind.length_mm)
        left = whole * rng.uniform(0.4, 0.7) if broken else whole
        value = max(left + rng.normal(), 1.0)
        length = Measure(round(value, 1), 1.0, "broken" if broken else "whole")
    either = str(rng.choice(["sprung", "hinged"]))
    fixing = {
        "sprung": "sprung", "hinged": "hinged", "sprung or hinged": either, "free pin": "none",
        "none": "none",
    }.get(kind.pin_fixing)  # fmt: skip
    return Observed(length_mm=length, fixing=fixing)


def _only(seen: Observed, variant: str) -> Observed:
    length = seen.length_mm if "length" in variant else None
    return replace(seen, length_mm=length, fixing=seen.fixing if "fixing" in variant else None)


def _table(rows: list[Row], slices: list[str], draws: int) -> str:
    lines = [
        "| finds | number | observed | R@1 | R@5 | error of odds | by chance |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name in (*slices, "all"):
        for variant in VARIANTS:
            some = [r for r in rows if r.variant == variant and name in (r.slice, "all")]
            if not some:
                continue
            ranks = np.array([row.rank for row in some])
            first = np.array([row.first for row in some])
            error = chance = "none"
            if not np.isnan(first).any():
                error = f"{100 * expected_calibration_error(first, ranks == 1):.1f} %"
                chance = f"{100 * error_by_chance(first[::draws]):.1f} %"
            lines.append(
                f"| {name} | {len(some) // draws} | {variant} | {100 * (ranks == 1).mean():.1f} % "
                f"| {100 * (ranks <= 5).mean():.1f} % | {error} | {chance} |"
            )
    return "\n".join(lines)


if __name__ == "__main__":
    main()
