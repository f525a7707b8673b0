"""The core that visit and recorder share: a question as one row, a turn, the runner, ear and mouth."""
