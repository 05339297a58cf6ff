"""Tables in the terminal, safe for whatever text people typed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

WIDE = 500


def printable(text: object) -> str:
    """Return a text without the characters that move the cursor or change what is on the screen."""
    return "".join(c if c.isprintable() else " " for c in str(text))


def print_table(titles: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Print rows under titles; None is left empty, nothing in a cell is taken as markup."""
    table = Table(box=None, pad_edge=False)
    for title in titles:
        table.add_column(title, overflow="fold")
    for row in rows:
        table.add_row(*(Text("" if cell is None else printable(cell)) for cell in row))
    print_fitting(table)


def print_fitting(table: Table) -> None:
    """Print a table as wide as the terminal; in a file or a pipe nothing has to fit."""
    console = Console(highlight=False)
    if not console.is_terminal:
        # A broken day or name is of no use to the program that reads it.
        console.width = WIDE
    console.print(table)
