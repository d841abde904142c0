"""Serving the page: the command ``page``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from simsearch.commands.common import SetOption, open_set_folder, say


def page(
    set_folder: SetOption = None,
    host: Annotated[
        str, typer.Option(help="Address to serve on; only this computer without a change.")
    ] = "127.0.0.1",
    port: Annotated[
        int | None, typer.Option(min=1, max=65535, help="Port; the first free one without this.")
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Do not open a browser.")
    ] = False,
    phone: Annotated[
        bool,
        typer.Option("--phone", help="Let a phone on the same network in, with a password."),
    ] = False,
    password: Annotated[
        str | None,
        typer.Option(
            envvar="SIMSEARCH_PASSWORD",
            show_envvar=True,
            help="Password to open the page with; --phone makes one without this.",
        ),
    ] = None,
    register: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="Folder of the finds register; without this 'simsearch/register' in your data "
            "folder.",
        ),
    ] = None,
) -> None:
    """Start the page and print the address to open.

    Without --phone only this computer can open it. What goes over the network is not encrypted.
    """
    from simsearch.page import phone as reach
    from simsearch.page.start import start_page

    reference = open_set_folder(set_folder)
    if reference.photos:  # a set that was just made is opened to add the first one
        reference.encoder()  # a missing index or encoder is told now, not at the first find
    if phone:
        host = reach.network_address() if reach.is_this_computer(host) else host
        password = password or reach.new_password()

    def tell(address: str) -> None:
        say(f"Open {address} in a browser. Stop with Ctrl+C.")
        if password:
            say(f"The password is: {password.strip()}")
        if phone and password:
            say("On a phone in the same network, open that address or scan this code:")
            say(reach.scan_code(address, password.strip()))
        if not reach.is_this_computer(host):
            say("Anyone on the network who has the password can open the page too.")
            say(reach.NOT_ENCRYPTED)

    options: dict[str, Any] = {"open_browser": not no_browser, "password": password, "tell": tell}
    options["register"] = register
    start_page(reference, host=host, port=port, **options)
