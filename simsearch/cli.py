"""All commands in one place, and what becomes of their errors.

The commands themselves are in ``simsearch.commands``. Each is thin: it calls the same functions as
the page and prints. Anything slow to import (torch, the page) is imported inside the command that
needs it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from typing import Annotated, Any

import typer

from simsearch.commands import (
    bring,
    browse,
    care,
    encoders,
    law,
    look,
    making,
    measure,
    page,
    practice,
    register,
    sets,
    share,
    sheets,
    types,
)
from simsearch.commands.common import (
    FINE,
    NOT_READY,
    PROBLEMS,
    STOPPED,
    WRONG_USE,
    complain,
)
from simsearch.errors import (
    EncoderError,
    MissingIndexError,
    SetError,
    SimsearchError,
    StaleIndexError,
)

__all__ = ["FINE", "NOT_READY", "PROBLEMS", "STOPPED", "WRONG_USE", "app", "main"]

_EXIT_CODES = (
    "Exit codes: 0 fine; 1 problems found, or nothing in the set looks close; "
    "2 wrong use or unreadable input; 3 the set, its index or the encoder is not ready."
)
_NOT_READY_ERRORS = (SetError, MissingIndexError, StaleIndexError, EncoderError)

_PANELS: dict[str, dict[str, Callable[..., Any]]] = {
    "A find": {"page": page.page, "look": look.look, "similar": browse.similar},
    "Types": {"types": types.types, "type": types.show_type},
    "A set of your own": {
        "make": making.make, "add": making.add, "add-type": making.add_type,
        "opinion": making.opinion, "withdraw": making.withdraw,
        "index": sets.index, "odds": sets.odds, "check": sets.check,
        "care": care.care, "compare": encoders.compare,
    },
    "Sharing": {
        "pack": share.pack, "unpack": share.unpack, "merge": share.merge,
        "manifest": share.manifest,
    },
}  # fmt: skip

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Ranked leads, with date ranges and evidence, for photos of small corroded finds. "
    "Leads to verify, not identifications.",
    epilog=_EXIT_CODES,
)
for _panel, _commands in _PANELS.items():
    for _name, _command in _commands.items():
        app.command(_name, rich_help_panel=_panel)(_command)
app.add_typer(bring.app, name="bring", rich_help_panel="A set of your own")
app.add_typer(register.app, name="register", rich_help_panel="Records")
app.add_typer(sheets.app, name="sheet", rich_help_panel="Records")
app.command("practice", rich_help_panel="Types")(practice.practice)
for _name, _command in (
    ("card", measure.card), ("measure", measure.measure), ("advice", measure.advice),
):  # fmt: skip
    app.command(_name, rich_help_panel="A find")(_command)
app.command("law", rich_help_panel="Records")(law.law)


@app.callback()
def _options(debug: Annotated[bool, typer.Option("--debug", hidden=True)] = False) -> None:
    """Options before the command; ``main`` looks for this one itself."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; errors become one line on stderr.

    With the hidden option ``--debug`` before the command, errors are raised instead.
    """
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        ended = app(args=given, prog_name="simsearch", standalone_mode=False)
        return ended if isinstance(ended, int) else FINE
    except (KeyboardInterrupt, typer.Abort):
        return STOPPED
    except BrokenPipeError:
        # The reader of our output has gone (as with "| head"); nothing is wrong. Without this
        # the interpreter would complain when it flushes stdout at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FINE
    except Exception as error:
        if "--debug" in given[:1]:
            raise
        return _explain(error)


def _explain(error: Exception) -> int:
    if isinstance(error, SimsearchError):
        complain(error.message, error.hint)
        return NOT_READY if isinstance(error, _NOT_READY_ERRORS) else WRONG_USE
    # The option parser's own errors share no public base class across its versions; all of
    # them can put themselves into words. Help asked for by giving no command is printed already.
    in_words = getattr(error, "format_message", None)
    if callable(in_words):
        if type(error).__name__ != "NoArgsIsHelpError":
            complain(str(in_words()), "See: simsearch --help")
        return WRONG_USE
    what = f"{type(error).__name__}: {error}".splitlines()[0]
    complain(f"simsearch failed ({what})", "To see where, run: simsearch --debug and the rest.")
    return WRONG_USE
