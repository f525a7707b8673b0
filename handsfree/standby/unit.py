"""A unit for systemd's user manager, so that stand-by begins when the person signs in, and again after it broke off.

The keys are those of systemd.unit(5), systemd.service(5) and systemd.exec(5), from memory; a test has systemd's own
`systemd-analyze verify` read it where that is installed.
"""

from __future__ import annotations

from pathlib import Path

NAME = "handsfree-stand-by.service"

_UNIT = """\
[Unit]
Description=Hands-free service procedures: stands by for a visit
Documentation=man:systemd.service(5)
StartLimitIntervalSec=0

[Service]
ExecStart={command}
WorkingDirectory={folder}
{settings}Restart=always
RestartSec=5
KillSignal=SIGINT
TimeoutStopSec=30

[Install]
WantedBy=default.target
"""


def text(command: tuple[str, ...], folder: Path, settings: str = "") -> str:
    """`command`: the program and its words; `folder`: where it runs, for the procedures there; `settings`: the settings file
    that it is to read, '' for the usual one."""
    line = f"Environment={quoted(f'HANDSFREE_SETTINGS={settings}')}\n" if settings else ""
    words, place = " ".join(quoted(word) for word in command), str(folder).replace("%", "%%")
    return _UNIT.format(command=words, folder=place, settings=line)


def quoted(word: str) -> str:
    """As systemd reads a word of a command line: quoted, what it would expand written twice."""
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$").replace("\n", "\\n")
    return f'"{escaped}"'
