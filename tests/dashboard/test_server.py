"""The server listens on this laptop alone, with its guards on and its questions off."""

from __future__ import annotations

import socket
from http.client import HTTPConnection

import pytest

from flightlog.cli.app import main
from flightlog.dashboard import server, setup
from flightlog.errors import UsageError
from tests.browser.serving import served
from tests.operations.made import MORNING


def upgrade(port: int, host: str, origin: str) -> int:
    """Ask for the page's socket as a browser would, and give the answer's status."""
    connection = HTTPConnection("127.0.0.1", port, timeout=10)
    headers = {
        "Host": host,
        "Origin": origin,
        "Connection": "Upgrade",
        "Upgrade": "websocket",
        "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
    }
    connection.request("GET", "/_stcore/stream", headers=headers)
    try:
        return connection.getresponse().status
    finally:
        connection.close()


def test_only_pages_of_this_laptop_may_speak_to_the_server(tmp_path):
    with served(tmp_path, MORNING) as address:
        port = int(address.rpartition(":")[2])
        own = f"127.0.0.1:{port}"

        assert 101 == upgrade(port, own, address)
        assert 403 == upgrade(port, own, "http://elsewhere.example")
        assert 403 == upgrade(port, "elsewhere.example", "http://elsewhere.example")


def test_nothing_is_asked_nothing_is_told_and_nothing_is_served_beyond_this_laptop():
    chosen = server.options(8017)

    assert "127.0.0.1" == chosen["server_address"]
    assert chosen["server_enableXsrfProtection"]
    assert chosen["server_enableCORS"]
    assert not chosen["browser_gatherUsageStats"]
    assert not chosen["server_showEmailPrompt"]
    assert not chosen["client_showErrorLinks"]
    assert 500 == chosen["server_maxUploadSize"]


def test_a_port_that_is_taken_is_passed_over(monkeypatch):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
        monkeypatch.setattr(server, "PORTS", range(port, port + 1))

        with pytest.raises(UsageError, match="all in use"):
            server.free_port()
    assert port == server.free_port()


def test_a_named_port_that_is_taken_ends_with_usage(capsys):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]

        assert 2 == main(["open", "--port", str(port), "--no-browser"])
    assert "in use" in capsys.readouterr().err


@pytest.fixture
def opened(monkeypatch):
    """What ``flightlog open`` would serve, without serving it."""
    calls = []
    monkeypatch.setattr(server, "serve", lambda *given: calls.append(given))
    return calls


def test_open_serves_the_folder_that_is_meant(farm_screen, opened, tmp_path):
    assert 0 == main(["open", "--team", str(farm_screen.team), "--keys", str(tmp_path)])

    ((given, port, _),) = opened
    assert isinstance(given, setup.Setup)
    assert (farm_screen.team, (tmp_path,)) == (given.team, given.keys)
    assert port in server.PORTS


def test_open_without_a_team_folder_serves_pages_that_say_how_to_make_one(
    opened, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("FLIGHTLOG_TEAM", raising=False)

    assert 0 == main(["open"])
    assert opened[0][0].team is None


def test_open_with_a_folder_that_is_none_ends_with_its_code(opened, tmp_path):
    assert 3 == main(["open", "--team", str(tmp_path)])
    assert [] == opened


def test_the_address_is_said_and_a_browser_opened_only_if_wanted(opened, farm_screen, monkeypatch,
                                                                   capsys):  # fmt: skip
    asked = []
    monkeypatch.setattr("webbrowser.open", lambda address: bool(asked.append(address)))
    for words in ([], ["--no-browser"]):
        main(["open", "--team", str(farm_screen.team), *words])
    capsys.readouterr()

    for _, _, ready in opened:
        ready("http://127.0.0.1:8017")

    said = capsys.readouterr()
    assert ["http://127.0.0.1:8017"] == asked
    assert 2 == said.out.count("http://127.0.0.1:8017")
    assert "type the address" in said.err
