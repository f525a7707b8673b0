"""What the benches that print a row at a time have in common: their arguments, and what they write."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble

Row = dict[str, Any]


def arguments(doc: str | None) -> argparse.ArgumentParser:
    """With `--seed`, `--json` and `--out`; the rest is the bench's own."""
    parser = argparse.ArgumentParser(description=doc, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true", help="the last line is one object")
    parser.add_argument("--out", type=Path, help="write the object there")
    return parser


def reported(command: str, asked: argparse.Namespace, rows: Callable[[], Iterator[Row]]) -> int:
    """Prints each row as it is known, writes them as asked, and gives the exit status: 2 with a sentence for what is
    missing."""
    by = []
    try:
        for row in rows():
            by.append(row)
            print(json.dumps(row), flush=True)
    except Trouble as trouble:
        print(trouble, file=sys.stderr)
        return 2
    from tests.bench.__main__ import machine

    give({"command": f"python -m {command}", "machine": machine(), "seed": asked.seed, "by": by}, asked)
    return 0


def give(found: Row, asked: argparse.Namespace) -> None:
    """The object, where it was asked for."""
    if asked.out:
        asked.out.write_text(written(found), encoding="utf-8")
    if asked.json:
        print(json.dumps(found))


def written(found: dict[str, Any]) -> str:
    """The object with a line for each row: a change of the results can be read."""
    head = json.dumps({name: value for name, value in found.items() if name != "by"})
    return head[:-1] + ', "by": [\n ' + ",\n ".join(json.dumps(row) for row in found["by"]) + "\n]}\n"
