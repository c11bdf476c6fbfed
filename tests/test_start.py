"""start.py, run for real on a tiny project that needs no network."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

import start

PYPROJECT = """
[build-system]
requires = []
build-backend = "backend"
backend-path = ["."]

[project]
name = "tiny"
version = "1.0"

[project.optional-dependencies]
test = []
"""

# A build backend of the standard library alone: the wheel holds stand-ins for
# jupyterlab and pytest that say how they were called.
BACKEND = '''
import pathlib, zipfile

SAY = """
import json, os, pathlib, sys
call = {"argv": sys.argv[1:], "ipython": os.environ.get("IPYTHONDIR", "")}
call["keeps compiled code"] = not sys.dont_write_bytecode
pathlib.Path("called.json").write_text(json.dumps(call))
"""
WAIT = """
import time
print("waiting", flush=True)
time.sleep(60)
"""
INFO = "tiny-1.0.dist-info"
METADATA = "Metadata-Version: 2.1\\nName: tiny\\nVersion: 1.0\\nProvides-Extra: test\\n"
WHEEL = "Wheel-Version: 1.0\\nRoot-Is-Purelib: true\\nTag: py3-none-any\\n"


def get_requires_for_build_editable(config_settings=None):
    return []


def build_editable(folder, config_settings=None, metadata_directory=None):
    name = "tiny-1.0-py3-none-any.whl"
    with zipfile.ZipFile(pathlib.Path(folder) / name, "w") as wheel:
        wheel.writestr("jupyterlab.py", SAY + (WAIT if pathlib.Path("wait").exists() else ""))
        wheel.writestr("pytest.py", SAY + "sys.exit(3)")
        wheel.writestr(INFO + "/METADATA", METADATA)
        wheel.writestr(INFO + "/WHEEL", WHEEL)
        wheel.writestr(INFO + "/RECORD", "")
    return name
'''


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A project that has start.py and installs in a moment."""
    folder = tmp_path / "a project"
    folder.mkdir()
    shutil.copy(start.__file__, folder / "start.py")
    (folder / "pyproject.toml").write_text(PYPROJECT, encoding="utf-8")
    (folder / "backend.py").write_text(BACKEND, encoding="utf-8")
    (folder / "constraints.txt").write_text("tiny==1.0\n", encoding="utf-8")
    return folder


