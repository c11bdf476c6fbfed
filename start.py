"""Set balancekit up and open it, or test it.

    python3 start.py                 make what is missing, then open JupyterLab
    python3 start.py --no-browser    the same on a machine without a screen
    python3 start.py --port 9000     the same on a port of your choice
    python3 start.py test            all tests; words after "test" go to pytest
    python3 start.py pin             renew constraints.txt from a fresh environment

Only the standard library is used here, so that it runs before anything is
installed. Everything is written inside the folder .venv beside this file.
"""

import argparse
import hashlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from pathlib import Path

PROJECT = Path(__file__).resolve().parent
VENV = PROJECT / ".venv"
CONSTRAINTS = PROJECT / "constraints.txt"
STAMP = "balancekit.json"
INSTALL_LOG = "install.log"
FIRST_NOTEBOOK = "notebooks/01_readings.ipynb"
OLDEST_PYTHON = (3, 11)

LAB_SETTINGS = {
    # Every panel is drawn at once, so that Run All shows the whole page.
    "@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"},
    # The bench may be offline: no news, no look for updates.
    "@jupyterlab/apputils-extension:notification": {
        "fetchNews": "false",
        "checkForUpdates": False,
    },
}

PINS_HEAD = """\
# The exact versions that start.py installs, for the package and its tests.
# Made by: python3 start.py pin (with the oldest Python allowed, so that all can use them).
"""

REMEDIES = (
    (
        ("NewConnectionError", "name resolution", "ConnectTimeout", "ReadTimeout", "ProxyError"),
        "The package index was not reached. Connect this machine to the network and start again.",
    ),
    (
        ("No space left on device", "Errno 28"),
        "The disk is full. Free about 1 GB and start again.",
    ),
    (
        ("Permission denied", "Errno 13", "Read-only file system"),
        "This folder may not be written. Put the project where you may write and start again.",
    ),
    (
        ("ensurepip is not", "No module named ensurepip", "No module named venv"),
        "This Python lacks its venv part. On Debian and Ubuntu: apt install python3-venv. "
        "Then start again.",
    ),
    (
        ("Could not find a version", "No matching distribution"),
        "A package does not exist for this Python. Use Python 3.11, 3.12 or 3.13 and start again.",
    ),
)


class SetupError(Exception):
    """What went wrong and what to do, in words for the person at the screen."""


def say(text):
    print(text, flush=True)


def venv_python(venv):
    """Return the path of the environment's own Python."""
    return venv / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def fingerprint():
    """Return a hash of all that decides what is installed."""
    parts = [
        (PROJECT / "pyproject.toml").read_bytes(),
        CONSTRAINTS.read_bytes() if CONSTRAINTS.exists() else b"",
        str(PROJECT).encode(),
    ]
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def read_stamp():
    """Return what an earlier start installed: its fingerprint and extras."""
    try:
        stamp = json.loads((VENV / STAMP).read_text(encoding="utf-8"))
        return stamp["fingerprint"], set(stamp["extras"])
    except (OSError, ValueError, KeyError, TypeError):
        return None, set()


def run_quietly(command, doing):
    """Run one step of the set-up; on failure raise its reason and the remedy."""
    environment = {**os.environ, "PIP_DISABLE_PIP_VERSION_CHECK": "1", "PIP_NO_INPUT": "1"}
    try:
        done = subprocess.run(
            command,
            cwd=PROJECT,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            errors="replace",
        )
    except OSError as error:
        raise SetupError(f"{doing} failed: {error}") from error
    if done.returncode != 0:
        raise SetupError(f"{doing} failed.\n{reason(done.stdout)}")
    return done.stdout


def reason(output):
    """Pick the lines of a failed step that say why, and add what to do.

    >>> print(reason("Collecting numpy\\nERROR: [Errno 28] No space left on device"))
      ERROR: [Errno 28] No space left on device
    The disk is full. Free about 1 GB and start again.
    """
    lines = [line.rstrip() for line in output.splitlines() if line.strip()]
    telling = [line for line in lines if "error" in line.lower()] or lines
    remedy = "Mend what is named above and start again."
    for signs, advice in REMEDIES:
        if any(sign in output for sign in signs):
            remedy = advice
            break
    if VENV.is_dir() and os.access(VENV, os.W_OK):
        (VENV / INSTALL_LOG).write_text(output, encoding="utf-8")
        remedy += f"\nAll that was printed is in {VENV.name}/{INSTALL_LOG}."
    return "\n".join([*(f"  {line.strip()[:300]}" for line in telling[-4:]), remedy])


def make_venv(venv):
    """Make an environment that has a Python and pip, unless it is there."""
    if venv_python(venv).exists():
        check = [str(venv_python(venv)), "-c", "import pip"]
        if subprocess.run(check, capture_output=True).returncode == 0:
            return
    if os.path.lexists(venv):
        say(f"{venv.name} is there but broken: making it anew.")
    else:
        say(f"Making the environment {venv.name}.")
    run_quietly([sys.executable, "-m", "venv", "--clear", str(venv)], "Making the environment")


def install(extras):
    """Install the package and its pinned requirements into .venv, if not done before."""
    wanted = fingerprint()
    done, done_extras = read_stamp()
    if venv_python(VENV).exists() and done == wanted and extras <= done_extras:
        return
    make_venv(VENV)
    (VENV / STAMP).unlink(missing_ok=True)
    extras = extras | done_extras
    target = f".[{','.join(sorted(extras))}]" if extras else "."
    pip = [str(venv_python(VENV)), "-m", "pip", "install", "--retries", "2"]
    say("Installing balancekit and what it needs (about a minute, only this once).")
    constrained = ["--constraint", str(CONSTRAINTS)] if CONSTRAINTS.exists() else []
    run_quietly([*pip, *constrained, "--editable", target], "Installing")
    stamp = {"fingerprint": wanted, "extras": sorted(extras)}
    (VENV / STAMP).write_text(json.dumps(stamp), encoding="utf-8")
    say("Installed.")


def lab_environment(state):
    """Return the environment variables that keep all that Lab writes in one folder."""
    places = {
        "JUPYTER_CONFIG_DIR": "config",
        "JUPYTER_DATA_DIR": "data",
        "JUPYTER_RUNTIME_DIR": "runtime",
        "JUPYTERLAB_SETTINGS_DIR": "user-settings",
        "JUPYTERLAB_WORKSPACES_DIR": "workspaces",
        "IPYTHONDIR": "ipython",
    }
    return {**os.environ, **{name: str(state / folder) for name, folder in places.items()}}


def lab_command(python, root, state, port=None, browser=True):
    """Return the command that starts Lab on a folder; its own files go to ``state``."""
    settings = state / "settings"
    (settings / "overrides.d").mkdir(parents=True, exist_ok=True)
    overrides = settings / "overrides.d" / "balancekit.json"
    overrides.write_text(json.dumps(LAB_SETTINGS, indent=2), encoding="utf-8")
    command = [
        *(str(python), "-m", "jupyterlab"),
        f"--ServerApp.root_dir={root}",
        "--ServerApp.answer_yes=True",
        "--ServerApp.log_level=WARN",
        f"--LabApp.default_url=/lab/tree/{FIRST_NOTEBOOK}",
        f"--LabApp.app_settings_dir={settings}",
        "--LabApp.extension_manager=readonly",
        "--LabApp.news_url=None",
    ]
    if port is not None:
        command += [f"--ServerApp.port={port}", "--ServerApp.port_retries=0"]
    if not browser:
        command.append("--no-browser")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    return command
