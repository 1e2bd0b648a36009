"""Where a server listens, under which names it answers, and whether that is beyond this machine."""

import ipaddress
import re
import socket
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from analytics.errors import InputError

LOOPBACK = "127.0.0.1"
LOOPBACK_NAMES = ("127.0.0.1", "localhost")
_HOST_NAME = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,251}[A-Za-z0-9])?")


@dataclass(frozen=True)
class Place:
    """Address and port to listen on, further names of this machine, and the files for encryption (None: none)."""

    address: str
    port: int
    host_names: tuple[str, ...] = ()
    certificate: str | None = None
    key: str | None = None

    @property
    def is_loopback(self) -> bool:
        """Whether only this machine can reach the server."""
        return is_loopback(self.address)

    @property
    def url(self) -> str:
        """What to type into a browser."""
        names = [*self.host_names, LOOPBACK if is_everywhere(self.address) else self.address]
        return f"{'https' if self.certificate else 'http'}://{names[0]}:{self.port}"


def check_place(place: Place) -> Place:
    """The place again.

    Raises
    ------
    InputError
        When the address is no address, a name is missing or no host name, a file is missing, or the port is taken.
    """
    _parse(place.address)
    for name in place.host_names:
        if not _HOST_NAME.fullmatch(name):
            raise InputError(
                f"'{name}' is no host name. Write it like bench.workshop.example, without http:// or port."
            )
    if is_everywhere(place.address) and not place.host_names:
        raise InputError(
            f"At {place.address} others reach this machine by a name or a number that only you know. Add it, like "
            "--host-name bench.local or --host-name 192.168.1.20; requests to any other name are refused."
        )
    if (place.certificate is None) != (place.key is None):
        raise InputError("Encryption takes two files. Give both --certificate and --key.")
    for file in filter(None, (place.certificate, place.key)):
        if not Path(file).is_file():
            raise InputError(f"There is no file '{Path(file).name}'. Give the path of a PEM file.")
    _refuse_taken_port(place)
    return place


def served_hosts(place: Place) -> tuple[str, ...]:
    """Names that a request may be addressed to. Any other is refused: a page elsewhere may borrow a name."""
    own = () if is_everywhere(place.address) else (place.address,)
    return tuple(dict.fromkeys((*LOOPBACK_NAMES, *own, *place.host_names)))


def is_loopback(address: str) -> bool:
    """Whether the address can be reached from this machine only."""
    return _parse(address).is_loopback


def is_everywhere(address: str) -> bool:
    """Whether the address means every one that this machine has."""
    return _parse(address).is_unspecified


def _parse(address: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    try:
        return ipaddress.ip_address(LOOPBACK if address == "localhost" else address)
    except ValueError:
        raise InputError(f"'{address}' is no address. Give numbers like 192.168.1.20, or 0.0.0.0 for all.") from None


def _refuse_taken_port(place: Place) -> None:
    family = socket.AF_INET6 if ":" in place.address else socket.AF_INET
    with closing(socket.socket(family, socket.SOCK_STREAM)) as tried:
        tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            tried.bind((place.address, place.port))
        except OSError as error:
            raise InputError(
                f"Port {place.port} of {place.address} cannot be used ({error.strerror}). Try --port {place.port + 1}."
            ) from error
