"""Leads, types and problems as text in a terminal.

Facts from a set are put into ``Text`` objects and never parsed for markup, so a type whose
name holds square brackets prints as it is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table
from rich.text import Text

from simsearch.page import cautions, words

if TYPE_CHECKING:
    from simsearch.leads.calibration import Calibration
    from simsearch.leads.model import Leads
    from simsearch.sets.problems import Problem
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import Type

_DETAILED_LEADS = 3


def print_leads(console: Console, title: str, leads: Leads, reference: ReferenceSet) -> None:
    """One find: what was asked, the leads in order, and what to check for the first few."""
    console.print(Text(title, style="bold"))
    if not leads.anything_close:
        console.print(Text(f"{words.NOTHING_CLOSE} The nearest, most likely wrong:"))
    console.print(_lead_table(leads))
    if leads.anything_close:
        listed = words.shortlist_words(leads, reference.types)
        console.print(Text(f"\n{listed}") if listed else Text(""))
    _print_cautions(console, cautions.urgent_for(leads))
    _print_reasons(console, leads)
    if leads.anything_close:
        _print_dating(console, leads)
        for lead in leads.leads[:_DETAILED_LEADS]:
            _print_checks(console, lead.type, reference)
            laid = words.placing_words(lead.placing)
            if laid:
                console.print(Text(f"  {laid}"))
        _print_next(console, leads, reference)
    console.print(Text(f"\n{leads.odds_note}".rstrip()))
    console.print(Text(" ".join(item.heading for item in cautions.ALWAYS)))


def _print_reasons(console: Console, leads: Leads) -> None:
    """Why the first leads rose or fell, each observation with its factor."""
    from simsearch.leads.refine import verdict, why_words

    if leads.observed is None:
        return
    console.print(Text("What your observations did", style="bold"))
    for lead in leads.leads[:_DETAILED_LEADS]:
        console.print(Text(f"{lead.rank}. {lead.type.name}: {why_words(lead)}"))
        for reason in lead.reasons:
            said = f"{verdict(reason.factor)}, {reason.factor:.2g} times"
            console.print(Text(f"  - {reason.observation} ({said}): {reason.words}"))
    for note in leads.observed_notes:
        console.print(Text(note))


def _print_dating(console: Console, leads: Leads) -> None:
    from simsearch.leads.aoristic import date_words, leads_dating

    console.print(Text(f"The leads together: {date_words(leads_dating(leads))}"))


def _print_next(console: Console, leads: Leads, reference: ReferenceSet) -> None:
    """What to look at next, most telling first."""
    from simsearch.leads.next_look import what_next

    found = what_next(leads, reference.types)
    if found:
        console.print(Text("\nLook at next, most telling first", style="bold"))
    for look in found:
        console.print(Text(f"  - {look.question} ({look.why.rstrip('.')}.)"))


def print_measured(console: Console, calibration: Calibration) -> None:
    """What the odds of a set rest on and how well they hold, in sentences."""
    for sentence in words.measured_words(calibration):
        console.print(Text(sentence))


def _lead_table(leads: Leads) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for heading in ("", "lead", "dates", "how sure"):
        table.add_column(heading, justify="right" if not heading else "left")
    for lead in leads.leads:
        odds = words.lead_odds_words(lead)
        table.add_row(
            Text(str(lead.rank)),
            Text(f"{lead.type.name}\n{lead.type.id}"),
            Text(lead.type.dates.words()),
            Text(f"{lead.band}\n{odds}" if odds else lead.band),
        )
    return table


def _print_checks(console: Console, kind: Type, reference: ReferenceSet) -> None:
    console.print(Text(f"\n{kind.name}: check on the object", style="bold"))
    _print_list(console, kind.checks)
    _print_look_alikes(console, kind, reference)
    _print_cautions(console, cautions.for_keys(kind.cautions))


def _print_cautions(console: Console, found: Sequence[cautions.Caution]) -> None:
    for caution in found:
        console.print(Text.assemble((caution.heading, "bold"), f" {caution.text}"))


def print_types(console: Console, types: Sequence[Type]) -> None:
    """The list of types under their groups."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=False)
    for _ in range(3):
        table.add_column()
    groups = dict.fromkeys(kind.group for kind in types)
    for group in groups:
        table.add_row(Text(group, style="bold"), "", "")
        for kind in types:
            if kind.group == group:
                name, dates = Text(kind.name), Text(kind.dates.words())
                table.add_row(Text(f"  {kind.id}"), name, dates)
    console.print(table)


def print_type(console: Console, kind: Type, reference: ReferenceSet) -> None:
    """Everything the set says about one type."""
    console.print(Text(kind.name, style="bold"))
    for heading, text in _facts(kind, reference):
        if text:
            console.print(Text.assemble((f"{heading}: ", "bold"), text))
    if kind.checks:
        console.print(Text("Check on the object:", style="bold"))
        _print_list(console, kind.checks)
    _print_look_alikes(console, kind, reference)
    _print_sources(console, kind, reference)
    _print_cautions(console, cautions.for_keys(kind.cautions))


def _facts(kind: Type, reference: ReferenceSet) -> list[tuple[str, str]]:
    size = words.length_words(kind.length_mm)
    note = kind.length_note if size else ""
    return [
        ("Id", kind.id),
        ("Also called", ", ".join(kind.other_names)),
        ("Group", kind.group),
        ("Period", kind.period),
        ("Dates", f"{kind.dates.words()} ({kind.basis})"),
        ("On the dates", kind.date_note),
        ("Material", kind.material),
        ("Size", f"{size}; {note}" if note else size),
        ("Pin", kind.pin_fixing),
        *((view.capitalize(), text) for view, text in kind.features.items()),
        ("Usually survives", kind.survives),
        ("Usually breaks off", kind.breaks),
        ("In the literature", "; ".join(kind.typology)),
        ("Reference photos", str(len(reference.photos_of(kind.id)))),
    ]


def _print_list(console: Console, items: Sequence[str]) -> None:
    for item in items:
        console.print(Text(f"  - {item}"))


def _print_look_alikes(console: Console, kind: Type, reference: ReferenceSet) -> None:
    for other in kind.look_alikes:
        known = reference.types.get(other.type_id)
        name = known.name if known else other.type_id
        console.print(Text(f"  Look-alike {name} ({other.type_id}): {other.separates}"))


def _print_sources(console: Console, kind: Type, reference: ReferenceSet) -> None:
    for key in kind.sources:
        source = reference.sources.get(key)
        if source is not None:
            text = f"Source: {source.citation} ({source.basis}) {source.url}"
            console.print(Text(text.rstrip()), soft_wrap=True)


def print_problems(console: Console, problems: Sequence[Problem]) -> None:
    """What a check found, errors first."""
    for problem in sorted(problems, key=lambda p: p.severity != "error"):
        style = "bold red" if problem.severity == "error" else "yellow"
        console.print(Text.assemble((f"{problem.severity}: ", style), str(problem)))
