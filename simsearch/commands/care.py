"""The command ``care``: look a set over and say what to mend."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simsearch.commands.common import PROBLEMS, JsonOption, Usage, say, say_json, with_bar
from simsearch.page.words import count

if TYPE_CHECKING:
    from simsearch.care.report import Finding, Report

_MOST_OF_KIND = 10  # findings printed of each kind; --json gives all of them
_TITLES = {"mend": "To mend", "look": "To look at", "note": "Could be better"}


def care(
    set_folder: Annotated[
        Path | None,
        typer.Argument(metavar="[SET]", help="Folder of a set; the shipped one without this."),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(metavar="OUT.svg", help="Draw which types are taken for one another."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Look a set over: copies, doubtful labels, poor photos, gaps, and how good the set is.

    Nothing is changed; each finding names what settles it. Ends with 1 when something is to
    be mended.
    """
    from simsearch.care.report import look_after_folder
    from simsearch.sets.reference_set import shipped_set_folder

    folder = set_folder or shipped_set_folder()
    report = with_bar(
        "Looking the set over", lambda progress: look_after_folder(folder, progress=progress)
    )
    if picture is not None:
        _draw(report, folder, picture)
    if as_json:
        say_json(report.to_dict())
    else:
        _print(report, picture)
    if report.counts()["mend"]:
        raise typer.Exit(PROBLEMS)


def _draw(report: Report, folder: Path, picture: Path) -> None:
    from simsearch.care.confusions import confusion_picture
    from simsearch.files import write_text
    from simsearch.sets.reference_set import read_set

    if report.confusions is None:
        raise Usage(
            "there is nothing to draw: the set has no index that fits, or photos of one type only.",
            hint=f"Build the index with: simsearch index {folder}",
        )
    try:
        write_text(picture, confusion_picture(report.confusions, read_set(folder, []).types))
    except OSError as error:
        raise Usage(
            f"'{picture}' cannot be written ({error.strerror}).", hint="Choose another place."
        ) from error


def _print(report: Report, picture: Path | None) -> None:
    say(
        f"{report.set_title}: {count(report.photos, 'photo')}, "
        f"{count(report.types, 'type')} looked over."
    )
    if report.worth is not None:
        say(f"\nHow good is this set? {report.worth.words}\n{report.worth.note}")
    for severity, found in groupby(report.findings, key=lambda one: one.severity):
        say(f"\n{_TITLES[severity]}")
        for kind, same in groupby(found, key=lambda one: one.kind):
            _print_kind(kind, list(same))
    told = report.counts()
    say(
        f"\n{told['mend']} to mend, {told['look']} to look at, "
        f"{told['note']} that could be better. Nothing has been changed."
    )
    if picture is not None:
        say(f"Picture of types taken for one another: {picture}")


def _print_kind(kind: str, findings: list[Finding]) -> None:
    for one in findings[:_MOST_OF_KIND]:
        say(f"- {kind}: {one.what}")
        say(f"  {one.action.words}." + (f" {one.action.command}" if one.action.command else ""))
    left = len(findings) - _MOST_OF_KIND
    if left > 0:
        say(f"  ... and {count(left, 'more finding')} of this kind; --json lists all of them.")
