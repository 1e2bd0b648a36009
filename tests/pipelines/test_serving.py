"""Where a server may listen, and the names that it answers to."""

import socket
from contextlib import closing

import pytest

from analytics.errors import InputError
from pipelines.serving import Place, check_place, is_loopback, served_hosts


# RFC 1122, section 3.2.1.3, and RFC 4291, section 2.5.3: these addresses never leave the machine.
@pytest.mark.parametrize("address", ["127.0.0.1", "127.9.9.9", "::1", "localhost"])
def test_these_addresses_reach_this_machine_only(address: str) -> None:
    assert is_loopback(address)


@pytest.mark.parametrize("address", ["0.0.0.0", "::", "192.168.1.20", "10.0.0.1", "::ffff:192.168.1.20"])
def test_these_addresses_reach_further(address: str) -> None:
    assert not is_loopback(address)


@pytest.mark.parametrize("address", ["", "house", "127.0.0.1; rm", "1.2.3", "http://127.0.0.1"])
def test_what_is_no_address_is_refused(address: str) -> None:
    with pytest.raises(InputError, match="is no address"):
        is_loopback(address)


def test_requests_are_taken_under_known_names_only() -> None:
    assert served_hosts(Place("127.0.0.1", 8872)) == ("127.0.0.1", "localhost")
    place = Place("192.168.1.20", 8872, host_names=("bench.local",))
    assert served_hosts(place) == ("127.0.0.1", "localhost", "192.168.1.20", "bench.local")


@pytest.mark.parametrize(
    ("place", "says"),
    [
        (Place("0.0.0.0", 8872), "Add it, like --host-name"),
        (Place("127.0.0.1", 8872, host_names=("*",)), "is no host name"),
        (Place("127.0.0.1", 8872, host_names=("http://bench",)), "is no host name"),
        (Place("127.0.0.1", 8872, certificate="bench.pem"), "both --certificate and --key"),
        (Place("127.0.0.1", 8872, certificate="none.pem", key="none.key"), "There is no file 'none.pem'"),
        (Place("192.0.2.1", 8872), "cannot be used"),
    ],
)
def test_a_place_that_cannot_be_served_is_refused(place: Place, says: str) -> None:
    with pytest.raises(InputError, match=says):
        check_place(place)


def test_a_taken_port_is_said_before_anything_starts() -> None:
    with closing(socket.socket()) as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match=f"Try --port {port + 1}"):
            check_place(Place("127.0.0.1", port))
