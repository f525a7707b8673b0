"""Every command, from the command line itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from typer.main import get_command

from handsfree.cli import app
from handsfree.handbook.markdown import code, table, text


def reference() -> str:
    return "\n".join(_verbs("handsfree", get_command(app)))


def _verbs(called: str, group: Any) -> Iterator[str]:
    """`group`: of click's, whose classes typer does not type."""
    for name, verb in sorted(group.commands.items()):
        whole = f"{called} {name}"
        yield f"## {whole}\n\n{text(verb.help or '')}\n"
        rows = [(_shown(one), text(getattr(one, "help", "") or "")) for one in verb.params if one.name != "help"]
        if rows:
            yield table(("you give", "what it is"), rows)
        if hasattr(verb, "commands"):
            yield from _verbs(whole, verb)


def _shown(parameter: Any) -> str:
    if parameter.param_type_name == "argument":
        return code(parameter.name.upper() if parameter.required else f"[{parameter.name.upper()}]")
    names = " / ".join((*parameter.opts, *parameter.secondary_opts))
    return code(names if parameter.is_flag else f"{names} {parameter.metavar or parameter.name.upper()}")
