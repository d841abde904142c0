"""Reaching the page from a phone: this computer's address, a password, a code to scan."""

from __future__ import annotations

import io
import ipaddress
import secrets
import socket
from contextlib import suppress
from urllib.parse import quote

from simsearch.errors import SimsearchError

SHORTEST_PASSWORD = 8
NOT_ENCRYPTED = (
    "What goes between the phone and this computer is not encrypted, the password included: "
    "use a network whose other users you trust, such as the one at home."
)
# Letters that are told apart at a glance on a small screen.
_LETTERS = "abcdefghjkmnpqrstuvwxyz"
# Of a range kept for documentation (RFC 5737): asking for the way there sends nothing.
_NOWHERE = ("192.0.2.1", 9)


def is_this_computer(host: str) -> bool:
    """Whether an address to serve on can be reached from this computer only."""
    if host.casefold() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def network_address() -> str:
    """This computer's own address in the local network, such as 192.168.1.20.

    Raises ``SimsearchError`` when it is in no network.
    """
    for address in _own_addresses():
        if not is_this_computer(address) and address != "0.0.0.0":
            return address
    raise SimsearchError(
        "This computer is in no network, so a phone cannot reach it.",
        hint="Join the network that the phone is in, then start the page again.",
    )


def _own_addresses() -> list[str]:
    found = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.connect(_NOWHERE)
        found.append(str(asking.getsockname()[0]))
    # Where no way leads out of the local network, its addresses still have names.
    with suppress(OSError):
        found.extend(socket.gethostbyname_ex(socket.gethostname())[2])
    return found


def new_password() -> str:
    """A password to type on a phone: twelve letters in groups of four, some 54 bits."""
    groups = ("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(3))
    return "-".join(groups)


def checked_password(password: str) -> str:
    """The password without spaces around it. Raises ``SimsearchError`` when it is too short."""
    cleaned = password.strip()
    if len(cleaned) < SHORTEST_PASSWORD or not cleaned.isprintable():
        raise SimsearchError(
            f"The password needs at least {SHORTEST_PASSWORD} letters, figures or signs.",
            hint="Give a longer one, or none to have one made.",
        )
    return cleaned


def scan_address(address: str, password: str) -> str:
    """The address with the password behind it.

    It stands behind a ``#``, which browsers keep to themselves: it is in no request and no log.
    """
    return f"{address}#{quote(password, safe='')}"


def scan_code(address: str, password: str) -> str:
    """A QR code (ISO/IEC 18004) of ``scan_address`` in half blocks, light on a dark terminal."""
    import segno

    drawn = io.StringIO()
    code = segno.make(scan_address(address, password), micro=False)
    code.terminal(out=drawn, compact=True, border=2)
    return drawn.getvalue().rstrip("\n")
