"""What the start command makes of its options."""

from __future__ import annotations

import argparse

import pytest

from projectsite.core.management.commands import start


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.9.1", "::1", "localhost"])
def test_this_machine_only(host: str) -> None:
    assert start._is_loopback(host)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "", "192.0.2.7", "ledger.example.org"])
def test_other_machines_can_come_in(host: str) -> None:
    assert not start._is_loopback(host)


@pytest.mark.parametrize("text", ["0", "65536", "-1", "http", "", "8000.5", "²"])
def test_what_is_not_a_port_is_refused_in_words(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="is not a port"):
        start._port(text)


@pytest.mark.parametrize(("text", "port"), [("1", 1), ("8000", 8000), ("65535", 65535)])
def test_ports(text: str, port: int) -> None:
    assert start._port(text) == port


def test_names_are_those_of_the_host_and_never_any_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(start, "_outward_addresses", lambda: {"192.0.2.9"})
    assert start._names("192.0.2.7") == ["127.0.0.1", "localhost", "[::1]", "192.0.2.7"]
    assert start._names("2001:db8::7")[-1] == "[2001:db8::7]"
    everywhere = start._names("0.0.0.0")
    assert "*" not in everywhere
    assert {"localhost", "192.0.2.9"} <= set(everywhere)
    assert len(everywhere) == len(set(everywhere))


@pytest.mark.parametrize(
    ("host", "address"),
    [
        ("127.0.0.1", "http://127.0.0.1:8000/"),
        ("0.0.0.0", "http://127.0.0.1:8000/"),
        ("::1", "http://[::1]:8000/"),
        ("ledger.example.org", "http://ledger.example.org:8000/"),
    ],
)
def test_address_to_open(host: str, address: str) -> None:
    made = start.Start(host=host, port=8000, empty=False, with_sample_people=False)
    assert made.address == address
