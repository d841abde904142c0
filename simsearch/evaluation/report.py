"""Measuring methods on a labelled set and laying the figures out as a table."""

from __future__ import annotations

import time
from dataclasses import dataclass

from simsearch.evaluation.folders import LabelledPhotos
from simsearch.evaluation.metrics import Figures, figures
from simsearch.evaluation.scoring import Scorer


@dataclass(frozen=True)
class Row:
    """One method: each photo among all others, and among those of other scenes only."""

    name: str
    all_others: Figures
    other_scenes: Figures
    milliseconds: float  # wall time a photo, comparing included


def measure(scorer: Scorer, data: LabelledPhotos, *, seed: int = 0) -> Row:
    """Look every photo of ``data`` up in the rest of it."""
    start = time.perf_counter()
    scores = scorer.scores(data.photos, data.photos)
    milliseconds = 1000 * (time.perf_counter() - start) / len(data.photos)
    return Row(
        scorer.name,
        figures(scores, data.labels, seed=seed),
        figures(scores, data.labels, data.scenes, seed=seed),
        milliseconds,
    )


def table(rows: list[Row]) -> str:
    """Return the rows as a Markdown table; shares in per cent, intervals are 95 % bootstrap."""
    lines = [
        "| method | n | R@1 | 95 % | R@5 | mAP | n, other scenes | R@1 | 95 % | ms a photo |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        near, far = row.all_others, row.other_scenes
        cells = [
            row.name, str(near.queries), _share(near.recall_1), _interval(near),
            _share(near.recall_5), _share(near.mean_average_precision), str(far.queries),
            _share(far.recall_1), _interval(far), f"{row.milliseconds:.1f}",
        ]  # fmt: skip
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def chance(data: LabelledPhotos) -> float:
    """Return the class-mean R@1 of guessing: drawing one of the other photos at random."""
    counts = [data.labels.count(label) for label in sorted(set(data.labels))]
    return sum((count - 1) / (len(data.labels) - 1) for count in counts) / len(counts)


def _share(value: float) -> str:
    return f"{100 * value:.1f}" if value == value else "-"


def _interval(found: Figures) -> str:
    low, high = found.recall_1_interval
    return f"{100 * low:.1f}-{100 * high:.1f}" if low == low else "-"
