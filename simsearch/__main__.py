"""``python -m simsearch`` does what the ``simsearch`` command does."""

from __future__ import annotations

import sys

from simsearch.cli import main

if __name__ == "__main__":
    sys.exit(main())
