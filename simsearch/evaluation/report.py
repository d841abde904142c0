"""The benchmark's rows as a Markdown table and as JSON."""

from __future__ import annotations

import math
from typing import Any

HEAD = (
    "task", "method", "setting", "query turns", "n", "R@1 (95 %)", "R@5", "mAP",
    "ms a photo", "peak MB",
)  # fmt: skip

LEGEND = """\
R@1, R@5 and mAP are per cent, means over classes; in brackets the bootstrap 95 % interval over
queries. Ties count against the method. For types a photo's scores become scores of types as in the
product (mean of the three nearest specimens), whatever the method; with one right type, mAP is the
mean of 1 / rank. "product" is what `ReferenceSet.look` shows, with the set's own index and weights;
it is there for types only. "best of" tells how many settings of a baseline were tried: the best by
R@1 on these very photos is shown, which favours it. "query turns": in how many equal steps each
query was turned, the best score counting; "free" where the method itself does not mind turns. The
built-in network averages four quarter turns inside, whatever this column says, so of its query
turns only those within a quarter are looked up. "ms a photo" is processor time for one query,
turns and comparing included, reading the file and describing the gallery left out. "peak MB" (10^6
bytes) is the most memory resident in a fresh process that did all tasks of that method: Python,
libraries, the photos of a task, the method and its scores."""


def plain(value: Any) -> Any:
    """Return ``value`` fit for JSON, which knows no nan."""
    if isinstance(value, dict):
        return {key: plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def table(rows: list[dict[str, Any]]) -> str:
    """Return rows, as ``plain`` makes them, as a Markdown table: by task, then as measured."""
    names = list(dict.fromkeys(row["task"] for row in rows))
    lines = [_line(HEAD), _line(("---",) * len(HEAD))]
    for row in sorted(rows, key=lambda row: names.index(row["task"])):
        found = row["figures"]
        tried = f"; best of {row['tried']}" if row["tried"] > 1 else ""
        lines.append(
            _line((
                row["task"], row["method"], row["setting"] + tried, row["turns"],
                str(found["queries"]), _share(found["recall_1"]) + _interval(found),
                _share(found["recall_5"]), _share(found["mean_average_precision"]),
                _number(row["milliseconds"]), _number(row["peak_megabytes"], 0),
            ))
        )  # fmt: skip
    return "\n".join(lines)


def document(report: dict[str, Any]) -> str:
    """Return the whole report as Markdown."""
    about = [f"- {line}" for line in (*report["about"], *report["checks"], *report["problems"])]
    title = "# Benchmark of `scripts/benchmark.py`"
    return "\n\n".join([title, table(report["rows"]), LEGEND, "\n".join(about)]) + "\n"


def _line(cells: tuple[str, ...]) -> str:
    return f"| {' | '.join(cells)} |"


def _share(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.1f}"


def _interval(found: dict[str, Any]) -> str:
    low, high = found["recall_1_interval"]
    return "" if low is None else f" ({100 * low:.1f}-{100 * high:.1f})"


def _number(value: float | None, places: int = 1) -> str:
    return "-" if value is None else f"{value:.{places}f}"
