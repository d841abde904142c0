"""Practice for a club evening: a fragment, a guess, and what decides.

``pool`` gathers what a set (and a folder of fresh renders, ``fresh``) can show, ``cut`` breaks
whole objects, ``exercise`` asks about one of them at a level, ``answer`` tells what decides,
``staircase`` sets the next level, and ``scores`` keeps what a player did on this machine.
"""

from __future__ import annotations

from simsearch.errors import SimsearchError


class PracticeError(SimsearchError):
    """A set, a folder or a file of scores cannot be used for practice."""


__all__ = ["PracticeError"]
