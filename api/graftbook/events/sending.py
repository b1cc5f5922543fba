"""One POST to an address that somebody else chose.

Its name is resolved once, every address that comes of it is looked at, and the connection goes to one of
these and to nothing else; so no name can lead into the house's own network. Redirects are not followed, the
answer's body is not read, and all of it takes bounded time.
"""

import asyncio
import socket
import ssl
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from urllib.parse import SplitResult, urlsplit

import h11

from graftbook.problems import InvalidRequest

Network = IPv4Network | IPv6Network
Address = IPv4Address | IPv6Address
SECONDS = 15.0
"""For name, connection and answer together (the specification recommends 15 to 30)."""
MOST_BYTES = 64_000
"""Of an answer's head."""
_TRANSLATED = ip_network("64:ff9b::/96")


class NotSent(Exception):
    """No answer came; says why, in words."""


@dataclass(frozen=True, slots=True)
class Answered:
    """What was answered. `retry_after`: seconds, where it said so."""

    status: int
    retry_after: int = 0


def networks_in(text: str) -> tuple[Network, ...]:
    """Networks apart by commas. Raises ValueError."""
    return tuple(ip_network(part.strip()) for part in text.split(",") if part.strip())


def may_be_sent_to(address: Address, own: Sequence[Network]) -> bool:
    """Whether a webhook may go to an address: a public one, or one of the house's own that were allowed."""
    meant = _meant(address)
    return any(meant in network for network in own) or (meant.is_global and not meant.is_multicast)


def _meant(address: Address) -> Address:
    """The address that one leads to, where IPv4 stands inside IPv6 (RFC 4291, 6052, 3056)."""
    if isinstance(address, IPv4Address):
        return address
    if address in _TRANSLATED:
        return IPv4Address(int(address) & 0xFFFF_FFFF)
    return address.ipv4_mapped or address.sixtofour or address


def require_address(url: str, own: Sequence[Network]) -> None:
    """Raises InvalidRequest for what can be no webhook's address; names are resolved when it is sent."""
    wrong = _wrong_with(url, own)
    if wrong:
        raise InvalidRequest(wrong, pointer="/url")


def _wrong_with(url: str, own: Sequence[Network]) -> str:
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname, parts.port
    except ValueError:
        return "This is no address"
    if not url.isascii() or not url.isprintable() or " " in url:
        return "An address is of ASCII characters without blanks; write others in percent"
    if parts.scheme not in ("https", "http") or not host:
        return "Name an address that begins with https://"
    if parts.username is not None or parts.password is not None:
        return "Leave the password out: what is sent is signed"
    if parts.fragment:
        return "Leave out what stands behind #: it is never sent"
    if parts.scheme == "http" and not own:
        return "Use https: http is taken only inside the networks that GRAFTBOOK_WEBHOOK_NETWORKS names"
    try:
        address = ip_address(host)
    except ValueError:
        return ""
    return "" if may_be_sent_to(address, own) else _refusal(address)


def _refusal(address: Address) -> str:
    return f"{address} is no public address; GRAFTBOOK_WEBHOOK_NETWORKS can allow its network"


async def post(url: str, body: bytes, headers: Mapping[str, str], own: Sequence[Network]) -> Answered:
    """Send JSON. Raises NotSent."""
    try:
        async with asyncio.timeout(SECONDS):
            return await _post(urlsplit(url), body, headers, own)
    except TimeoutError:
        raise NotSent(f"no answer within {SECONDS:.0f} s") from None
    except ssl.SSLCertVerificationError as error:
        raise NotSent(f"its certificate is not to be trusted: {error.verify_message}") from error
    except ssl.SSLError as error:
        raise NotSent("no encrypted connection came about") from error
    except ConnectionRefusedError:
        raise NotSent("the connection was refused") from None
    except (OSError, EOFError) as error:
        raise NotSent("the connection broke off or did not come about") from error
    except h11.ProtocolError as error:
        raise NotSent("what it answered is no HTTP") from error


async def _post(to: SplitResult, body: bytes, headers: Mapping[str, str], own: Sequence[Network]) -> Answered:
    host = to.hostname or ""
    encrypted = to.scheme == "https"
    port = to.port or (443 if encrypted else 80)
    addresses = await _addresses(host, port)
    for address in addresses:
        if not may_be_sent_to(address, own):
            raise NotSent(_refusal(address))
        if not encrypted and not any(_meant(address) in network for network in own):
            raise NotSent("http is taken only inside the networks that GRAFTBOOK_WEBHOOK_NETWORKS names")
    context = _tls_context() if encrypted else None
    reader, writer = await _connect(addresses, port, context, host)
    try:
        return await _answer(reader, writer, to, body, headers)
    finally:
        writer.transport.abort()


async def _addresses(host: str, port: int) -> list[Address]:
    loop = asyncio.get_running_loop()
    try:
        found = await loop.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (socket.gaierror, UnicodeError):
        raise NotSent("its name is not known") from None
    return [
        ip_address(address.partition("%")[0]) for address in dict.fromkeys(str(one[4][0]) for one in found)
    ]


async def _connect(
    addresses: Sequence[Address], port: int, context: ssl.SSLContext | None, host: str
) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """A connection to the first of the addresses that takes one."""
    named = host if context else None
    for address in addresses[:-1]:
        try:
            return await asyncio.open_connection(str(address), port, ssl=context, server_hostname=named)
        except ssl.SSLError:
            raise
        except OSError:
            continue
    return await asyncio.open_connection(str(addresses[-1]), port, ssl=context, server_hostname=named)


@lru_cache
def _tls_context() -> ssl.SSLContext:
    return ssl.create_default_context()


async def _answer(
    reader: asyncio.StreamReader,
    writer: asyncio.StreamWriter,
    to: SplitResult,
    body: bytes,
    headers: Mapping[str, str],
) -> Answered:
    connection = h11.Connection(h11.CLIENT, max_incomplete_event_size=MOST_BYTES)
    target = (to.path or "/") + (f"?{to.query}" if to.query else "")
    sent = {
        "Host": to.netloc,
        "User-Agent": "Graftbook",
        "Content-Type": "application/json",
        "Content-Length": str(len(body)),
        "Connection": "close",
        **headers,
    }
    head = connection.send(h11.Request(method="POST", target=target, headers=list(sent.items())))
    writer.write((head or b"") + (connection.send(h11.Data(data=body)) or b""))
    connection.send(h11.EndOfMessage())
    await writer.drain()
    read = 0
    while True:
        event = connection.next_event()
        if isinstance(event, h11.Response):
            return Answered(event.status_code, _seconds(dict(event.headers).get(b"retry-after", b"")))
        if event is h11.NEED_DATA:
            some = await reader.read(16_384)
            read += len(some)
            if not some or read > MOST_BYTES:
                raise EOFError
            connection.receive_data(some)


def _seconds(retry_after: bytes) -> int:
    return int(retry_after[:9]) if retry_after.isdigit() else 0
