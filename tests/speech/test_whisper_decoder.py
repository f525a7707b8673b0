"""Encoder and decoder written here against CTranslate2's own, on real weights."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from audio_fixtures.voices import padded, synthesise
from handsfree.language.meaning import GateAsked, Listening, Sense, Verdict
from handsfree.speech.recogniser import build_recogniser

ctranslate2 = pytest.importorskip("ctranslate2")


@pytest.fixture(scope="module", params=["tiny.en"])
def parts(request: pytest.FixtureRequest) -> Any:
    from tokenizers import Tokenizer

    from handsfree.speech.neural_decoder import Decoder
    from handsfree.speech.neural_weights import find_weights, model_bytes, read_part

    folder = find_weights(request.param)
    assert folder is not None
    small = {path.name: path.read_bytes() for path in folder.iterdir() if path.suffix in (".json", ".txt")}
    files = {**small, "model.bin": model_bytes(folder)}
    model = ctranslate2.models.Whisper(
        str(folder), device="cpu", compute_type="float32", intra_threads=1, files=files
    )
    weights = read_part(files["model.bin"], "decoder", folder)
    return model, Decoder(weights, int(weights["num_heads"])), Tokenizer.from_file(str(folder / "tokenizer.json"))


def opening(tokenizer: Any, model: Any) -> list[int]:
    names = ["en", "transcribe"] if model.is_multilingual else []
    return [tokenizer.token_to_id(f"<|{name}|>") for name in ("startoftranscript", *names, "notimestamps")]


def encoded(model: Any, text: str) -> Any:
    from handsfree.speech.mel import log_mel

    mel = np.ascontiguousarray(log_mel(synthesise(text, "slt"), 700)[None])
    return model.encode(ctranslate2.StorageView.from_array(mel))


def test_the_encoder_is_that_of_the_library(parts: Any) -> None:
    from handsfree.speech.mel import log_mel
    from handsfree.speech.neural_encoder import encoder
    from handsfree.speech.neural_weights import find_weights, model_bytes, read_part

    folder = find_weights("tiny.en")
    assert folder is not None
    weights = read_part(model_bytes(folder), "encoder", folder)
    ours = encoder(weights, int(weights["num_heads"]))
    for text, frames in (("hot", 200), ("the power is not isolated", 346), ("isolated lock seven three nine", 3000)):
        mel = np.ascontiguousarray(log_mel(synthesise(text, "slt"), frames)[None])
        theirs = np.array(parts[0].encode(ctranslate2.StorageView.from_array(mel)))
        found = ours(mel)
        assert found.shape == theirs.shape == (1, frames // 2, 384)
        assert np.abs(found - theirs).max() < 2e-3


def test_greedy_decode_is_that_of_the_library(parts: Any) -> None:
    model, decoder, tokenizer = parts
    prompt = opening(tokenizer, model)
    features = encoded(model, "the power is not isolated")
    theirs = model.generate(
        features, [prompt], beam_size=1, max_length=40, suppress_tokens=[], suppress_blank=False, return_logits_vocab=True
    )[0]
    sound = decoder.listen(np.array(features)[0], prompt)
    nodes, ahead, ours = np.array([sound.root]), sound.first, []
    for step in range(len(theirs.sequences_ids[0])):
        logits = np.array(theirs.logits[0][step]).ravel()[: decoder.vocabulary].astype(np.float64)
        wanted = logits - logits.max() - np.log(np.exp(logits - logits.max()).sum())
        assert np.abs(wanted - ahead[0])[wanted > -12].max() < 0.02
        token = int(ahead[0].argmax())
        ours.append(token)
        nodes, ahead = sound.extend(nodes, np.array([token]))
    assert ours == list(theirs.sequences_ids[0])


def test_a_branch_scores_the_same_alone_and_among_others(parts: Any) -> None:
    model, decoder, tokenizer = parts
    sound = decoder.listen(np.array(encoded(model, "stand by"))[0], opening(tokenizer, model))
    tokens = np.array([tokenizer.encode(text).ids[-1] for text in (" Stand", " Go", " Next")])
    nodes, together = sound.extend(np.full(3, sound.root), tokens)
    for row, token in enumerate(tokens):
        _, alone = sound.extend(np.array([sound.root]), np.array([token]))
        assert np.abs(alone[0] - together[row]).max() < 1e-3
    assert len(set(nodes.tolist())) == 3


def test_a_narrow_outlet_scores_its_tokens_as_the_wide_one_does_among_themselves(parts: Any) -> None:
    model, decoder, tokenizer = parts
    features, prompt = np.array(encoded(model, "go back"))[0], opening(tokenizer, model)
    usual, besides = np.arange(0, 4000), [4001, 5003, 7]
    outlet = decoder.outlet(usual, besides)
    assert outlet.tokens.tolist() == [*range(4000), 4001, 5003]
    assert outlet.column(np.array([7, 5003, 6000])).tolist() == [7, 4001, -1]
    wide, narrow = decoder.listen(features, prompt).first[0], decoder.listen(features, prompt, outlet).first[0]
    among = wide[outlet.tokens].astype(np.float64)
    assert np.abs(among - np.log(np.exp(among).sum()) - narrow).max() < 1e-3


def test_mel_is_that_of_faster_whisper() -> None:
    extractor = pytest.importorskip("faster_whisper.feature_extractor").FeatureExtractor()
    from handsfree.speech.mel import log_mel

    samples = synthesise("forty three point five", "rms")
    padded = np.zeros(500 * 160, np.float32)
    padded[: len(samples)] = samples[: len(padded)]
    assert np.abs(extractor(padded, padding=160)[:, :500] - log_mel(padded, 500)).max() < 2e-3


def test_a_little_noise_lies_under_every_sound_the_same_each_time() -> None:
    from handsfree.speech.mel import on_floor

    speech = synthesise("stand by", "rms")
    sound = np.concatenate([np.zeros(8000, np.float32), speech, np.zeros(8000, np.float32)])
    before, heard = sound.copy(), on_floor(sound)
    assert np.array_equal(sound, before)
    assert np.array_equal(heard, on_floor(sound))
    loud = np.percentile(np.square(sound[: len(sound) // 160 * 160].reshape(-1, 160)).mean(axis=1), 95)
    assert abs(10 * np.log10(loud / np.square(heard[:8000]).mean()) - 38) < 1.5
    assert np.abs(heard - sound)[8000:-8000].max() < 0.1 * np.abs(speech).max()
    assert np.allclose(on_floor(10 * sound), 10 * heard, rtol=1e-4, atol=1e-5)


def test_nothing_stays_nothing() -> None:
    from handsfree.speech.mel import on_floor

    for nothing in (np.zeros(16_000, np.float32), np.zeros(0, np.float32), np.zeros(100, np.float32)):
        assert np.array_equal(on_floor(nothing), nothing)


def test_a_short_word_and_the_first_30_s_of_a_long_sound_have_a_floor() -> None:
    from handsfree.speech.mel import on_floor

    long = np.tile(synthesise("stand by", "rms"), 60)
    more = on_floor(long) - long
    assert len(more) > 480_000
    assert np.square(more[470_000:480_000]).mean() > 0  # what the model hears at most
    assert not more[480_000:].any()
    lost = np.zeros(128_000, np.float32)
    lost[60_000:64_000] = synthesise("stand by", "rms")[2000:6000]
    assert 1e-10 < np.square(on_floor(lost)[:50_000]).mean() < 1e-3 * np.square(lost[60_000:64_000]).mean()


def test_lock_after_a_moment_of_nothing_is_heard_as_the_phrase() -> None:
    """A pause of digital silence before it, as by a headset that mutes between words. This witness alone writes "block"
    three times of eight since it is only half taught; with the other, whose sounds tell the two apart, each is the phrase,
    and all but one are sure enough."""
    recogniser = build_recogniser("whisper", "en", Path("none"))
    heard = [
        recogniser.hear(
            padded(synthesise(f"isolated, lock {digits}", voice), 0.4, 0.5),
            Listening(gate=GateAsked("isolated", tuple(digits.split()))),
        )
        for voice in ("slt", "slt-low")
        for digits in ("five one five", "six six", "one two", "four six seven nine")
    ]
    assert all(one.meaning is not None and one.meaning.sense is Sense.GATE for one in heard), heard
    assert sum(one.verdict is Verdict.ACCEPTED for one in heard) >= 7, heard


def test_a_long_note_is_parted_where_it_is_quiet() -> None:
    from handsfree.speech.engine import RATE
    from handsfree.speech.whisper import breaths

    sound = np.random.default_rng(2).standard_normal(60 * RATE).astype(np.float32)
    sound[20 * RATE : 21 * RATE] *= 0.01
    pieces = breaths(sound, 24.0)
    assert np.array_equal(np.concatenate(pieces), sound)
    assert 20 * RATE <= len(pieces[0]) <= 21 * RATE
    assert max(len(piece) for piece in pieces) <= 24 * RATE
    assert breaths(sound[: RATE // 20], 24.0) == []


def test_a_long_note_keeps_all_its_sentences() -> None:
    from handsfree.language.base import load
    from handsfree.speech.neural_weights import find_weights
    from handsfree.speech.whisper import Whisper

    folder = find_weights("tiny.en")
    assert folder is not None
    said = ("The door does not close.", "The seal is torn at the top.", "I cleaned the drain and the pan.",
            "The customer wants a new light.", "Come back on Monday with a ladder.", "The key is in the office.")
    sound = np.concatenate([synthesise(sentence, "slt") for sentence in said]).astype(np.float32)
    note = Whisper(load("en"), folder).dictate(sound).lower()
    for word in ("door", "torn", "drain", "customer", "monday", "office"):
        assert word in note, note
