"""The page on a phone: its addresses in the local net, each as a picture that a phone's camera reads."""

import ipaddress
import socket
from collections.abc import Iterator
from contextlib import suppress
from functools import partial
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from configurator.web.guard import Address
from configurator.web.own_certificate import OwnCertificate
from configurator.web.pages import page

if TYPE_CHECKING:
    from segno import QRCode

SOMEWHERE = ("198.51.100.1", 9)
"""An address that nobody has: the way to it, which is only looked up, is the way to the local net."""


def routes(address: Address, token: str | None, own: OwnCertificate | None) -> list[Route]:
    return [
        Route("/phone", partial(_phone, address, token, own)),
        *([Route("/phone/certificate.crt", partial(_certificate, own))] if own else []),
    ]


async def _phone(address: Address, token: str | None, own: OwnCertificate | None, request: Request) -> Response:
    ways = [] if address.is_loopback else [
        (way.origin, Markup(qr_code(entrance(way, token)).svg_inline(scale=5, dark="#000", light="#fff")))
        for way in ways_to(address)
    ]  # fmt: skip
    return page("phone.html", ways=ways, fingerprint=own.fingerprint if own else "")


async def _certificate(own: OwnCertificate, request: Request) -> Response:
    """The public half, for a phone to keep."""
    return FileResponse(own.files.certificate, media_type="application/x-x509-ca-cert")


def ways_to(address: Address) -> list[Address]:
    """Every address by which others reach the page; first the one that most of the net will."""
    try:
        unspecified = ipaddress.ip_address(address.host).is_unspecified
    except ValueError:
        unspecified = False
    if not unspecified:
        return [address]
    found = dict.fromkeys([*_way_out(), *_of_adapters(six=":" in address.host)])
    return [Address(host, address.port, address.secure) for host in found] or [address]


def _way_out() -> Iterator[str]:
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.connect(SOMEWHERE)  # sends nothing
        host = asked.getsockname()[0]
        if not ipaddress.ip_address(host).is_loopback:
            yield host


def _of_adapters(*, six: bool) -> Iterator[str]:
    """Addresses of this machine that another can use; IPv6 behind IPv4, and only where the page listens to it."""
    import ifaddr

    ips = [ip for adapter in ifaddr.get_adapters() for ip in adapter.ips]
    written = [str(ip.ip) for ip in ips if ip.is_IPv4] + [str(ip.ip[0]) for ip in ips if ip.is_IPv6 and six]
    for host in written:
        found = ipaddress.ip_address(host)
        if not (found.is_loopback or found.is_link_local):
            yield host


def entrance(address: Address, token: str | None) -> str:
    """The address that lets a phone in once and for all."""
    return f"{address.origin}/?{urlencode({'token': token})}" if token else f"{address.origin}/"


def qr_code(text: str) -> "QRCode":
    """The text as a picture that a camera reads."""
    import segno

    return segno.make_qr(text, error="l")
