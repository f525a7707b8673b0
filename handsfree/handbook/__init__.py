"""The handbook: a tutorial for each of the three people, and references made from the program's own tables.

`python -m handsfree.handbook OUT` builds it as web pages. It is built in CI and is no part of what is installed.
"""
