"""`handsfree procedures`: work on all procedure files together."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(help="Work on all procedure files together.", no_args_is_help=True)


Target = Annotated[Path | None, typer.Argument(help="A procedure file, or a folder of them.")]
Sarif = Annotated[Path | None, typer.Option("--sarif", help="Also write the result for an editor: SARIF 2.1.0.")]
Card = Annotated[bool, typer.Option("--card", help="One page for the pocket, as PDF.")]


@app.callback()
def together() -> None:
    """Work on all procedure files together."""


@app.command()
def migrate(
    target: Annotated[Path, typer.Argument(help="A procedure file, or a folder of them.")],
    dry: Annotated[bool, typer.Option("--dry", help="Only say what would change.")] = False,
) -> None:
    """Convert older files to today's format. Comments, order and style stay."""
    from handsfree.procedure import commands

    commands.migrate(target, not dry)
