"""The next level after each answer: two right in a row go up a level, one wrong goes down.

This is the transformed up-down rule of H. Levitt, "Transformed up-down methods in
psychoacoustics", Journal of the Acoustical Society of America 49 (1971), 467-477. Where it
settles, two right in a row are as likely as not: p * p = 1/2, so 70.7 % of answers are right,
hard enough to learn from and easy enough to go on. "Cannot tell" leaves level and run as they are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

LEVELS = 9
START = 3
RIGHT, WRONG, CANNOT_TELL = "right", "wrong", "cannot tell"
OUTCOMES = (RIGHT, WRONG, CANNOT_TELL)
SETTLES_AT = 0.5**0.5
_IN_A_ROW = 2


@dataclass(frozen=True)
class Staircase:
    """Where a player stands: ``level`` in 1..LEVELS, ``run`` right answers since the last step."""

    level: int = START
    run: int = 0

    def after(self, outcome: str) -> Staircase:
        """Where the player stands after an answer. Raises ``ValueError`` for another outcome."""
        if outcome == CANNOT_TELL:
            return self
        if outcome == WRONG:
            return Staircase(max(1, self.level - 1), 0)
        if outcome != RIGHT:
            raise ValueError(f"'{outcome}' is none of {', '.join(OUTCOMES)}")
        if self.run + 1 < _IN_A_ROW:
            return replace(self, run=self.run + 1)
        return Staircase(min(LEVELS, self.level + 1), 0)
