"""A PostgreSQL of the tests' own: Debian's, in a temporary folder, on a socket there alone, not as root."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

SETTINGS = ("listen_addresses=''", "fsync=off", "shared_buffers=64MB", "max_connections=120")


def binaries() -> Path | None:
    """Where initdb and pg_ctl are; None where PostgreSQL is not installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    elsewhere = shutil.which("initdb")
    return Path(elsewhere).resolve().parent if elsewhere else None


def _as_user() -> tuple[list[str], str]:
    """PostgreSQL will not run as root: as the user its package made, then."""
    if os.name == "nt" or os.geteuid() != 0:
        return [], pwd.getpwuid(os.geteuid()).pw_name
    user = "postgres" if any(entry.pw_name == "postgres" for entry in pwd.getpwall()) else "nobody"
    return ["setpriv", f"--reuid={user}", f"--regid={pwd.getpwnam(user).pw_gid}", "--clear-groups"], user


@contextmanager
def server(place: Path | None = None, settings: tuple[str, ...] = SETTINGS) -> Iterator[str]:
    """The URL of its database `postgres`, as its superuser; stopped and gone afterwards."""
    found = binaries()
    assert found is not None
    prefix, user = _as_user()
    folder = Path(tempfile.mkdtemp(prefix="hf-pg-", dir=place))  # short: a socket's path has at most 107 bytes
    if prefix:
        shutil.chown(folder, user)
    data = folder / "data"
    environment = {**os.environ, "LC_ALL": "C.UTF-8", "HOME": str(folder)}

    def run(*command: str) -> None:
        done = subprocess.run([*prefix, *command], cwd=folder, env=environment, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr

    run(str(found / "initdb"), "-D", str(data), "-U", "postgres", "--auth=trust", "-E", "UTF8", "--no-sync")
    options = " ".join(f"-c {setting}" for setting in settings)
    control = (str(found / "pg_ctl"), "-D", str(data), "-w", "-t", "60")
    run(*control, "-l", str(folder / "log"), "-o", f"-k {folder} {options}", "start")
    try:
        yield f"postgresql://postgres@/postgres?host={folder}"
    finally:
        run(*control, "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)
