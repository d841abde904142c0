"""``simsearch encoders compare``: which encoder does best on one's own set."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table
from rich.text import Text

from simsearch.commands.common import (
    JsonOption,
    console,
    open_set_folder,
    say,
    say_json,
    with_bar,
)

if TYPE_CHECKING:
    from simsearch.care.encoders import Comparison, Figures, Share

_HEADINGS = (
    "encoder",
    "right type first",
    "in first five",
    "first lead right",
    "types in list",
    "list holds",
    "surprise",
    "ms a photo",
    "memory MB",
    "weights MB",
)


def compare(
    set_folder: Annotated[Path, typer.Argument(metavar="SET", help="Folder of your own set.")],
    encoders: Annotated[
        list[str],
        typer.Argument(
            metavar="ENCODER...",
            help="'built-in', or 'open_clip:ARCH/TAG' where TAG may be a file of weights.",
        ),
    ],
    as_json: JsonOption = False,
) -> None:
    """Compare encoders on your own set, side by side; the set's index stays as it is.

    Each object is looked up among all others. Says which encoder is better and whether the
    difference could be chance, what each takes in time and memory, and how to switch.
    """
    from simsearch.care.encoders import compare_encoders

    reference = open_set_folder(set_folder)
    found = with_bar(
        "Measuring encoders",
        lambda progress: compare_encoders(reference, encoders, progress=progress),
    )
    if as_json:
        say_json(found.to_dict())
        return
    console().print(_table(found))
    say("")
    for line in found.words():
        say(line)


def _table(found: Comparison) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    rows = [_cells(one, one.encoder == found.current) for one in found.figures]
    # In a set too small for odds nothing is known of leads.
    shown = [at for at in range(len(_HEADINGS)) if any(row[at] for row in rows)]
    for at in shown:
        table.add_column(_HEADINGS[at], justify="right" if at else "left")
    for row in rows:
        table.add_row(*(Text(row[at]) for at in shown))
    return table


def _cells(one: Figures, in_use: bool) -> list[str]:
    return [
        f"{one.encoder} (in use)" if in_use else one.encoder,
        _share(one.first),
        _share(one.in_five),
        _share(one.first_lead),
        _number(one.list_length, 1),
        _share(one.list_holds),
        _number(one.surprise, 2),
        _number(one.milliseconds, 0),
        _number(one.memory_mb, 0),
        _number(one.weights_mb, 1),
    ]


def _share(share: Share | None) -> str:
    """Per cent, and between what it lies."""
    if share is None:
        return ""
    value, low, high = (round(100 * part) for part in (share.value, share.low, share.high))
    return f"{value} % ({low}-{high})"


def _number(value: float | None, places: int) -> str:
    return "" if value is None else f"{value:.{places}f}"
