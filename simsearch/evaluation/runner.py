"""Measuring one method on all tasks, in a process of its own.

    python -m simsearch.evaluation.runner JOB.json OUT.json

A fresh process for each method makes its peak of memory its own. JOB.json holds the name of the
method and the options; OUT.json gets the rows, or a sentence that says why there are none.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from simsearch.errors import SimsearchError
from simsearch.evaluation.methods import CHANCE, Method, Setting, build
from simsearch.evaluation.metrics import Figures, chance, relevance_by_rank, summary
from simsearch.evaluation.report import plain
from simsearch.evaluation.tasks import Options, Part, Task, tasks


@dataclass(frozen=True)
class Row:
    """One line of the table. ``tried`` is how many settings the one shown is the best of.

    ``milliseconds`` is processor time, of all cores together, for each photo looked up, its turns
    and the comparing included, reading its file and describing the gallery left out.
    ``peak_megabytes`` is the most memory the whole process had resident at once.
    """

    task: str
    method: str
    setting: str
    turns: str
    tried: int
    figures: Figures
    milliseconds: float | None = None
    peak_megabytes: float | None = None


@dataclass(frozen=True, eq=False)
class _Scored:
    setting: Setting
    scores: Any
    milliseconds: float


def measure(method: Method, options: Options) -> Iterator[Row]:
    """Yield the rows of one method, task after task."""
    described: dict[tuple[Any, int], tuple[Any, Any]] = {}
    for task in tasks(options):
        if method.name == CHANCE:
            yield from (_chance_row(task, part) for part in task.parts)
            continue
        settings = method.settings(max(1, options.turns * task.turned))
        settings = [one for one in settings if task.groups or not one.of_types]
        if not settings:
            continue
        # Kept from slice to slice of one gallery, and dropped with it: galleries are large.
        described = {key: pair for key, pair in described.items() if pair[0] is task.gallery}
        scored = [_score(setting, task, described) for setting in settings]
        for part in task.parts:
            rows = [_row(method, one, task, part) for one in scored]
            if method.best_only:
                best = max(rows, key=lambda row: _merit(row.figures))
                rows = [replace(best, tried=len(rows))]
            yield from rows


def _score(
    setting: Setting, task: Task, described: dict[tuple[Any, int], tuple[Any, Any]]
) -> _Scored:
    scorer, key = setting.scorer, (setting.scorer.describer, id(task.gallery))
    if key not in described:
        described[key] = (task.gallery, scorer.look_in(task.gallery))
    start = time.process_time()  # not wall time: other work on the machine would count
    looked_up = scorer.look_up(task.queries)
    scores = scorer.compare(looked_up, described[key][1])
    milliseconds = 1000 * (time.process_time() - start) / len(task.queries)
    if task.groups and not setting.of_types:
        scores = task.groups.type_scores(scores)
    return _Scored(setting, scores, milliseconds)


def _row(method: Method, one: _Scored, task: Task, part: Part) -> Row:
    rows, classes = _relevance(one.scores, task, part)
    figures = summary(rows, classes)
    words, turns = one.setting.words, one.setting.turns
    return Row(part.name, method.name, words, turns, 1, figures, one.milliseconds)


def _chance_row(task: Task, part: Part) -> Row:
    scores = np.zeros((len(task.queries), len(part.gallery_labels)))
    return Row(part.name, CHANCE, "computed", "-", 1, chance(*_relevance(scores, task, part)))


def _relevance(scores: Any, task: Task, part: Part) -> tuple[list[Any], list[Any]]:
    picked = list(range(len(task.queries))) if part.picked is None else list(part.picked)
    classes = part.labels if part.classes is None else part.classes
    rows = relevance_by_rank(
        np.asarray(scores)[picked],
        [part.labels[i] for i in picked],
        part.gallery_labels,
        None if part.left_out is None else part.left_out[picked],
    )
    return rows, [classes[i] for i in picked]


def _merit(figures: Figures) -> tuple[float, float]:
    return tuple(np.nan_to_num([figures.recall_1, figures.mean_average_precision], nan=-1))


def peak_megabytes() -> float | None:
    """Return the most memory this process had resident, in MB (10^6 bytes); None if unknown.

    On Linux from the process's own status, since what ``getrusage`` says there still counts the
    process that started this one.
    """
    status = Path("/proc/self/status")
    if status.is_file():
        for line in status.read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024 / 1e6
    try:
        import resource
    except ImportError:  # Windows
        return None
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / 1e6 if sys.platform == "darwin" else most * 1024 / 1e6


def run(name: str, options: Options) -> dict[str, Any]:
    """Measure the method called ``name``: a dictionary fit for JSON with its rows.

    With ``problem``, a sentence, instead of rows when the method or the photos cannot be had.
    """
    try:
        method = build(name, options.reference)
        rows = list(measure(method, options))
    except SimsearchError as error:
        return {"method": name, "rows": [], "problem": str(error)}
    peak = None if name == CHANCE else peak_megabytes()
    return {
        "method": name,
        "fingerprint": method.fingerprint,
        "rows": [asdict(replace(row, peak_megabytes=peak)) for row in rows],
    }


def main(job: Path, out: Path) -> None:
    """Do the job that ``job`` describes and write ``out``."""
    wanted = json.loads(job.read_text("utf-8"))
    found = run(wanted["method"], options_from(wanted["options"]))
    out.write_text(json.dumps(plain(found), allow_nan=False), "utf-8")


def options_from(values: dict[str, Any]) -> Options:
    """Make options out of JSON, where tuples have become lists."""
    given: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in values.items()}
    return Options(**given)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
