"""The built-in shoot is served at the next free port where its own is taken, and that is said."""

from __future__ import annotations

import re
import socket
import subprocess
import sys


def test_the_next_free_port_is_taken_and_said() -> None:
    with socket.socket() as there:
        there.bind(("127.0.0.1", 0))
        there.listen(1)
        port = there.getsockname()[1]
        code = f"from linkwright.cli.demo import serve_demo; serve_demo({port})"
        running = subprocess.Popen([sys.executable, "-u", "-c", code], stdout=subprocess.PIPE, text=True)
        assert running.stdout is not None
        try:
            said = running.stdout.readline() + running.stdout.readline()
        finally:
            running.terminate()
            running.wait(20)
            running.stdout.close()
    assert f"Port {port} is taken by another program" in said
    found = re.search(r"http://127\.0\.0\.1:(\d+) ", said)
    assert found is not None
    assert port < int(found[1]) <= port + 50
