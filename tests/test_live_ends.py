"""The live page's server: where it listens, what clients cost that do not read, and that Ctrl-C ends it at once."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import time
import urllib.request

import pytest

from headjoint.model.base.errors import InputError
from headjoint.postproc.live import server as live
from headjoint.postproc.live.engines import Engines
from tests.live_page import served, until

WORKING = """
import time
from headjoint.cases.command.stated_files import shipped_files
from headjoint.postproc.live import engines, server
engines.Engines.answered = lambda *asked: time.sleep(300.0)
server.Beside = lambda: None
server.serve(shipped_files("joints"), "yield-tightened-bolt", "si", "127.0.0.1", {port}, lambda at: print(at, flush=True))
"""


@pytest.mark.parametrize("host", ["", "0", "0.0", "0.0.0.0", "0x0"])
def test_no_spelling_of_all_addresses_is_listened_at(host):
    with pytest.raises(InputError, match="name the one address"):
        live.listening(host, 0)


def test_one_address_is_listened_at():
    with live.listening("localhost", 0) as opened:
        assert opened.getsockname()[0] == "127.0.0.1"


def _post(port: int, body: str, length: int) -> socket.socket:
    head = f"POST /answer HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Type: application/json\r\n"
    client = socket.create_connection(("127.0.0.1", port), timeout=30.0)
    client.sendall(f"{head}Content-Length: {length}\r\n\r\n{body}".encode())
    return client


def test_ctrl_c_ends_the_server_without_words_on_requests_half_sent_or_answers_under_way():
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    command = [sys.executable, "-c", WORKING.format(port=port)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        assert running.stdout.readline().startswith("http://127.0.0.1")
        until(lambda: socket.create_connection(("127.0.0.1", port), timeout=5.0))
        asked = '{"engine": "yield-tightened-bolt"}'
        clients = [_post(port, "{", 200), _post(port, "{", 200), _post(port, asked, len(asked))]
        _post(port, "{", 200).close()
        time.sleep(0.3)  # for the answer to be begun
        running.send_signal(signal.SIGINT)
        assert running.wait(60.0) == 130  # the answer would take five minutes
        assert running.stderr.read() == "headjoint: interrupted\n"
    for client in clients:
        client.close()


def test_who_asks_for_a_large_file_and_does_not_read_it_holds_little_of_it_back(monkeypatch):
    whole, taken = bytes(100 * 2**20), []
    pieces = live._in_pieces

    async def counted(found):
        async for piece in pieces(found):
            taken.append(len(piece))
            yield piece

    monkeypatch.setattr(live, "_library", lambda: whole)
    monkeypatch.setattr(live, "_in_pieces", counted)
    with served(Engines({}), "none") as address, socket.socket() as client:
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 65_536)
        client.connect(("127.0.0.1", int(address.rpartition(":")[2])))
        client.sendall(f"GET /assets/plotly.js HTTP/1.1\r\nHost: {address[7:]}\r\n\r\n".encode())
        until(lambda: taken)
        time.sleep(0.5)
        assert sum(taken) < 0.2 * len(whole)  # what the system itself keeps of a connection, some megabytes


def test_a_file_that_is_given_in_pieces_is_whole():
    from plotly.offline import get_plotlyjs

    with served(Engines({}), "none") as address, urllib.request.urlopen(f"{address}/assets/plotly.js") as found:
        assert found.read().decode() == get_plotlyjs()
