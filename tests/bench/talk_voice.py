"""The jobs of `tests.bench.talk` by voice: a synthetic voice in the noise of a compressor, heard by the real recogniser.

    python -m tests.bench.talk_voice [--jobs wrong-mode,dirty-condenser] [--voice slt] [--snr 10] [--engine whisper] [--json]

What is asked again is said again, slower, then faster, in the words that the program offers; what was misheard goes into
the visit. Voices are those of `audio_fixtures/voices.py`, some of which the hearing was fitted on, and of `unlike_voices`,
none of which was. Beside the figures of
`tests.bench.talk`: `asked_again`, sayings that the program did not act on; `misheard`, accepted with another meaning;
`typed`, given up after SAYINGS sayings and typed, as a person would with a dry hand."""

from __future__ import annotations

import argparse
import itertools
import json
from dataclasses import replace
from typing import Any

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import ListenFor, Utterance
from handsfree.language.meaning import Verdict
from tests.bench import unlike_voices
from tests.bench.__main__ import machine
from tests.bench.talk import ENGLISH, job
from tests.bench.talk_cabinet import JOBS

RATES = (1.0, 0.9, 1.08)
SAYINGS = 4


class Voice:
    """Says words as `voice` at this many dB over the noise, and hears them."""

    def __init__(self, recogniser: Any, voice: str, snr: float) -> None:
        self.recogniser, self.voice, self.snr = recogniser, voice, snr
        self.counts = {"asked_again": 0, "misheard": 0, "typed": 0}
        self.misheard: list[tuple[str, str]] = []
        self.again: list[tuple[str, str]] = []
        self.sayings = 0

    def __call__(self, words: str, again: int, force: ListenFor, now: float) -> Utterance:
        """`again`: how often these words were said here before."""
        from audio_fixtures import voices

        listening = listening_of(force)
        meant = utterance_of(typed(ENGLISH, words, listening, now), typed=True)
        if again >= SAYINGS:
            self.counts["typed"] += 1
            return meant
        self.sayings += 1
        speak = voices.synthesise if self.voice in voices.VOICES else unlike_voices.speak
        speech = voices.padded(speak(words, self.voice, RATES[again % len(RATES)]))
        noise = voices.compressor_noise(len(speech) / voices.RATE + 0.1, seed=self.sayings)[: len(speech)]
        judged = self.recogniser.hear(voices.mix(speech, noise, self.snr), listening)
        timed = replace(judged, started=now, ended=now + len(speech) / voices.RATE)
        heard = utterance_of(self.recogniser.together(timed, listening))  # as an ear has it: sayings add up
        if heard.verdict != Verdict.ACCEPTED:
            self.counts["asked_again"] += 1
            why = heard.reason or f"{heard.sense} {heard.text}"
            self.again.append((words, f"{heard.verdict}, {heard.sure:.2f} sure, heard '{heard.words}', {why}"))
        elif (heard.sense, heard.text, heard.value) != (meant.sense, meant.text, meant.value):
            self.counts["misheard"] += 1
            self.misheard.append((words, f"{heard.sense} {heard.text}"))
        return heard


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", default="wrong-mode,dirty-condenser", help="names, by comma")
    parser.add_argument("--voice", default="slt", help="a voice, or several by comma")
    parser.add_argument("--snr", type=float, default=10.0, help="dB")
    parser.add_argument("--engine", default=None)
    parser.add_argument("--show", action="store_true", help="every line that was said and heard")
    parser.add_argument("--json", action="store_true", help="the last line is one object")
    asked = parser.parse_args()

    from handsfree.settings import load_settings
    from handsfree.speech.recogniser import build_recogniser

    recogniser = build_recogniser(asked.engine, "en", load_settings().models)
    found: dict[str, dict[str, dict[str, Any]]] = {}
    for who, name in itertools.product(asked.voice.split(","), asked.jobs.split(",")):
        assert name in JOBS, f"there is no job {name}: there are {', '.join(JOBS)}"
        voice = Voice(recogniser, who, asked.snr)
        tally = job(name, "usual", voice)
        row = {**tally.row(), "outcome": tally.outcome, **voice.counts}
        found.setdefault(who, {})[name] = row
        print(f"{name}, {who} at {asked.snr:g} dB ({recogniser.name}): {row}", flush=True)
        if asked.show:
            print(*tally.lines, sep="\n")
        for words, heard in voice.again:
            print(f"    asked again: '{words}': {heard}", flush=True)
        for words, instead in voice.misheard:
            print(f"    said '{words}', heard '{instead}'", flush=True)
    if asked.json:
        print(json.dumps({"command": "python -m tests.bench.talk_voice", "machine": machine()} | found))


if __name__ == "__main__":
    main()
