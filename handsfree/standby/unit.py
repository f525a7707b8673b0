"""A unit for systemd's user manager: starts stand-by when the person signs in, and restarts it after it broke off.

The keys are those of systemd.unit(5), systemd.service(5) and systemd.exec(5), from memory. A test runs systemd's own
`systemd-analyze verify` on the unit where that is installed.
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


def unit_file(command: tuple[str, ...], folder: Path, settings: str = "") -> str:
    """`command`: the program and its arguments. `folder`: where it runs, for the procedures there. `settings`: the settings
    file to read, '' for the usual one."""
    line = f"Environment={quoted(f'HANDSFREE_SETTINGS={settings}')}\n" if settings else ""
    words, place = " ".join(quoted(word) for word in command), str(folder).replace("%", "%%")
    return _UNIT.format(command=words, folder=place, settings=line)


def quoted(word: str) -> str:
    """A word in the form that systemd reads in a command line: quoted, with the signs that it would expand doubled."""
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$").replace("\n", "\\n")
    return f'"{escaped}"'
