"""Serving: the port, the address, the end."""

import signal
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from tests.web.seed import HEAD, burn_in_bench, empty_bench

from spinproof.model.errors import PortInUseError, StorageError
from spinproof.web.serving import listen, serve

SERVE = """
import sys
from pathlib import Path
from spinproof.app.home import open_home
from spinproof.web.serving import serve
serve(open_home(Path(sys.argv[1])), port=0, on_ready=lambda address: print(address, flush=True))
print("ended in order", flush=True)
"""


def test_a_port_in_use_is_said_in_words(tmp_path: Path):
    with listen("127.0.0.1", 0) as taken:
        port = taken.getsockname()[1]
        bench = empty_bench(tmp_path)
        bench.ledger.close()
        with pytest.raises(PortInUseError, match=f"127.0.0.1:{port}") as caught:
            serve(bench.home, port=port)

    assert "--port" in caught.value.mend


def test_an_address_of_another_machine_is_refused():
    with pytest.raises(StorageError, match=r"192\.0\.2\.1:8040"):
        listen("192.0.2.1", 8040)


def test_ctrl_c_ends_the_server_in_order_even_while_a_page_is_watching(tmp_path: Path):
    burn_in_bench(tmp_path).ledger.close()
    with subprocess.Popen(
        [sys.executable, "-c", SERVE, str(tmp_path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        address = process.stdout.readline().strip()
        with httpx.stream("GET", f"{address}api/live/{HEAD}", timeout=30) as stream:
            lines = stream.iter_lines()
            assert next(lines) == "event: now"
            process.send_signal(signal.SIGINT)
            rest = list(lines)
        out, err = process.communicate(timeout=30)

    assert process.returncode == 0, err
    assert "ended in order" in out
    assert err == ""
    assert len(rest) < 40
