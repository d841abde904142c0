"""The table of sources, ``sources.csv``: what the facts about types rest on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from simsearch.sets.problems import Problem, raise_errors
from simsearch.sets.tables import Cells, note_repeats, read_rows

SOURCE_COLUMNS = ("id", "citation", "url", "read_on", "basis", "note")
SOURCE_BASES = ("read", "second-hand", "from memory")


@dataclass(frozen=True)
class Source:
    """One source; ``read_on`` is a day as YYYY-MM-DD or empty, ``basis`` how we know it."""

    id: str
    citation: str
    url: str
    read_on: str
    basis: str
    note: str


def load_sources(path: Path | str) -> Mapping[str, Source]:
    """Read ``sources.csv``, by id in file order. Raises ``TablesError`` with every problem."""
    problems: list[Problem] = []
    sources = read_sources(Path(path), problems)
    raise_errors(problems)
    return sources


def read_sources(path: Path, problems: list[Problem]) -> dict[str, Source]:
    """Read what can be read of ``sources.csv`` and note the rest in ``problems``."""
    rows = read_rows(path, SOURCE_COLUMNS, problems)
    note_repeats(path.name, "id", [(row.number, row.cells["id"]) for row in rows], problems)
    sources: dict[str, Source] = {}
    for row in rows:
        cells = Cells(path.name, row, problems)
        source = Source(
            id=cells.slug("id"),
            citation=cells.required("citation"),
            url=_url(cells),
            read_on=cells.day("read_on"),
            basis=cells.choice("basis", SOURCE_BASES),
            note=cells.text("note"),
        )
        if cells.ok:
            sources.setdefault(source.id, source)
    return sources


def _url(cells: Cells) -> str:
    url = cells.text("url")
    # The page turns this into a link: any other scheme could run script when clicked.
    if url and not url.startswith(("https://", "http://")):
        cells.fail("url", f"'{url}' is not a web address.", "Begin it with https://, or leave it.")
    return url
