"""Serve the page with the tests' encoder: ``python -m tests.page.serve SET [PORT [PASSWORD]]``."""

from __future__ import annotations

import sys

import simsearch.encode
from simsearch.page.start import start_page
from simsearch.sets.reference_set import open_set
from tests.tiny_set import GridEncoder


def main(folder: str, port: int | None, password: str | None) -> None:
    """Serve until the process is ended; writes the address as the first line."""
    simsearch.encode.load_encoder = lambda name="grid": GridEncoder(name)
    start_page(
        open_set(folder),
        port=port,
        password=password,
        open_browser=False,
        tell=lambda address: print(address, flush=True),
    )


if __name__ == "__main__":
    given = sys.argv[1:]
    port = int(given[1]) if len(given) > 1 else 0
    main(given[0], port or None, given[2] if len(given) > 2 else None)
