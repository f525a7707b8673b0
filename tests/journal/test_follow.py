"""The record follows from the machine, after any crash too; and what does not follow is found."""

from __future__ import annotations

import dataclasses
import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from handsfree.journal import events as ev
from handsfree.journal.events import AnswerTaken, Gate, ReadingTaken, Say, Stamped, StepEntered, Utterance
from handsfree.journal.follow import _differing, departure, follow
from handsfree.journal.prune import prune_visits
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from tests.journal.made import OPENED, TestClock, read_list
from tests.journal.visited import LINES, LOCK, MACHINE, resume, visit


def test_a_visit_follows_from_the_machine(done: Path) -> None:
    entries = read_list(done)
    assert departure(entries, MACHINE) is None
    states = [step.state for step in follow(entries, MACHINE)]
    again = [step.state for step in follow(entries, MACHINE)]
    assert states == again
    assert states[-1].closed


def _changed(entries: list[Stamped], kind: type, **changes: object) -> tuple[list[Stamped], int]:
    at = next(n for n, entry in enumerate(entries) if isinstance(entry.event, kind) and (kind is not Utterance or n > 30))
    event = dataclasses.replace(entries[at].event, **changes)
    return [*entries[:at], dataclasses.replace(entries[at], event=event), *entries[at + 1 :]], at


@pytest.mark.parametrize(
    ("kind", "changes"),
    [
        (ReadingTaken, {"value": 41.0}),
        (AnswerTaken, {"answer": "cool"}),
        (Gate, {"now": "ISOLATED"}),
        (Say, {"text": "All is well."}),
        (StepEntered, {"step": "clean-condenser"}),
    ],
)
def test_an_effect_that_was_changed_is_found_where_it_stands(done: Path, kind: type, changes: dict[str, object]) -> None:
    entries, at = _changed(read_list(done), kind, **changes)
    found = departure(entries, MACHINE)
    assert found is not None
    assert found.n == at


def test_an_utterance_that_was_changed_is_found_at_what_follows(done: Path) -> None:
    entries, at = _changed(read_list(done), Utterance, text="negative", verdict="accepted", sense="command")
    found = departure(entries, MACHINE)
    assert found is not None
    assert at < found.n < at + 8


def test_effects_left_out_or_put_in_are_found(done: Path) -> None:
    entries = read_list(done)
    at = next(n for n, entry in enumerate(entries) if isinstance(entry.event, Gate))
    assert departure(entries[:at] + entries[at + 1 :], MACHINE) is not None
    assert departure([*entries[:at], entries[at], *entries[at:]], MACHINE) is not None


def test_a_record_with_procedures_that_cannot_be_read_departs_and_does_not_crash() -> None:
    found = departure([Stamped(0, "2026-01-01T00:00:00+00:00", 0.0, OPENED)], MACHINE)
    assert found is not None
    assert found.n == 0


def test_a_visit_interrupted_under_isolation_goes_on_to_its_end(tmp_path: Path) -> None:
    """Stopped at the isolated work; after the resume the number is given and isolation made anew, and the end is reached."""
    stop = LINES.index("say again")
    folder = visit(tmp_path, LINES[:stop])
    rest = [LOCK, "affirm", "affirm", f"isolated lock {LOCK}", "nothing runs", "affirm", "understood", *LINES[stop:]]
    state = resume(folder, rest, at=2500.0)
    assert state.outcome == "done", (state.outcome, state.frames)
    assert departure(read_list(folder), MACHINE) is None
    assert verify(folder).holds


def test_a_clock_that_jumps_is_noted_and_the_order_stays(tmp_path: Path) -> None:
    moved = TestClock()

    def jump(entry: Stamped, state: object) -> None:
        clock = clocks[0]
        if entry.n == 40:
            clock.moved += 3600.0

    clocks = [moved]
    import tests.journal.visited as visited

    original = visited.TestClock
    visited.TestClock = lambda at: clocks[0]  # type: ignore[assignment,misc]  # put back below
    try:
        folder = visit(tmp_path, watch=jump)
    finally:
        visited.TestClock = original  # type: ignore[misc]  # put back below
    entries = read_list(folder)
    assert [type(e.event).__name__ for e in entries].count("ClockMoved") == 1
    assert [e.mono for e in entries] == sorted(e.mono for e in entries)
    report = verify(folder)
    assert report.holds, report
    assert "jumped forward 1 times" in " ".join(report.remarks)
    assert departure(entries, MACHINE) is None


