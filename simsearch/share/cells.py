"""Cells that a spreadsheet would take for a formula.

A spreadsheet that opens a CSV file evaluates cells that begin with ``=``, ``+``, ``-`` or ``@``,
and some of those formulas start programs or send data away. Common practice (OWASP, "CSV
Injection") is to put an apostrophe in front, which makes the cell text. Here:

- **Going out**, every cell that begins with such a sign (or with a tab, a carriage return or
  one of the signs' full-width forms) gets an apostrophe; so does one that begins with
  apostrophes and then such a sign, so that taking one away again always gives the cell back.
- Left alone are cells of a leading sign and then only digits and ``. , / ~ ? %``, spaces and
  hyphens: they can call nothing and refer to nothing, and dates BC are written like that
  (``-0049~/0060``).
- **Coming in**, the apostrophe is taken away only where what comes out begins with ``+`` or
  ``-`` and is plain words. A cell that could still do harm keeps it: in a set on disk too, no
  table holds a formula that came from somebody else.
"""

from __future__ import annotations

import re

GUARD = "'"
_SIGNS = "=+\\-@\t\r＝＋－＠"
_BEGINS = re.compile(f"'*[{_SIGNS}]")
_GUARDED = re.compile(f"'+[{_SIGNS}]")
_NUMBERS = re.compile(r"[-+]?[0-9][-0-9.,/~?% ]*")
# Without any of these a formula can neither call a function, reach another program or sheet,
# nor hold text to send away.
_CAN_ACT = re.compile(r"[(\[!|=@{\"'：！（｜＝＠]")


def guarded(cell: str) -> str:
    """Return the cell as it may be opened in a spreadsheet; ``bared`` undoes it exactly."""
    return GUARD + cell if _begins_like_formula(cell) else cell


def bared(cell: str) -> str:
    """Return the cell that ``guarded`` was given."""
    if _GUARDED.match(cell) and not _is_numbers(cell):
        return cell[len(GUARD) :]
    return cell


def is_formula(cell: str) -> bool:
    """Whether a spreadsheet would evaluate the cell and it is more than a number or a date."""
    return not cell.startswith(GUARD) and _begins_like_formula(cell)


def is_harmful(cell: str) -> bool:
    """Whether the cell is a formula that could do something, and not just words after a dash."""
    if not is_formula(cell):
        return False
    return cell[0] not in "+-" or _CAN_ACT.search(cell) is not None


def received(cell: str, *, were_guarded: bool) -> tuple[str, bool]:
    """Return a cell from outside as it may be kept, and whether it was made harmless.

    ``were_guarded`` says that the sender put apostrophes before such cells, as ``guarded`` does.
    """
    meant = bared(cell) if were_guarded else cell
    if is_harmful(meant):
        return GUARD + meant, True
    return meant, False


def _begins_like_formula(cell: str) -> bool:
    return _BEGINS.match(cell) is not None and not _is_numbers(cell)


def _is_numbers(cell: str) -> bool:
    return _NUMBERS.fullmatch(cell.lstrip(GUARD)) is not None
