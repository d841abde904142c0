"""Starting the page on this machine, and only for this machine unless asked otherwise."""

from __future__ import annotations

import os
import signal
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib.resources import files
from typing import TYPE_CHECKING

from simsearch.errors import SimsearchError
from simsearch.page.intake import MAX_UPLOAD_BYTES

if TYPE_CHECKING:
    import gradio as gr

    from simsearch.sets.reference_set import ReferenceSet

WAITING_MAX = 16
"""Finds that may wait for the encoder; one more is told so instead of hanging."""

_SYSTEM_FONTS = ("system-ui", "Segoe UI", "Roboto", "Helvetica Neue", "Arial", "sans-serif")


@contextmanager
def serving(
    reference: ReferenceSet,
    *,
    host: str = "127.0.0.1",
    port: int | None = None,
    open_browser: bool = False,
) -> Iterator[tuple[gr.Blocks, str]]:
    """Serve the page for as long as the block runs; gives the page and its address.

    Uploads pass through a private folder that is removed at the end.
    Raises ``SimsearchError`` when the port is taken.
    """
    with tempfile.TemporaryDirectory(prefix="simsearch-page-") as folder, _settings(folder):
        from simsearch.page.app import build_page

        page = build_page(reference)
        page.queue(max_size=WAITING_MAX, default_concurrency_limit=1)
        try:
            _, address, _ = _launch(page, host, port, open_browser)
            yield page, address
        finally:
            page.close(verbose=False)


def start_page(
    reference: ReferenceSet,
    *,
    host: str = "127.0.0.1",
    port: int | None = None,
    open_browser: bool = True,
    tell: Callable[[str], None] = print,
) -> None:
    """Serve the page until stopped; ``tell`` is given the address once it answers."""
    with (
        _ended_like_ctrl_c(),
        serving(reference, host=host, port=port, open_browser=open_browser) as (page, address),
    ):
        tell(address)
        page.block_thread()


@contextmanager
def _ended_like_ctrl_c() -> Iterator[None]:
    """Let a polite request to end (SIGTERM) clean up as Ctrl+C does."""
    if threading.current_thread() is not threading.main_thread():
        yield  # only the main thread may say what signals do
        return
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _launch(
    page: gr.Blocks, host: str, port: int | None, open_browser: bool
) -> tuple[object, str, str]:
    from starlette.middleware import Middleware

    from simsearch.page.headers import StayHere

    try:
        return page.launch(
            server_name=host,
            server_port=port,
            inbrowser=open_browser,
            share=False,
            quiet=True,
            prevent_thread_lock=True,
            ssr_mode=False,
            run_history=False,
            footer_links=[],
            allowed_paths=[],
            max_file_size=MAX_UPLOAD_BYTES,
            enable_monitoring=False,
            mcp_server=False,
            pwa=False,
            theme=_theme(),
            css=files("simsearch.page").joinpath("style.css").read_text(encoding="utf-8"),
            app_kwargs={"middleware": [Middleware(StayHere)]},
        )
    except OSError as error:
        where = f"Port {port} of {host}" if port else f"No port of {host}"
        raise SimsearchError(
            f"{where} {'is taken or not allowed' if port else 'is free'}.",
            hint="Choose another with --port, for example --port 8123.",
        ) from error


def _theme() -> gr.Theme:
    import gradio as gr

    # System fonts: nothing to fetch, and letters people are used to reading.
    return gr.themes.Base(
        primary_hue=gr.themes.colors.teal,
        neutral_hue=gr.themes.colors.stone,
        font=list(_SYSTEM_FONTS),
        font_mono=["ui-monospace", "Consolas", "monospace"],
    )


@contextmanager
def _settings(folder: str) -> Iterator[None]:
    """Set what the framework reads from the environment, and put it back afterwards."""
    wanted = {
        "GRADIO_TEMP_DIR": folder,
        "GRADIO_ANALYTICS_ENABLED": "False",
        "GRADIO_SHARE": "False",
        "HF_HUB_OFFLINE": "1",
    }
    before = {name: os.environ.get(name) for name in wanted}
    os.environ.update(wanted)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
