"""Options for what was observed on the object, and what is made of them.

Kept apart from the command, because every command that looks a find up takes the same ones.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from simsearch.commands.common import Usage
from simsearch.leads.observed import (
    COMPLETENESS,
    FIXINGS,
    MATERIALS,
    PERIODS,
    SURFACES,
    Measure,
    Observed,
    nearby_dates,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

_PANEL = "Observed on the object"


def _one_of(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"


LengthOption = Annotated[
    float | None,
    typer.Option(
        "--length", metavar="MM", rich_help_panel=_PANEL,
        help="Longest straight distance across it; of round things the diameter.",
    ),
]  # fmt: skip
WidthOption = Annotated[
    float | None,
    typer.Option("--width", metavar="MM", rich_help_panel=_PANEL, help="Width."),
]
ThicknessOption = Annotated[
    float | None,
    typer.Option("--thickness", metavar="MM", rich_help_panel=_PANEL, help="Greatest thickness."),
]
ErrorOption = Annotated[
    float,
    typer.Option("--error", metavar="MM", rich_help_panel=_PANEL, help="How far off these may be."),
]
BrokenOption = Annotated[
    bool,
    typer.Option(
        "--broken", rich_help_panel=_PANEL,
        help="It is broken, so that its length is only the least it can have been.",
    ),
]  # fmt: skip
WeightOption = Annotated[
    float | None, typer.Option("--weight", metavar="G", rich_help_panel=_PANEL, help="Weight.")
]
MaterialOption = Annotated[
    str | None,
    typer.Option("--material", rich_help_panel=_PANEL, help=f"{_one_of(MATERIALS)}."),
]
FixingOption = Annotated[
    str | None,
    typer.Option("--fixing", rich_help_panel=_PANEL, help=f"Of the pin: {_one_of(FIXINGS)}."),
]
SurfaceOption = Annotated[
    str | None, typer.Option("--surface", rich_help_panel=_PANEL, help=f"{_one_of(SURFACES)}.")
]
CompletenessOption = Annotated[
    str | None,
    typer.Option(
        "--left", metavar="SHARE", rich_help_panel=_PANEL,
        help=f"How much is left: {_one_of(COMPLETENESS)}.",
    ),
]  # fmt: skip
NearbyOption = Annotated[
    str | None,
    typer.Option(
        "--nearby", metavar="DATES", rich_help_panel=_PANEL,
        help=f"When things found close by were made: {_one_of(tuple(PERIODS))}; or years such "
        "as 0043/0410.",
    ),
]  # fmt: skip


def observed_from(
    *,
    length: float | None = None,
    width: float | None = None,
    thickness: float | None = None,
    error: float = 1.0,
    broken: bool = False,
    weight: float | None = None,
    material: str | None = None,
    fixing: str | None = None,
    surface: str | None = None,
    left: str | None = None,
    nearby: str | None = None,
) -> Observed | None:
    """Put options together; ``None`` where nothing was observed.

    A find of which only a part is left has a broken length. Raises ``ObservationError``.
    """
    part = broken or (left is not None and part_left(left))
    if broken and left is not None and not part_left(left):
        raise Usage("the find is said to be broken and complete.", hint="Give one of the two.")

    def measure(mm: float | None, state: str) -> Measure | None:
        # A small thing is not measured to within a millimetre of nothing.
        return None if mm is None else Measure(mm, min(error, mm) if mm > 0 else 0.0, state)

    seen = Observed(
        length_mm=measure(length, "broken" if part else "whole"),
        width_mm=measure(width, "whole"),
        thickness_mm=measure(thickness, "whole"),
        weight_g=weight,
        material=material,
        fixing=fixing,
        surface=surface,
        completeness=left,
        nearby=None if nearby is None else nearby_dates(nearby),
    )
    if not seen.given and broken:
        raise Usage("--broken says how to read a length.", hint="Give --length too.")
    return seen if seen.given else None


def part_left(left: str) -> bool:
    """Whether these words say that only a part of the object is left."""
    return left.strip().casefold() != COMPLETENESS[0]


def require_one_find(observed: Observed | None, paths: Sequence[Path], together: bool) -> None:
    """Refuse observations for several finds at once: they are about one object."""
    if observed is not None and not together and len(paths) > 1:
        raise Usage(
            f"what was observed is about one find, and there are {len(paths)} photos.",
            hint="Add --together if they all show that find, or give one photo.",
        )
