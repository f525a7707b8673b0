"""How few utterances a procedure takes to record, and how rightly: `python -m tests.bench.recording [--voices A,B]`.

Nine steps of an invented coffee grinder, a step a breath, by synthetic voices through the recogniser and dictation that a
writer has. Nothing is fitted on these sentences. The last line with --json is one object: `utterances` (the most of any
voice), `words` (kept), `word_errors` (wrong words of the kept text as a share) and `undoubted` (answers, numbers and units
that are wrong and carry no doubt). This writer leaves every word that is asked about as it is; with `--settle` she says
which it is where hers is among those offered; with `--spell` she also spells a word that is asked about and not offered,
and mends a wrong word that she hears read back. `--words`: beforehand she typed the words that everyday language lacks, as
`handsfree record --words` takes them. `--out` keeps it all as data. `--language es` records the same steps in Spanish, by
voices of eSpeak NG and mbrola (Debian's es1 and es2), heard by free words alone. `--typed` gives the same by the keyboard:
what the words themselves need, without any hearing."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from audio_fixtures import voices as made
from handsfree.authoring.draft import Draft
from handsfree.authoring.words import load_words
from handsfree.language.tokens import tokens
from tests.authoring.scenes import Told, Voice, typed
from tests.bench.__main__ import machine
from tests.bench.dictated_people import differing


@dataclass(frozen=True)
class Script:
    """`steps`: (what is said, what is kept of it). `fields`: what has to be right, as (step, field, value). `answers`: to
    what the recorder asks besides; `enough` to anything else."""

    title: str
    steps: tuple[tuple[str, str], ...]
    fields: tuple[tuple[int, str, Any], ...]
    answers: dict[str, str]
    finish: str
    enough: str
    voices: str


ENGLISH = Script(
    "Seal of the grinder",
    (
        ("Warning. The burrs cut. Hazards are blades and mains.", "The burrs cut."),
        ("Look under the grinder. Is the seal torn, whole or missing? If it is whole, end.",
         "Look under the grinder. Is the seal torn, whole or missing?"),
        ("Isolate the plug. Switch off the grinder. Pull the plug by its body. Put your lock on the plug.",
         "Isolate the plug."),
        ("Prove it dead by the switch. Switch on the grinder. Watch the burrs.", "Switch on the grinder. Watch the burrs."),
        ("Take the upper burr out. Hazard blades.", "Take the upper burr out."),
        ("Give the width of the groove in millimetres, between one and twelve. Hazard blades.",
         "Give the width of the groove in millimetres."),
        ("Press the new seal into the groove. Hazard blades.", "Press the new seal into the groove."),
        ("Restore the supply. Put the hopper on. Look that no tool is left. Then put the plug in.", "Restore the supply."),
        ("The end, done. The seal is changed.", "The seal is changed."),
    ),
    ((1, "answers", ["torn", "whole", "missing"]), (5, "unit", "millimeter"), (5, "plausible", [1.0, 12.0])),
    {"settle": "leave it as it is", "open-end": "step nine", "finish": "finish", "kind": "an instruction",
     "plausible_low": "one", "plausible_high": "twelve", "unit": "millimetres", "outcome": "all done",
     "method": "by the switch", "answers": "torn;whole;missing;that is all", "level": "warning"},
    "finish the procedure", "that is all", "slt,rms,awb",
)  # fmt: skip
SPANISH = Script(
    "Junta del molino",
    (
        ("Advertencia. Las muelas cortan. Los peligros son cuchillas y la red.", "Las muelas cortan."),
        ("Mire debajo del molino. ¿Está la junta rota, entera o ausente? Si está entera, fin.",
         "Mire debajo del molino. ¿Está la junta rota, entera o ausente?"),
        ("Aísle la clavija. Apague el molino. Saque la clavija por su cuerpo. Ponga su candado en la clavija.",
         "Aísle la clavija."),
        ("Compruebe la ausencia de tensión con el interruptor. Encienda el molino. Mire las muelas.",
         "Encienda el molino. Mire las muelas."),
        ("Saque la muela superior. Riesgo cuchillas.", "Saque la muela superior."),
        ("Dé la anchura de la ranura en milímetros, entre uno y doce. Riesgo cuchillas.",
         "Dé la anchura de la ranura en milímetros."),
        ("Apriete la junta nueva en la ranura. Riesgo cuchillas.", "Apriete la junta nueva en la ranura."),
        ("Restablezca la alimentación. Ponga la tolva. Mire que no quede ninguna herramienta. Luego ponga la clavija.",
         "Restablezca la alimentación."),
        ("El fin, todo hecho. La junta está cambiada.", "La junta está cambiada."),
    ),
    ((1, "answers", ["rota", "entera", "ausente"]), (5, "unit", "millimeter"), (5, "plausible", [1.0, 12.0])),
    {"settle": "dejar así", "open-end": "paso nueve", "finish": "terminar", "kind": "una instrucción",
     "plausible_low": "uno", "plausible_high": "doce", "unit": "milímetros", "outcome": "todo hecho",
     "method": "con el interruptor", "answers": "rota;entera;ausente;eso es todo", "level": "advertencia"},
    "terminar", "eso es todo", "mb-es1,mb-es2,es",
)  # fmt: skip
SCRIPTS = {"en": ENGLISH, "es": SPANISH}
MOST = 120


@dataclass(frozen=True)
class Result:
    utterances: int
    words: int
    word_errors: float
    undoubted: int
    steps: int
    finished: bool


def judged(script: Script, draft: Draft, utterances: int, finished: bool) -> Result:
    from rapidfuzz.distance import Levenshtein

    wrong = words = undoubted = 0
    for step, (_, wanted) in zip(draft.steps, script.steps, strict=False):
        own, right = tokens(step.text), tokens(wanted)
        wrong, words = wrong + Levenshtein.distance(own, right), words + len(right)
    for at, name, value in script.fields:
        if at < len(draft.steps):
            given = draft.steps[at].facets.get(name)
            plain = [one["say"] for one in given] if name == "answers" and given else given
            undoubted += plain != value and not draft.steps[at].doubts
    return Result(utterances, words, wrong / max(words, 1), undoubted, len(draft.steps), finished)


def spelled(word: str) -> str:
    words = load_words("en")
    return ", ".join(words.name_of("letter", letter).capitalize() for letter in word) + "."


def unlike(own: str, right: str) -> list[tuple[str, str]]:
    """(what stands there, the word meant): a word or two in the place of one, or the word behind which one was lost."""
    a, b = tokens(own), tokens(right)
    pairs: list[tuple[str, str]] = []
    for first, last, begin, end in differing(a, b):
        if last - first == end - begin:
            pairs += zip(a[first:last], b[begin:end], strict=True)
        elif (last - first, end - begin) == (2, 1):
            pairs.append((" ".join(a[first:last]), b[begin]))
        elif (last - first, end - begin) == (0, 1) and first:
            pairs.append((f"after {a[first - 1]}", b[begin]))
    return [(part, meant) for part, meant in pairs if meant.isalpha() and len(meant) > 1]


class Writer(Voice):
    """Says the next step wherever one is in place, answers what is asked, and says again what was not understood."""

    script = ENGLISH
    spells = False

    def __post_init__(self) -> None:
        super().__post_init__()
        self._mended: list[tuple[int, str]] = []
        self._part = ""

    def settle(self, heard: str, said: str, doubts: Any) -> str:
        """A word that is not offered she spells."""
        word = " ".join(tokens(doubts[0].word))
        meant = dict(unlike(heard, said)).get(word, "")
        if self.spells and meant and meant not in {" ".join(tokens(one)) for one in doubts[0].others}:
            self._left["settle-word"], self._part = [spelled(meant)], ""
            return "another word"
        return super().settle(heard, said, doubts)

    def _mend(self, state: Any) -> None:
        """What she says first, of a word that is wrong in what is read back."""
        if state.at == "review" and not state.tries:
            uid, steps = state.step.uid, state.draft.steps
            number = next((at for at, one in enumerate(steps) if one.uid == uid), len(steps))
            wanted = self.script.steps[number][1] if number < len(self.script.steps) else ""
            answers = next((value for at, name, value in self.script.fields if (at, name) == (number, "answers")), ())
            own = [one["say"] for one in state.step.facets.get("answers", ())]
            wrong = unlike(state.step.text, wanted) if wanted else []
            if len(own) == len(answers):
                wrong += [pair for one, meant in zip(own, answers, strict=True) for pair in unlike(one, meant)]
            for word, meant in wrong:
                if self._mended.count((uid, word)) < 2:
                    self._mended.append((uid, word))
                    self._part = word.removeprefix("after ")
                    self._left.update({"mend-which": [word] * 3, "settle-word": [spelled(meant)]})
                    self._left["step"] = ["mend a word", *self._left["step"]]
                    return

    def next(self, timeout: float | None) -> Any:
        at = self.recorder.state.at
        if at not in ("idle", "review", "title") and not self._left.get(at):
            self._left[at] = [*self.script.answers.get(at, self.script.enough).split(";")]
        named = " ".join(tokens(self.recorder.state.doubts[0].word)) if at == "settle-word" else ""
        if named and self._part and named != self._part and not self.recorder.state.tries:
            self._left[at].insert(0, "correction")  # it took another word of the step
        if at in ("idle", "review"):
            if not self._left["step"]:
                self._left["step"] = [self.script.finish]
            if self.spells:
                self._mend(self.recorder.state)
            self._left[at] = [self._left["step"].pop(0)] if not self.recorder.state.tries else self._left.get(at, [])
        return super().next(timeout)


def by_keyboard(folder: Path, code: str) -> Result:
    script = SCRIPTS[code]
    answers = script.answers
    lines = [script.title, *(said for said, _ in script.steps), answers["finish"], answers["open-end"], answers["finish"]]
    told = typed(lines, folder, "seal-of-grinder", code)
    return judged(script, told.state.draft, len(lines), told.state.outcome == "finished")


#: Everyday words by how often they are used; what is not among so many of them a writer of a trade would type.
COMMON = 3000


def words_of_the_trade(script: Script) -> str:
    """The words of the script that everyday language lacks, by PocketSphinx's own model of it."""
    from handsfree.authoring.trade_ear import everyday

    usual = everyday()
    common = set(sorted(usual, key=lambda word: -usual[word])[:COMMON])
    said = tokens(" ".join((script.title, *(step for step, _ in script.steps))))
    return ", ".join(dict.fromkeys(word for word in said if word.isalpha() and word not in common))


