from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from litlamp.cli import run
from litlamp.page.settings import Settings, default_data, is_loopback
from litlamp.page.start import StartError, invitation, prepared


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_only_this_computer_unless_told_otherwise(tmp_path: Path) -> None:
    own = prepared("127.0.0.1", free_port(), tmp_path / "data", 1)
    assert own.token is None and not own.open_to_others
    assert f"http://127.0.0.1:{own.port}/" in invitation(own)
    assert "token" not in invitation(own)


def test_others_need_a_token_and_are_told_the_way(tmp_path: Path) -> None:
    first, second = (prepared("0.0.0.0", free_port(), tmp_path, 1) for _ in range(2))
    assert first.token is not None and len(first.token) >= 16
    assert first.token != second.token
    words = invitation(first)
    assert f"?token={first.token}" in words
    assert "phone, same network" in words and "not encrypted" in words


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.9.9.9"])
def test_what_is_loopback(host: str) -> None:
    assert is_loopback(host) and not Settings(Path(), host=host).open_to_others


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.4", "example.org", ""])
def test_what_is_not(host: str) -> None:
    assert not is_loopback(host) and Settings(Path(), host=host).open_to_others


def test_what_cannot_be_used_is_one_sentence(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(StartError, match="cannot be used: address already in use"):
            prepared("127.0.0.1", port, tmp_path, 1)
        assert run(["page", "--port", str(port), "--data", str(tmp_path)]) == 2
    (tmp_path / "file").write_text("x")
    assert run(["page", "--data", str(tmp_path / "file"), "--port", str(free_port())]) == 2
    err = capfd.readouterr().err
    assert err.count("\n") == 2 and "Traceback" not in err


def test_without_the_extra_it_says_so(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delitem(sys.modules, "litlamp.page.server", raising=False)
    monkeypatch.setitem(sys.modules, "starlette.applications", None)
    assert run(["page"]) == 2
    assert "pip install 'litlamp[page]'" in capfd.readouterr().err


def test_the_folder_is_where_it_is_said_to_be(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("LITLAMP_DATA", str(tmp_path))
    assert default_data() == tmp_path


@pytest.mark.skipif(os.name != "posix", reason="ends it by a signal")
def test_it_is_served_and_ends_cleanly(root: Path, tmp_path: Path) -> None:
    port = free_port()
    env = {**os.environ, "PYTHONPATH": str(root / "vision"), "TMPDIR": str(tmp_path), "OMP_NUM_THREADS": "1"}
    command = [sys.executable, "-m", "litlamp", "page", "--port", str(port), "--data", str(tmp_path / "data")]
    with subprocess.Popen(command, env=env, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        try:
            assert f":{port}/" in process.stderr.readline()
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=30) as got:
                assert got.headers["server"] is None
                assert "What does this signal say?" in got.read().decode()
        finally:
            process.send_signal(signal.SIGINT)
            rest = process.stderr.read()
            process.wait(30)
    assert "Traceback" not in rest
    assert not list(tmp_path.glob("litlamp-page-*"))