def test_what_is_told_of_a_departure_has_no_number_of_a_lock() -> None:
    from handsfree.journal.events import Say
    from handsfree.journal.follow import _told

    said = _told(Say(7, "Seven three nine? Affirm or negative?", "readback", step="unplug"))
    assert "three" not in said.lower()
    assert "step unplug" in said


def test_where_a_record_parts_from_the_program_it_is_told_in_words_of_the_story(tmp_path: Path) -> None:
    """A supervisor reads it: no names of fields where the story has words, and those only where it tells both alike."""
    wanted = ev.Gate("LIVE", "ISOLATING", "phrase", "the phrase of A. Brandner (invented)", "unplug")
    told = _differing(wanted, ev.Gate("ISOLATING", "LIVE", "restored", "", "plug-in"))
    assert "would write '" in told
    assert "how phrase" not in told
    assert "was LIVE" not in told
    alike = _differing(ev.SetTimer("rest", 60.0), ev.SetTimer("rest", 61.0))
    assert "60" in alike
    assert "61" in alike
    said = _differing(ev.Say(3, "Say: isolated, lock four one seven.", "step"), wanted)
    assert "seven" not in said


def test_a_crash_at_any_event_and_sound_removed_later_is_no_departure(done: Path, tmp_path: Path) -> None:
    """A crash comes between a happening and what it led to; nobody takes the visit up again, and its sound goes in time. It
    was told as a record that does not follow from the program."""
    lines = (done / "journal.jsonl").read_bytes().splitlines(keepends=True)
    late = TestClock(began=TestClock().began + timedelta(days=100))
    for count in range(2, len(lines) - 1, 5):
        folder = tmp_path / str(count) / done.name
        shutil.copytree(done, folder)
        (folder / "journal.jsonl").write_bytes(b"".join(lines[:count]))
        list(prune_visits(folder, timedelta(days=90), now=late.wall(), clock=late))
        assert departure(read_list(folder), MACHINE) is None, count


@pytest.mark.parametrize("mark", [ev.EndOpen(3), ev.TailDropped(1, "a" * 64, "")])
def test_a_mark_of_a_crash_hides_nothing_that_is_missing(done: Path, mark: ev.EndOpen | ev.TailDropped) -> None:
    """Where effects were left out, such a mark passed for a crash, and the visit went on as if nothing were gone."""
    entries = read_list(done)
    lived = [at for at, entry in enumerate(entries) if isinstance(entry.event, ev.HAPPENINGS)]
    for at in [at for at, entry in enumerate(entries) if isinstance(entry.event, Gate | ReadingTaken)]:
        end = next(one for one in lived if one > at)
        marked = [*entries[:at], dataclasses.replace(entries[end], event=mark), *entries[end:]]
        found = departure([dataclasses.replace(entry, n=n) for n, entry in enumerate(marked)], MACHINE)
        assert found is not None, at
        assert found.n == at + 1


def test_a_photo_that_is_attached_after_a_crash_is_no_departure(done: Path, tmp_path: Path) -> None:
    """No machine runs, so nobody is told of it."""
    lines = (done / "journal.jsonl").read_bytes().splitlines(keepends=True)
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(b"photo")
    for count in range(len(lines) // 2, len(lines) - 3, 7):
        folder = tmp_path / str(count) / done.name
        shutil.copytree(done, folder)
        (folder / "journal.jsonl").write_bytes(b"".join(lines[:count]))
        with Journal.resume(folder, clock=TestClock(at=9000.0)) as journal:
            journal.append(ev.Attached("look", *journal.attach(photo)))
            journal.seal()
        assert departure(read_list(folder), MACHINE) is None, count


def test_of_long_events_that_differ_in_a_little_only_that_is_told() -> None:
    """Both were cut off before the place where they differ, and read alike."""
    many = tuple(f"where is part {n}" for n in range(30))
    one, other = (ev.ListenFor(asides=(*many, last)) for last in ("what is the setting", "what is the charge"))
    told = _differing(one, other)
    assert "would write ListenFor (asides ['what is the setting']); the record has" in told
    assert "the record has ListenFor (asides ['what is the charge'])" in told
