"""The one error a person is meant to see."""


class Trouble(Exception):
    """One sentence that says what is wrong and what to do. The command line prints it and exits with `status`."""

    def __init__(self, sentence: str, status: int = 2) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.status = status


class Unkept(Trouble):
    """What should be in the record could not be written."""


def shown_plainly(sentence: str) -> str:
    """Without what steers a terminal: a record, a procedure or a file's name may be quoted in it."""
    return "".join(c if c.isprintable() or c == "\n" else "\ufffd" for c in sentence)
