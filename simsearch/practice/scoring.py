"""Points for an answer: naming the type is worth most, and saying "cannot tell" beats guessing.

A wrong name costs a real find its record, so giving up honestly earns part of the point. The part
must be worth more than a blind guess among the choices, or guessing would pay. (Rejecting when
sure below a threshold is C. K. Chow's rule, "On optimum recognition error and reject tradeoff",
IEEE Transactions on Information Theory 16, 1970, 41-46; cited from memory.)
"""

from __future__ import annotations

from simsearch.practice.staircase import CANNOT_TELL, RIGHT

LEAST_CREDIT = 0.4
_ABOVE_GUESSING = 0.1


def cannot_tell_credit(choices: int) -> float:
    """Points for "cannot tell" among so many types: 0.4, and always 0.1 above a blind guess."""
    return round(max(LEAST_CREDIT, 1 / choices + _ABOVE_GUESSING), 2)


def points(outcome: str, choices: int) -> float:
    """Points for an answer: 1 when right, 0 when wrong, part of one for "cannot tell"."""
    if outcome == RIGHT:
        return 1.0
    return cannot_tell_credit(choices) if outcome == CANNOT_TELL else 0.0


def rule_words(choices: int) -> str:
    """The rule in a sentence, to stand beside the question."""
    part = cannot_tell_credit(choices)
    return (
        f"Right 1 point, wrong none, 'cannot tell' {part:g}: say it when you would be right in "
        f"fewer than {part * 100:.0f} of 100 such cases."
    )
