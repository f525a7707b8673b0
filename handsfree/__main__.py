"""`python -m handsfree`."""

from handsfree.cli import main

main()
