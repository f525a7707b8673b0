"""One core of every dialogue, the visit's and the recorder's: a question as one row, a turn, the runner, ear and mouth."""
