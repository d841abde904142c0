"""Running the benchmark: each method in a fresh process, the report written after each."""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from simsearch.errors import SimsearchError
from simsearch.evaluation.folders import licence_of
from simsearch.evaluation.published import check_lines
from simsearch.evaluation.report import document
from simsearch.evaluation.tasks import Options

_PACKAGES = ("simsearch", "torch", "numpy", "opencv-python-headless", "scikit-image", "Pillow")
_TAIL = 2000  # characters of a failed process's last words


def benchmark(
    methods: Sequence[str],
    options: Options,
    out: Path | None = None,
    say: Callable[[str], None] = lambda line: None,
) -> dict[str, Any]:
    """Measure the methods and return the report; see ``runner.run`` for its rows.

    With ``out``, a Markdown file, the report is written there and as JSON beside it, anew after
    each method, so that what was measured outlives an interruption. ``say`` is told how far it
    is. A method that cannot be had is named among the report's problems; raises SimsearchError
    when one breaks down.
    """
    report: dict[str, Any] = {
        "about": about(options),
        "checks": check_lines(),
        "options": asdict(options),
        "fingerprints": {},
        "problems": [],
        "rows": [],
    }
    for name in methods:
        start = time.perf_counter()
        found = in_fresh_process(name, options)
        if problem := found.get("problem"):
            report["problems"].append(f"Not measured: {found['method']}. {problem}")
        if found.get("fingerprint"):
            report["fingerprints"][name] = found["fingerprint"]
        report["rows"] += found["rows"]
        say(f"{name}: {problem or ''}{time.perf_counter() - start:.0f} s")
        if out:
            write(report, out)
    return report


def in_fresh_process(name: str, options: Options) -> dict[str, Any]:
    """Run one method in a process of its own and return what it found.

    Raises SimsearchError with the process's last words when it ends without an answer.
    """
    with tempfile.TemporaryDirectory() as folder:
        job, out = Path(folder) / "job.json", Path(folder) / "out.json"
        job.write_text(json.dumps({"method": name, "options": asdict(options)}), "utf-8")
        command = [sys.executable, "-m", "simsearch.evaluation.runner", str(job), str(out)]
        done = subprocess.run(command, stderr=subprocess.PIPE, text=True, errors="replace")
        if done.returncode or not out.is_file():
            raise SimsearchError(
                f"Measuring {name} broke down (exit {done.returncode}): {done.stderr[-_TAIL:]}"
            )
        found: dict[str, Any] = json.loads(out.read_text("utf-8"))
        return found


def write(report: dict[str, Any], out: Path) -> None:
    """Write the report as Markdown to ``out`` and as JSON beside it, with the ending .json."""
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(document(report), "utf-8")
    text = json.dumps(report, indent=1, allow_nan=False)
    out.with_suffix(".json").write_text(text + "\n", "utf-8")


def about(options: Options) -> list[str]:
    """Return what was measured on and with, in sentences."""
    threads = os.environ.get("OMP_NUM_THREADS", "as the libraries choose")
    lines = [
        f"{platform.system()} on {platform.machine()}, {os.cpu_count()} cores, "
        f"threads: {threads}; Python {platform.python_version()}, "
        + ", ".join(f"{name} {_version(name)}" for name in _PACKAGES)
        + ".",
    ]
    if options.renders and {"types", "unseen", "instances"} & set(options.tasks):
        lines.append("The types and specimens are rendered pictures, not photographs of finds.")
    if options.unseen and "unseen" in options.tasks:
        lines.append(f"Unseen types, held out of training: {', '.join(options.unseen)}.")
    for folder in options.photos:
        lines.append(f"Photos {Path(folder).name}: {licence_of(Path(folder))}.")
    if options.limit:
        lines.append(f"A trial: at most {options.limit} queries of each class.")
    return lines


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "(not installed)"
