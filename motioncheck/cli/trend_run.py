"""What `motioncheck trend` does: read the history, compute, write the page, print a table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from motioncheck.cli.listing import print_fitting
from motioncheck.cli.person import open_existing
from motioncheck.errors import UsageError
from motioncheck.history import History, validate_code
from motioncheck.history.codes import today, validate_day
from motioncheck.records.history import PersonRecord, Trial
from motioncheck.records.trend import TrendReport
from motioncheck.sheet.trend_view import GlanceRow, glance_rows, headline
from motioncheck.sheet.trend_write import NOTE_HTML, TREND_HTML, without_name, write_trend
from motioncheck.sheet.words import plural
from motioncheck.sheet.write import require_place
from motioncheck.standards import Standard, load_standards
from motioncheck.trends import compute_trends
from motioncheck.trends.series import list_measures
from motioncheck.wording import find_alike, join_words

# More names than this say nothing to the reader of an error.
MOST_NAMES = 12


@dataclass(frozen=True, slots=True)
class TrendRequest:
    """What was asked for on the command line."""

    code: str
    measure: str | None
    movement: str | None
    out: Path | None
    history: str | None
    note: bool
    first: str | None
    last: str | None
    with_name: bool
    standards: Path | None
    replace: bool


def run_trend(request: TrendRequest) -> None:
    """Write the trends of a person and print them as a table.

    Raises
    ------
    UsageError
        If the code, a day, the movement or the measure is none, or nothing is recorded for it.
    StoreError
        If the history cannot be read, or does not know the person.
    OutputError
        If the pages cannot be written.
    """
    # A folder is named after the code, so it is looked at before anything else.
    code = validate_code(request.code)
    _require_days(request)
    folder = request.out or Path(f"{code}.trend")
    require_place(folder)
    report = read_report(request, code)
    if not request.with_name:
        report = without_name(report)
    write_trend(folder, report, note=request.note, replace_all=request.replace)
    print_report(report, folder, note=request.note)


def _default_measures(
    history: History, code: str, standards: Mapping[str, Standard]
) -> frozenset[str] | None:
    """Return the measures to read, None for all: most of those recorded are not shown."""
    movements = {check.movement for check in history.checks(code)}
    if not movements <= standards.keys():
        return None
    return list_measures(standards[movement] for movement in movements)


def _require_days(request: TrendRequest) -> None:
    days = [validate_day(day) for day in (request.first, request.last) if day is not None]
    if len(days) == 2 and days[0] > days[1]:
        raise UsageError(
            f"Expected --from not to be after --to, found {days[0]} and {days[1]}.",
            hint="Exchange the two days.",
        )


def read_report(request: TrendRequest, code: str) -> TrendReport:
    """Read the trials of a person and compute the trends; raises as `run_trend`."""
    standards = {name: one.standard for name, one in load_standards(request.standards).items()}
    with open_existing(request.history) as history:
        person = history.get_person(code)
        wanted = request.measure or _default_measures(history, code, standards)
        trials = history.trials(code, movement=request.movement, measure=wanted)
        if not trials:
            everything = history.trials(code)
            raise _nothing_recorded(request, person, everything)
    inside = [t for t in trials if _is_inside(t.day, request)]
    if not inside:
        days = sorted({t.day for t in trials})
        raise UsageError(
            f"Expected sessions of {code} in the span of --from and --to, found them from "
            f"{days[0]} to {days[-1]} only.",
            hint="Choose other days, or leave them out.",
        )
    report = compute_trends(
        inside,
        person,
        standards=standards,
        measure=request.measure,
        movement=request.movement,
        today=today(),
    )
    if not report.trends:
        names = _names(t.measure for t in inside)
        raise UsageError(
            f"Expected a measure that the standards ask for, found {names} on record only.",
            hint="Name one of them with --measure.",
        )
    return report


def _is_inside(day: str, request: TrendRequest) -> bool:
    return (request.first or day) <= day <= (request.last or day)


def _nothing_recorded(
    request: TrendRequest, person: PersonRecord, everything: Sequence[Trial]
) -> UsageError:
    if not everything:
        return UsageError(
            f"Expected recorded sessions of {person.code}, found none with a measure.",
            hint=f"Record one with `motioncheck check CLIP --person {person.code}`.",
        )
    movements = {t.movement for t in everything}
    if request.movement is not None and request.movement not in movements:
        return UsageError(
            f"Expected {person.code} to have sessions of {request.movement!r}, found "
            f"{_names(movements)} on record.",
            hint="Choose one of them with --movement, or leave it out.",
        )
    of_movement = f" of {request.movement}" if request.movement else ""
    own = {t.measure for t in everything if request.movement in (None, t.movement)}
    alike = find_alike(request.measure or "", own)
    meant = f"Did you mean {join_words(alike, 'or')}? " if alike else ""
    return UsageError(
        f"Expected {person.code} to have the measure {request.measure!r}{of_movement}, found "
        f"{_names(own)} on record.",
        hint=f"{meant}Choose one of them with --measure, without a side, or leave it out.",
    )


def _names(names: Iterable[str]) -> str:
    ordered = sorted(set(names))
    if len(ordered) > MOST_NAMES:
        return f"{', '.join(ordered[:MOST_NAMES])} and {len(ordered) - MOST_NAMES} more"
    return join_words(ordered)


def print_report(report: TrendReport, folder: Path, *, note: bool) -> None:
    """Print a row for each side of each measure, and where the page is."""
    console = Console(highlight=False, soft_wrap=True)
    rows = glance_rows(report)
    sessions = plural(report.sessions, "session")
    console.print(f"{report.person.code}, {sessions}. {headline(rows)}", style="bold", markup=False)
    for movement in dict.fromkeys(row.movement for row in rows):
        console.print(Text(f"\n{movement}"))
        own = [row for row in rows if row.movement == movement]
        print_fitting(_table(own))
    console.print()
    for text in report.notes:
        console.print(text, markup=False)
    console.print(f"Page: {folder / TREND_HTML}", markup=False)
    if note:
        console.print(f"Progress note: {folder / NOTE_HTML}", markup=False)
    console.print(
        "Stop at sharp or rising pain. This measures, it does not diagnose.", markup=False
    )


def _table(rows: Sequence[GlanceRow]) -> Table:
    table = Table(box=None, pad_edge=False)
    for title in ("measure", "first", "last", "change", "counts beyond", "what it says"):
        table.add_column(title, overflow="fold")
    for row in rows:
        name = f"{row.title}, {row.side}" if row.side else row.title
        needed = f"{row.needed} ({row.origin})" if row.origin else row.needed
        table.add_row(
            *(
                Text(text)
                for text in (
                    f"{name} ({row.statistic})",
                    f"{row.first}\n{row.first_day}",
                    f"{row.last}\n{row.last_day}",
                    row.change,
                    needed,
                    row.mark.word,
                )
            )
        )
    return table
