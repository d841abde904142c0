"""Starting the page on this machine, and only for this machine unless asked otherwise.

Where other machines can reach it, a password is needed; see ``simsearch.page.gate``.
"""

from __future__ import annotations

import os
import signal
import tempfile
import threading
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from simsearch.errors import SimsearchError
from simsearch.page.intake import MAX_UPLOAD_BYTES
from simsearch.page.phone import checked_password, is_this_computer, network_address, scan_address

if TYPE_CHECKING:
    import gradio as gr

    from simsearch.page.gate import Door
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
    password: str | None = None,
    register: Path | None = None,
) -> Iterator[tuple[gr.Blocks, str]]:
    """Serve the page for as long as the block runs; gives the page and its address.

    ``register`` is the folder of the finds register, the user's own without.

    With a ``password`` nothing is answered without it. Uploads pass through a private folder that
    is removed at the end. Raises ``SimsearchError`` when the port is taken, and for a host that
    other machines can reach without a good password.
    """
    door = _door(host, password)
    with tempfile.TemporaryDirectory(prefix="simsearch-page-") as folder, _settings(folder, host):
        from simsearch.page.app import build_page

        page = build_page(reference, register=register)
        page.queue(max_size=WAITING_MAX, default_concurrency_limit=1)
        try:
            address = _reachable(_launch(page, host, port, door)[1], host)
            if door is not None:
                door.starting = False
            if open_browser:
                webbrowser.open(scan_address(address, password.strip()) if password else address)
            yield page, address
        finally:
            page.close(verbose=False)


def start_page(
    reference: ReferenceSet,
    *,
    host: str = "127.0.0.1",
    port: int | None = None,
    open_browser: bool = True,
    password: str | None = None,
    register: Path | None = None,
    tell: Callable[[str], None] = print,
) -> None:
    """Serve the page until stopped; ``tell`` is given the address once it answers.

    ``password`` and ``register`` as for ``serving``.
    """
    options: dict[str, Any] = {"open_browser": open_browser, "password": password}
    options["register"] = register
    with (
        _ended_like_ctrl_c(),
        serving(reference, host=host, port=port, **options) as (page, address),
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


def _door(host: str, password: str | None) -> Door | None:
    from simsearch.page.gate import Door

    if password is not None:
        return Door(checked_password(password))
    if is_this_computer(host):
        return None
    raise SimsearchError(
        f"Other computers can reach {host}, so the page needs a password to be served there.",
        hint="Use --phone, which makes one, or give one with --password.",
    )


def _reachable(address: str, host: str) -> str:
    """The address to open from elsewhere, where "every address of this computer" was asked for."""
    if host not in ("0.0.0.0", "::"):
        return address
    return f"http://{network_address()}:{urlsplit(address).port}/"


def _launch(
    page: gr.Blocks, host: str, port: int | None, door: Door | None
) -> tuple[object, str, str]:
    from starlette.middleware import Middleware

    from simsearch.page.gate import Gate
    from simsearch.page.headers import StayHere

    middleware = [Middleware(StayHere)]
    if door is not None:
        middleware.append(Middleware(Gate, door=door))
    try:
        return page.launch(
            server_name=host,
            server_port=port,
            inbrowser=False,  # ours opens it, with the password where there is one
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
            app_kwargs={"middleware": middleware},
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
def _settings(folder: str, host: str) -> Iterator[None]:
    """Set what the framework reads from the environment, and put it back afterwards."""
    # At start the framework calls itself; a proxy of the network has no business with that.
    direct = ",".join(
        filter(None, [os.environ.get("NO_PROXY", ""), "localhost", "127.0.0.1", host])
    )
    wanted = {
        "NO_PROXY": direct,
        "no_proxy": direct,
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