def run_start(project: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run start.py as a user does, cut off from any package index."""
    environment = {**os.environ, "PIP_NO_INDEX": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [sys.executable, "start.py", *words],
        cwd=project,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )


def called(project: Path) -> dict[str, object]:
    """Return how the stand-in of Lab or pytest was called."""
    return json.loads((project / "called.json").read_text(encoding="utf-8"))


def test_from_nothing_to_lab_and_again_at_once(project):
    first = run_start(project, "--no-browser")
    assert first.returncode == 0, first.stderr
    said = first.stdout.splitlines()
    assert [line.split()[0] for line in said] == ["Making", "Installing", "Installed.", "Opening"]
    words = called(project)["argv"]
    assert f"--ServerApp.root_dir={project}" in words
    assert f"--LabApp.default_url=/lab/tree/{start.FIRST_NOTEBOOK}" in words
    assert "--no-browser" in words
    assert called(project)["ipython"].startswith(str(project / ".venv"))

    began = time.monotonic()
    second = run_start(project)
    assert time.monotonic() - began < 2
    assert second.stdout.splitlines() == said[-1:]
    assert "--no-browser" not in called(project)["argv"]

    tests = run_start(project, "test", "-k", "balance")
    assert tests.returncode == 3
    assert called(project)["argv"] == ["-k", "balance"]
    run_start(project, "test", "quick", "-x")
    assert called(project)["argv"] == [*start.QUICK, "-x"]
    assert run_start(project, "test").returncode == 3
    assert called(project)["argv"] == list(start.WHOLE)
    assert called(project)["keeps compiled code"]
    assert "Installing" in tests.stdout, "the test extra is new"
    assert "Installing" not in run_start(project).stdout, "the test extra holds for Lab too"

    (project / "constraints.txt").write_text("", encoding="utf-8")
    assert "Installing" in run_start(project).stdout, "other pins are installed"

    start.venv_python(project / ".venv").unlink()
    mended = run_start(project)
    assert mended.returncode == 0, mended.stderr
    assert "broken" in mended.stdout.splitlines()[0]


def test_a_failed_install_gives_the_reason_and_the_remedy(project):
    backend = BACKEND.replace('name = "tiny', 'raise OSError(28, "No space left on device")  # "')
    (project / "backend.py").write_text(backend, encoding="utf-8")
    done = run_start(project)
    assert done.returncode == 1
    assert "No space left on device" in done.stderr
    assert "Free about 1 GB and start again." in done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    assert "No space" in (project / ".venv" / start.INSTALL_LOG).read_text(encoding="utf-8")
    (project / "backend.py").write_text(BACKEND, encoding="utf-8")
    assert run_start(project).returncode == 0, "the next start takes it up again"


@pytest.mark.skipif(os.name == "nt", reason="Windows has no interrupt to send to another process")
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_interrupting_ends_cleanly(project, sent):
    (project / "wait").touch()
    with subprocess.Popen(
        [sys.executable, "start.py"],
        cwd=project,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # A shell that runs the tests in the background lets its children ignore an interrupt.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    ) as running:
        try:
            while "waiting" not in running.stdout.readline():
                assert running.poll() is None
            os.killpg(running.pid, sent)
            out, err = running.communicate(timeout=30)
        finally:
            running.kill()
    assert running.returncode == 0
    assert "Ended." in out
    assert "start.py" not in err


def test_a_port_in_use_is_said_before_anything_is_done(project):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = run_start(project, "--port", str(port))
    assert done.returncode == 1
    assert done.stderr.startswith(f"Port {port} is in use.")
    assert not (project / ".venv").exists()


@pytest.mark.parametrize("word", ["0", "65536", "eight"])
def test_a_port_that_cannot_be_is_refused(project, word):
    done = run_start(project, "--port", word)
    assert done.returncode == 2
    assert "--port" in done.stderr


def test_a_folder_that_is_not_whole_is_said(project):
    (project / "pyproject.toml").unlink()
    done = run_start(project)
    assert done.returncode == 1
    assert "pyproject.toml" in done.stderr and "Traceback" not in done.stderr


def test_a_python_too_old_is_said_in_one_sentence(monkeypatch, capsys):
    monkeypatch.setattr(start, "OLDEST_PYTHON", (99, 1))
    assert start.main() == 1
    said = capsys.readouterr().out
    assert said.startswith("balancekit needs Python 99.1 or newer") and said.count("\n") == 1


@pytest.mark.parametrize(
    ("printed", "advice"),
    [
        ("ERROR: NewConnectionError: name resolution failed", "Connect this machine"),
        ("ERROR: [Errno 13] Permission denied: 'x'", "may write"),
        ("The virtual environment was not created: ensurepip is not available", "python3-venv"),
        ("ERROR: No matching distribution found for bokeh", "Use Python 3.11"),
        ("ERROR: something new", "Mend what is named above"),
    ],
)
def test_each_known_failure_has_its_remedy(printed, advice, monkeypatch, tmp_path):
    monkeypatch.setattr(start, "VENV", tmp_path / "none")
    assert advice in start.reason("Collecting bokeh\n" + printed)
    assert printed in start.reason("Collecting bokeh\n" + printed)


def test_a_stamp_that_cannot_be_read_counts_as_none(monkeypatch, tmp_path):
    monkeypatch.setattr(start, "VENV", tmp_path)
    for text in ("", "{", "[]", '{"fingerprint": "x"}', '{"fingerprint": "x", "extras": 3}'):
        (tmp_path / start.STAMP).write_text(text, encoding="utf-8")
        assert start.read_stamp() == (None, set())
