"""The demo's visit, whole and with its detours, over a sound device: `python -m tests.bench.live_visit [--visits 1]`.

On the sound card of software (tests/live/conftest.py), by the technician of tests/live/test_whole_visit.py; about four
minutes a visit. Printed: what happens, then for each visit how it ended, how its isolation went, how much was heard and
accepted, and any acceptance of something that the technician had not just said (to be none).
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--visits", type=int, default=1)
    given = asked.parse_args()
    from tests.live import conftest

    server = conftest.started()
    next(server)
    faults = 0
    try:
        with tempfile.TemporaryDirectory() as place:
            for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
                os.environ[name] = place
            for _ in range(given.visits):
                faults += one(Path(place))
    finally:
        next(server, None)
    return 1 if faults else 0


def one(place: Path) -> int:
    from handsfree.journal.verify import verify
    from handsfree.resources import folder
    from handsfree.visit.demo import load_script
    from tests.live.test_whole_visit import FAST, gates_of, heard_in, not_said, visited

    os.environ["HANDSFREE_WORDS_A_MINUTE"] = FAST
    visit = visited(load_script(folder("audio_fixtures") / "demo"), place)
    wrong, report = not_said(visit), verify(visit.folder)
    heard = {verdict: len(heard_in(visit, verdict)) for verdict in ("accepted", "asked again", "not for me")}
    print(f"ended: {visit.state.outcome or 'not'} {visit.gave_up}  gates: {gates_of(visit)}")
    print(f"recordings played: {len(visit.said)}  utterances: {heard}  record holds: {report.holds}")
    print(f"accepted though not said: {wrong}")
    return int(bool(wrong) or not report.holds or visit.state.outcome != "done")


if __name__ == "__main__":
    sys.exit(main())
