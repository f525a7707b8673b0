"""All that isolation depends on: sources, the rules of their states, locks and their owners.

The trusted core. From the program it imports only `language.meaning` and `journal.events` (plain data). The proof of a
procedure's graph and the running visit both use `rules`, and only `interlock` can make a source ISOLATED.
"""
