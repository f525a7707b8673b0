"""`python -m handsfree.handbook OUT`: the handbook as web pages in the folder OUT."""

from __future__ import annotations

import sys
from pathlib import Path

from handsfree.errors import Trouble


def main(arguments: list[str]) -> int:
    if len(arguments) != 1 or arguments[0].startswith("-"):
        print("handsfree: Give one folder to write the handbook to: python -m handsfree.handbook OUT", file=sys.stderr)
        return 2
    try:
        from handsfree.handbook.build import build_handbook

        build_handbook(Path(arguments[0]))
    except ImportError as error:
        print(f"handsfree: The handbook needs {error.name}; install it with: pip install 'handsfree[docs]'", file=sys.stderr)
        return 2
    except Trouble as trouble:
        print(f"handsfree: {trouble.sentence}", file=sys.stderr)
        return trouble.status
    print(f"Written: {Path(arguments[0]) / 'index.html'}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
