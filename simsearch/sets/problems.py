"""What can be wrong with a reference set, gathered so that all of it is told at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from simsearch.errors import TableError

Severity = Literal["error", "warning"]
_LONGEST = 600  # letters; the longest text of our own, a list of columns, has some 300


@dataclass(frozen=True)
class Problem:
    """One thing wrong: how bad, where (file, row, column), what it is, and what to do about it.

    An ``error`` keeps the set from being used; a ``warning`` does not. Problems quote what
    stands in tables that may come from anyone, so they hold no control characters, which could
    rewrite a terminal, and what they quote is cut to a readable length.
    """

    severity: Severity
    where: str
    what: str
    what_to_do: str

    def __post_init__(self) -> None:
        """Make what was quoted harmless to show."""
        for name in ("where", "what", "what_to_do"):
            object.__setattr__(self, name, _shown(getattr(self, name)))

    def __str__(self) -> str:
        return f"{self.where}: {self.what} {self.what_to_do}".rstrip()


def _shown(text: str) -> str:
    kept = text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."
    return "".join(letter if letter.isprintable() or letter == "\n" else "?" for letter in kept)


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
