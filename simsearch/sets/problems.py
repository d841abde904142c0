"""What can be wrong with a reference set, gathered so that all of it is told at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from simsearch.errors import TableError

Severity = Literal["error", "warning"]


@dataclass(frozen=True)
class Problem:
    """One thing wrong: how bad, where (file, row, column), what it is, and what to do about it.

    An ``error`` keeps the set from being used; a ``warning`` does not.
    """

    severity: Severity
    where: str
    what: str
    what_to_do: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what} {self.what_to_do}".rstrip()


class TablesError(TableError):
    """Several cells are wrong; ``problems`` holds one entry for each."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        count = len(self.problems)
        head = "1 problem" if count == 1 else f"{count} problems"
        lines = "\n".join(f"- {problem}" for problem in self.problems)
        super().__init__(f"The tables have {head}:\n{lines}")


def raise_errors(problems: Sequence[Problem]) -> None:
    """Raise ``TablesError`` with every error among the problems; do nothing when there is none."""
    errors = [problem for problem in problems if problem.severity == "error"]
    if errors:
        raise TablesError(errors)
