"""Which addresses may be asked: public ones, and the one place that the user has named.

A document from the network can name any address. Without this, it could make the reader's
computer ask a router, a printer or a program of its own for something.
"""

from __future__ import annotations

import socket
from collections.abc import Callable
from ipaddress import IPv4Address, IPv6Address, IPv6Network, ip_address

import httpx

from simsearch.bring.offered import RefusedError, UnansweredError
from simsearch.bring.plain import web_address

Resolve = Callable[[str, int], list[str]]
_GLOBAL_UNICAST = IPv6Network("2000::/3")
_NAT64 = IPv6Network("64:ff9b::/96")
_MAX_ADDRESSES = 4


def system_resolve(host: str, port: int) -> list[str]:
    """The addresses of ``host`` as the computer's own resolver gives them."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


def is_public(address: str) -> bool:
    """Whether an IP address belongs to the public network; False for what is no address."""
    try:
        parsed = ip_address(address.partition("%")[0])
    except ValueError:
        return False
    if isinstance(parsed, IPv6Address):
        inner = _inner(parsed)
        if inner is not None:
            return is_public(str(inner))
        if parsed not in _GLOBAL_UNICAST:
            return False
    return parsed.is_global and not (parsed.is_multicast or parsed.is_reserved)


def _inner(address: IPv6Address) -> IPv4Address | None:
    """The old-style address that a new-style one stands for, if it does."""
    if address in _NAT64:
        return IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address.sixtofour or (address.teredo or (None, None))[1]


class Guard:
    """Decides about addresses. ``given`` is the address that the user typed.

    When its host is in the local network, that host (and no other there) may be asked.
    """

    def __init__(self, given: str, *, resolve: Resolve = system_resolve) -> None:
        self._resolve = resolve
        self._local_host = ""
        url = self.check(given)
        addresses = self._look_up(url.host, url.port or 443)
        if not all(is_public(address) for address in addresses):
            self._local_host = url.host

    def check(self, url: str) -> httpx.URL:
        """``url`` taken apart; raises ``RefusedError`` unless it is plain http or https."""
        if not web_address(url):
            raise RefusedError(
                f"'{url[:200]}' is not an address that can be asked.",
                hint="It must begin with http:// or https:// and name a host.",
            )
        return httpx.URL(url.strip())

    def addresses(self, host: str, port: int) -> list[str]:
        """Where to connect to for ``host``; raises ``RefusedError`` for a local network.

        The connection goes to what is returned here and nowhere else, so that a name that
        changes its address between two look-ups gains nothing.
        """
        found = self._look_up(host, port)
        if host != self._local_host and not all(is_public(address) for address in found):
            raise RefusedError(
                f"'{host}' is in this computer's own or local network.",
                hint="Only the address that you give yourself may be there.",
            )
        return found[:_MAX_ADDRESSES]

    def _look_up(self, host: str, port: int) -> list[str]:
        try:
            found = self._resolve(host, port)
        except (OSError, UnicodeError, ValueError) as error:
            raise UnansweredError(
                f"There is no address for '{host}'.",
                hint="Check the name and that this computer is on a network.",
            ) from error
        if not found:
            raise UnansweredError(f"There is no address for '{host}'.")
        return found