def by_voice(
    voices: Sequence[str], folder: Path, engine: str, code: str, settles: bool = False, words: str = "",
    spells: bool = False
) -> tuple[Result, Writer]:
    from handsfree.authoring.free_words import recogniser as recogniser_of
    from handsfree.authoring.hearing import WriterHearer
    from handsfree.authoring.keeping import open_recording
    from handsfree.authoring.live import dictation_for
    from handsfree.authoring.recorder import Recorder
    from handsfree.dialogue.keyboard import WrittenMouth
    from handsfree.settings import load_settings

    script, models = SCRIPTS[code], load_settings().models
    for voice in voices:  # any that eSpeak NG knows, besides the corpus's own
        made.VOICES.setdefault(voice, made.Voice("espeak-ng", voice))
    recording = open_recording("seal-of-grinder", folder, code, "Resi Kofler", engine or "best")
    recogniser = recogniser_of(engine or None, code, models)
    hearer = WriterHearer(recogniser, dictation_for(recogniser, code, models, words), recording.journal, code)
    lines = {"title": [script.title], "step": [said for said, _ in script.steps]}
    writer = Writer(hearer, lines, voices, MOST)
    writer.script, writer.settles, writer.spells = script, settles or spells, spells
    writer.recorder = Recorder(recording, writer, WrittenMouth(lambda words, role: None))
    hearer.before, hearer.spelled = lambda: writer.recorder.state.draft.said, lambda: writer.recorder.state.spelled
    told = Told(recording, writer.recorder.run(), [])
    return judged(script, told.state.draft, len(writer.spoken), told.state.outcome == "finished"), writer


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--voices", default="")
    parser.add_argument("--language", default="en", choices=sorted(SCRIPTS))
    parser.add_argument("--engine", default="")
    parser.add_argument("--settle", action="store_true")
    parser.add_argument("--spell", action="store_true")
    parser.add_argument("--words", action="store_true")
    parser.add_argument("--out", type=Path)
    parser.add_argument("--typed", action="store_true")
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    results, rows = [], []
    words = words_of_the_trade(SCRIPTS[asked.language]) if asked.words else ""
    for voice in ["typed"] if asked.typed else (asked.voices or SCRIPTS[asked.language].voices).split(","):
        with tempfile.TemporaryDirectory() as place:
            if asked.typed:
                result = by_keyboard(Path(place), asked.language)
            else:
                result, writer = by_voice(
                    [voice], Path(place), asked.engine, asked.language, asked.settle, words, asked.spell
                )
                for at, said, event in writer.spoken if asked.show else ():
                    print(f"  {at:12} {said[:60]:60} -> {event.verdict}: {event.text[:80]}")
        results.append(result)
        rows.append({"voice": voice, **asdict(result)})
        print(f"{voice}: {asdict(result)}", flush=True)
    total = sum(one.words for one in results)
    errors = sum(one.word_errors * one.words for one in results) / max(total, 1)
    whole = {"utterances": max(one.utterances for one in results), "words": total, "word_errors": round(errors, 4),
             "undoubted": sum(one.undoubted for one in results)}  # fmt: skip
    if asked.out is not None:
        given = " ".join(sys.argv[1:]).replace(f" --out {asked.out}", "").replace(f"--out {asked.out}", "")
        told = {"command": f"python -m tests.bench.recording {given}".strip(), "machine": machine(), "words_typed": words,
                **whole, "by": rows}  # fmt: skip
        before = json.loads(asked.out.read_text(encoding="utf-8")) if asked.out.is_file() else []
        kept = [one for one in before if one["command"] != told["command"]]
        asked.out.write_text("[\n" + ",\n".join(json.dumps(one) for one in (*kept, told)) + "\n]\n", encoding="utf-8")
    if asked.json:
        print(json.dumps(whole))


if __name__ == "__main__":
    main()
