"""What isolation hangs on, and nothing else: sources, the rules of their states, locks and their owners.

The trusted core. It imports nothing of the program but `language.meaning` and `journal.events` (plain data); the proof of a
procedure's graph and the running visit both decide by `rules`, and only `interlock` can make a source ISOLATED.
"""
