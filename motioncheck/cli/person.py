"""`motioncheck person`: who is in the history. Heavy packages are imported inside functions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from motioncheck.cli.options import CodeArgument, HistoryOption, SexOption, VerboseOption
from motioncheck.errors import UsageError

if TYPE_CHECKING:
    from motioncheck.history import History

person_app = typer.Typer(
    help="Add, change and list people; hand out or erase what is held of them."
)

NameOption = Annotated[str | None, typer.Option("--name", help="Name; never in shared files.")]
BirthYearOption = Annotated[
    str | None, typer.Option("--birth-year", metavar="YEAR", help="For the usual values by age.")
]
StatureOption = Annotated[
    str | None, typer.Option("--stature", metavar="METRES", help="Body height, such as 1.74.")
]
NotesOption = Annotated[str | None, typer.Option("--notes", help="Anything worth knowing.")]


@person_app.command("add")
def add(
    code: CodeArgument,
    name: NameOption = None,
    birth_year: BirthYearOption = None,
    sex: SexOption = None,
    stature: StatureOption = None,
    notes: NotesOption = None,
    history: HistoryOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Add a person; nothing is needed but a code."""
    from motioncheck.history import open_history
    from motioncheck.records.history import PersonRecord

    person = PersonRecord(code, **read_fields(name, birth_year, sex, stature, notes))
    with open_history(history) as opened:
        opened.add_person(person)
    typer.echo(f"Added: {code}")


@person_app.command("set")
def change(
    code: CodeArgument,
    name: NameOption = None,
    birth_year: BirthYearOption = None,
    sex: SexOption = None,
    stature: StatureOption = None,
    notes: NotesOption = None,
    history: HistoryOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Change what is known of a person; an empty text ('') takes a fact away."""
    fields = read_fields(name, birth_year, sex, stature, notes)
    if not fields:
        raise UsageError(
            "Expected something to change, found nothing.",
            hint="Give --name, --birth-year, --sex, --stature or --notes.",
        )
    with open_existing(history) as opened:
        opened.set_person(code, **fields)
    typer.echo(f"Changed: {code}")


@person_app.command("list")
def list_people(history: HistoryOption = None, verbose: VerboseOption = False) -> None:
    """List the people of the history and what is known of them."""
    from motioncheck.cli.listing import print_table

    with open_existing(history) as opened:
        people = opened.list_people()
    if not people:
        typer.echo("Nobody yet. Add somebody with `motioncheck person add CODE`.")
        return
    titles = ("code", "name", "born", "sex", "stature", "notes")
    print_table(
        titles,
        ((p.code, p.name, p.birth_year, p.sex, _metres(p.stature_m), p.notes) for p in people),
    )


def open_existing(history: str | None) -> History:
    """Open a history without making one; raises `StoreError` when there is none."""
    from motioncheck.errors import StoreError
    from motioncheck.history import find_place, open_history

    place = find_place(history)
    if not place.exists:
        raise StoreError(
            f"Expected a history at {place.path}, found none.",
            hint="Record a check with --person CODE first, or point to another history.",
        )
    return open_history(history)


def _metres(stature_m: float | None) -> str | None:
    return None if stature_m is None else f"{stature_m:g} m"


def read_fields(
    name: str | None,
    birth_year: str | None,
    sex: str | None,
    stature: str | None,
    notes: str | None,
) -> dict[str, Any]:
    """Return the fields of a person that were given; an empty text stands for not known.

    Raises
    ------
    UsageError
        If a number is none.
    """
    fields: dict[str, Any] = {}
    if name is not None:
        fields["name"] = name
    if notes is not None:
        fields["notes"] = notes
    if sex is not None:
        fields["sex"] = sex or None
    if birth_year is not None:
        fields["birth_year"] = _number(birth_year, int, "--birth-year as a year, such as 1990")
    if stature is not None:
        fields["stature_m"] = _number(stature, float, "--stature in metres, such as 1.74")
    return fields


def _number(text: str, kind: type[int] | type[float], what: str) -> float | None:
    if not text:
        return None
    try:
        return kind(text)
    except ValueError:
        raise UsageError(f"Expected {what}; found {text!r}.") from None
