"""A folder of freshly damaged renders to practise with: pictures and the table ``practice.csv``.

``scripts/make_practice.py`` of the source code writes such folders; this reads them. The pictures
stand in FOLDER/TYPE/N.jpg.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from simsearch.practice import PracticeError
from simsearch.sets.photos import CONDITIONS, VIEWS, file_fault
from simsearch.sets.problems import Problem
from simsearch.sets.tables import Cells, Row, read_rows

TABLE = "practice.csv"
COLUMNS = ("file", "type", "view", "kept", "condition", "series")


@dataclass(frozen=True)
class FreshRender:
    """One rendered fragment; ``kept`` is the share left of what a camera would see of it whole."""

    path: Path
    file: str
    type: str
    view: str
    kept: float
    condition: str
    series: str


def read_fresh(folder: Path, type_ids: Collection[str]) -> tuple[FreshRender, ...]:
    """Read a folder of fresh renders whose types must be among ``type_ids``.

    Raises ``PracticeError`` listing everything wrong, by row and column.
    """
    problems: list[Problem] = []
    rows = read_rows(folder / TABLE, COLUMNS, problems)
    found = [_render(folder, row, type_ids, problems) for row in rows]
    if not problems and not rows:
        problems.append(Problem("error", TABLE, "The table is empty.", "Make it again."))
    if problems:
        listed = "\n".join(f"- {problem}" for problem in problems)
        raise PracticeError(
            f"The folder {folder} cannot be practised with:\n{listed}",
            hint="Correct the table, or make the folder again.",
        )
    return tuple(found)


def _render(
    folder: Path, row: Row, type_ids: Collection[str], problems: list[Problem]
) -> FreshRender:
    cells = Cells(TABLE, row, problems)
    file, type_id = cells.required("file"), cells.slug("type")
    if file and (fault := file_fault(folder, file)):
        cells.fail("file", *fault)
    if type_id and type_id not in type_ids:
        cells.fail("type", f"There is no type '{type_id}' in the set.", "Name a type of the set.")
    return FreshRender(
        path=folder / file,
        file=file,
        type=type_id,
        view=cells.choice("view", VIEWS),
        kept=_share(cells),
        condition=cells.choice("condition", CONDITIONS),
        series=cells.text("series"),
    )


def _share(cells: Cells) -> float:
    text = cells.text("kept")
    try:
        share = float(text)
    except ValueError:
        share = 0.0
    if not 0 < share <= 1:  # a NaN fails too
        cells.fail("kept", f"'{text}' is not a share.", "Write a number above 0, up to 1.")
    return share
