"""A pronouncing dictionary kept as the text it came in. A Python string and tuples for each word would take ten times the
memory."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence

Phonemes = tuple[str, ...]


class Pronouncing(Mapping[str, tuple[Phonemes, ...]]):
    """Word -> its pronunciations. `text`: a line for each, 'word PH PH', 'word(2) PH PH', sorted by word in the order of
    code points. `phonemes`: all there are, so that each is one string however often it occurs."""

    def __init__(self, text: str, phonemes: Phonemes) -> None:
        self._text = text
        self._once = {phoneme: phoneme for phoneme in phonemes}
        self._starts = array("I")  # where the first line of each word starts, and last the end of the text
        at, last = 0, ""
        for line in text.splitlines(keepends=True):
            word = line[: line.index(" ")].split("(")[0]
            if word != last:
                self._starts.append(at)
                last = word
            at += len(line)
        self._starts.append(at)

    def __len__(self) -> int:
        return len(self._starts) - 1

    def word(self, number: int) -> str:
        """The word in this place, counted from 0."""
        at = self._starts[number]
        return self._text[at : self._text.index(" ", at)].split("(")[0]

    def __iter__(self) -> Iterator[str]:
        return map(self.word, range(len(self)))

    def __getitem__(self, word: str) -> tuple[Phonemes, ...]:
        number = bisect_left(range(len(self)), word, key=self.word)
        if number == len(self) or self.word(number) != word:
            raise KeyError(word)
        return tuple(map(self._sounds, self._text[self._starts[number] : self._starts[number + 1]].splitlines()))

    def firsts(self, numbers: Iterable[int]) -> Iterator[list[str]]:
        """The first pronunciation of the word in each of these places."""
        for number in numbers:
            at = self._starts[number]
            yield self._text[at : self._text.index("\n", at)].split()[1:]

    def _sounds(self, line: str) -> Phonemes:
        return tuple([self._once.get(phoneme, phoneme) for phoneme in line.split()[1:]])


class Some(Sequence[str]):
    """Words of a dictionary by their numbers, without keeping a string for each."""

    def __init__(self, whole: Pronouncing, numbers: Sequence[int]) -> None:
        self._whole, self._numbers = whole, array("I", numbers)

    def __len__(self) -> int:
        return len(self._numbers)

    def __getitem__(self, at: int) -> str:  # type: ignore[override]  # nobody slices it
        return self._whole.word(self._numbers[at])
