"""A visit as one HTML page: no network, no script, its sound inside it. WCAG 2.2 AA. The screen itself is `screen`."""

from __future__ import annotations

import base64
from importlib.resources import files
from pathlib import Path
from string import Template

from handsfree.journal import screen
from handsfree.journal.account import Account
from handsfree.journal.rows import Row
from handsfree.journal.screen import safe, short
from handsfree.journal.story import story
from handsfree.journal.tongue import say_in, story_in, tongue
from handsfree.language.put_over import PutOver, english


def visit_page(account: Account) -> str:
    code = tongue(account.opened.language)
    say = say_in(code)
    told = story_in(story(account), say)
    template = Template(files("handsfree.journal").joinpath("page.html").read_text(encoding="utf-8"))
    return template.substitute(
        lang=code,
        title=safe(say(f"Visit {account.opened.visit}")),
        skip=safe(say("Skip to what needs a look")),
        steps=safe(say("The story, step by step")),
        heading=safe(told.title),
        css=screen.css(),
        verdict=safe(told.verdict),
        summary=screen.summary(told, account, screen.look_list(told.look, say=say), say),
        story=screen.chapters(told, lambda row: _audio(account.folder, row, say), say),
        foot=foot(account, say=say),
    )


def _audio(folder: Path, row: Row, say: PutOver) -> str:
    if not row.clip:
        return ""
    try:
        data = base64.b64encode((folder / row.clip).read_bytes()).decode()
    except OSError:
        return f'<span class="soft">{safe(say("sound removed"))}</span>'
    label = safe(say(f"Play what was heard at {short(row.at)}: {row.text}")[:120])
    return f'<audio controls preload="none" aria-label="{label}" src="data:audio/flac;base64,{data}"></audio>'


def foot(account: Account, words: str | None = None, say: PutOver = english) -> str:
    """How far the record can be trusted, in sentences. `words`: for its last hash, None to work them out, '' for none."""
    remarks = "".join(f"<p>{safe(say(remark))}</p>" for remark in account.report.remarks[:40])
    opened = account.opened
    words = account.report.words if words is None else words
    head = say(f"Hash of the last event: {account.report.head}{f', in words: {words}' if words else ''}.")
    made = say(f"Visit {opened.visit}, procedure {opened.procedure}; handsfree {opened.program}, heard by {opened.engine}.")
    return f"{remarks}<p>{head}</p><p>{safe(made)}</p>"
