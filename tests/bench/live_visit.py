"""The demo's visit, whole and with its detours, over a sound device.

    python -m tests.bench.live_visit [--visits 1] [--rough]

On the sound card of software (tests/live/conftest.py), by the technician of tests/live/test_whole_visit.py; about four
minutes a visit. Printed: what happens, then for each visit how it ended, how its isolation went, how much was heard and
accepted, and any acceptance of something that the technician had not just said (to be none).

`--rough`: a short visit in which others talk beside the cabinet, the technician says some things in their own words, and
the sound card is pulled while hands are in the cabinet. It comes back: the isolation must be cleared, and made anew. Counted
too: recordings of words in force that met silence, neither acted on nor answered (to be none).
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--visits", type=int, default=1)
    asked.add_argument("--rough", action="store_true")
    given = asked.parse_args()
    from tests.live import conftest

    server = conftest.started()
    booth = next(server)
    faults = 0
    try:
        with tempfile.TemporaryDirectory() as place:
            for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
                os.environ[name] = place
            for _ in range(given.visits):
                faults += rough(Path(place), booth) if given.rough else one(Path(place))
    finally:
        next(server, None)
    return 1 if faults else 0


def one(place: Path) -> int:
    from handsfree.journal.verify import verify
    from handsfree.resources import shipped_folder
    from handsfree.visit.demo import load_script
    from tests.live.test_whole_visit import FAST, gates_of, heard_in, not_said, visited

    os.environ["HANDSFREE_WORDS_A_MINUTE"] = FAST
    visit = visited(load_script(shipped_folder("audio_fixtures") / "demo"), place)
    wrong, report, silent = not_said(visit), verify(visit.folder), met_silence(visit)
    heard = {verdict: len(heard_in(visit, verdict)) for verdict in ("accepted", "asked again", "not for me")}
    print(f"ended: {visit.state.outcome or 'not'} {visit.gave_up}  gates: {gates_of(visit)}")
    print(f"recordings played: {len(visit.said)}  utterances: {heard}  record holds: {report.holds}")
    print(f"accepted though not said: {wrong}  met silence: {silent}")
    return int(bool(wrong) or bool(silent) or not report.holds or visit.state.outcome != "done")


PULLED = "the sound card is pulled"
SPEAKS = 0.004  # mean square of the demo's recordings while they speak
#: What is said beside the recordings: by whom, and in which words. Of those who talk beside it nothing must be taken.
OWN, OTHERS = "kal16", ("rms", "awb")  # the demo's technician
ROUGH = {
    ("clean-condenser", "step done"): (
        "awb: did you see the match last night", PULLED, "rms: I will get the ladder from the car",
        "kal16: alright, carry on", "next-step.flac",
    ),
    ("unplug", "seen running before"): ("rms: that one never runs", "kal16: yeah, it is", "affirm.flac"),
    ("restore-supply", "restore check"): ("kal16: all done", "next-step.flac"),
}  # fmt: skip


ANSWERED = 2.0  # s


def met_silence(visit: Any) -> list[str]:
    """Recordings that were heard, and to which nothing was said within two seconds of the verdict."""
    from handsfree.journal.events import Say, Utterance
    from handsfree.language.meaning import Verdict
    from tests.live.test_whole_visit import ASIDE

    spoken = [entry.mono for entry in visit.entries if isinstance(entry.event, Say)]
    heard_of = ((entry.mono, entry.event) for entry in visit.entries if isinstance(entry.event, Utterance))
    left = [(mono, heard) for mono, heard in heard_of if heard.verdict == Verdict.NOT_FOR_ME]
    return [
        f"{said.clip}, {heard.words!r}, {heard.reason}" for said in visit.said if said.clip not in ASIDE
        for mono, heard in left
        if said.started < heard.ended and said.ended + 0.5 > heard.started and heard.words
        and not any(mono <= at < mono + ANSWERED for at in spoken)
    ]  # fmt: skip


def rough(place: Path, booth: Any) -> int:
    from dataclasses import replace

    import numpy as np

    from audio_fixtures.voices import active_level, synthesise
    from handsfree.journal.events import Gate, Say, SoundBack, SoundLost
    from handsfree.journal.verify import verify
    from handsfree.language.meaning import Verdict
    from handsfree.resources import shipped_folder
    from handsfree.sound.loudspeaker import Loudspeaker
    from handsfree.sound.prompts import Prompt
    from handsfree.visit.demo import load_script
    from tests.live.conftest import LOUDSPEAKER
    from tests.live.test_whole_visit import SHORT, Technician, heard_in, visited

    os.environ["HANDSFREE_WORDS_A_MINUTE"] = "280"
    by_others: list[tuple[str, float, float]] = []

    class Person(Technician):
        def _say(self, clip: str) -> bool:
            if clip == PULLED:
                booth.remove("booth")
                time.sleep(3.0)
                booth.sink("booth")
                time.sleep(4.0)
                self._out = Loudspeaker(LOUDSPEAKER, self._out._clock, lambda _: None)
                for _ in range(5):
                    self._say(f"{OWN}: go ahead")
                    if (self._heard[-1].verdict, self._heard[-1].text) == (Verdict.ACCEPTED, "go ahead"):
                        break
                return True
            who, _, words = clip.partition(": ")
            if not words:
                return super()._say(clip)
            before = len(self._heard)
            spoken = synthesise(words, who)
            near = SPEAKS if who == OWN else SPEAKS / 2  # others stand farther off
            self._out.play(Prompt(0, "", (spoken * np.sqrt(near / active_level(spoken))).astype(np.float32)))
            self._out.drain(20)
            played = self._out.history()[-1]
            if who in OTHERS:
                by_others.append((words, played.started, played.started + len(played.samples) / 16_000))
            time.sleep(3.0)
            print(f"  [{clip}] -> {[(u.verdict, u.text) for u in self._heard[before:]]}")
            return True

    script = load_script(shipped_folder("audio_fixtures") / "demo")
    short = place / "short.yaml"
    short.write_text(SHORT, encoding="utf-8")
    visit = visited(replace(script, procedure=str(short), says={**script.says, **ROUGH}), place, Person)
    report = verify(visit.folder)
    gates = [(e.event.was, e.event.now, e.event.how) for e in visit.entries if isinstance(e.event, Gate)]
    taken = [
        (words, heard.text) for words, began, ended in by_others for heard in heard_in(visit, "accepted")
        if began < heard.ended and ended + 0.5 > heard.started
    ]  # fmt: skip
    lost = [e.event.what for e in visit.entries if isinstance(e.event, SoundLost)]
    back = [e.event.what for e in visit.entries if isinstance(e.event, SoundBack)]
    cleared = [e.event.text for e in visit.entries if isinstance(e.event, Say) and "Isolation is cleared" in e.event.text]
    print(f"ended: {visit.state.outcome or 'not'} {visit.gave_up}  record holds: {report.holds}")
    print(f"gates: {[(str(was), str(now), str(how)) for was, now, how in gates if was != now]}")
    silent = met_silence(visit)
    print(f"lost: {lost}  back: {back}  told: {cleared}  taken of others: {taken}  met silence: {silent}")
    after = [str(now) for _, now, _ in gates]
    anew = "ISOLATED" in after and "LIVE" in after[after.index("ISOLATED") :] and after.count("ISOLATED") > 1
    whole = report.holds and visit.state.outcome == "done"
    return int(not (whole and lost and back and cleared and anew) or bool(taken or silent))


if __name__ == "__main__":
    sys.exit(main())
