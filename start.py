"""Set balancekit up and open it, or test it.

    python3 start.py                 make what is missing, then open JupyterLab
    python3 start.py --no-browser    the same on a machine without a screen
    python3 start.py --port 9000     the same on a port of your choice
    python3 start.py test            all tests, on all processors; words after "test" go to pytest
    python3 start.py test quick      a first look, in about a minute: no browser, nothing slow
    python3 start.py pin             renew constraints.txt from a fresh environment

Only the standard library is used here, so that it runs before anything is
installed. Everything is written inside the folder .venv beside this file.
"""

import argparse
import hashlib
import json
import os
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
# Two more than processors: many tests wait, for a scale, a kernel or a page.
WORKERS = str((os.cpu_count() or 1) + 2)
# The calculation, the instrument and the lessons, on all processors; panels and files come later.
QUICK = (
    *("-n", WORKERS, "-m", "not slow and not browser", "balancekit"),
    *(f"tests/{part}" for part in ("calculation", "instrument", "validation", "lesson", "charts")),
    *("tests/test_layers.py", "tests/test_house.py"),
)
# All tests, a module at a time: tests/conftest.py says which worker takes which. There, every
# notebook is run and what is checked compared; nbval itself has to agree on the first.
WHOLE = (
    *("-n", WORKERS, "--dist", "loadscope", "--no-loadscope-reorder", "--nbval-lax"),
    *("balancekit", "tests", FIRST_NOTEBOOK),
)

LAB_SETTINGS = {
    # Every panel is drawn at once, so that Run All shows the whole page.
    "@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"},
    # The bench may be offline: no news, no look for updates.
    "@jupyterlab/apputils-extension:notification": {
        "fetchNews": "false",
        "checkForUpdates": False,
    },
}

# Each message of a kernel is sent to the page at once; README says the same for a hub.
PROMPT = "--ServerApp.kernel_websocket_connection_class=balancekit.prompt.PromptConnection"

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
        raise SetupError(f"{doing} failed.\n{reason(done.stdout)}{keep_log(done.stdout)}")
    return done.stdout


def keep_log(output):
    """Keep all that a failed step printed, if there is a place; say where."""
    try:
        (VENV / INSTALL_LOG).write_text(output, encoding="utf-8")
    except OSError:
        return ""
    return f"\nAll that was printed is in {VENV.name}/{INSTALL_LOG}."


def reason(output):
    """Pick the lines of a failed step that say why, and add what to do.

    >>> print(reason("Collecting numpy\\nERROR: [Errno 28] No space left on device"))
      ERROR: [Errno 28] No space left on device
    The disk is full. Free about 1 GB and start again.
    """
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    telling = [line for line in lines if "error:" in line.lower() and "note:" not in line] or lines
    remedy = "Mend what is named above and start again."
    for signs, advice in REMEDIES:
        if any(sign in output for sign in signs):
            remedy = advice
            break
    return "\n".join([*(f"  {line[:300]}" for line in telling[-4:]), remedy])


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
    state.mkdir(parents=True, exist_ok=True)
    places = {
        "JUPYTER_CONFIG_DIR": "config",
        "JUPYTER_DATA_DIR": "data",
        "JUPYTER_RUNTIME_DIR": "runtime",
        "JUPYTERLAB_SETTINGS_DIR": "user-settings",
        "JUPYTERLAB_WORKSPACES_DIR": "workspaces",
        "IPYTHONDIR": "ipython",
    }
    # As balancekit sets it; here for a cell that loads numpy first.
    threads = dict.fromkeys(("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return {
        **threads, **os.environ, **{name: str(state / folder) for name, folder in places.items()}
    }  # fmt: skip


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
        PROMPT,
        "--LabApp.log_level=WARN",
        f"--LabApp.default_url=/lab/tree/{FIRST_NOTEBOOK}",
        f"--LabApp.app_settings_dir={settings}",
        "--LabApp.extension_manager=readonly",
        "--LabApp.news_url=None",
        "--LanguageServerManager.autodetect=False",
    ]
    if port is not None:
        command += [f"--ServerApp.port={port}", "--ServerApp.port_retries=0"]
    if not browser:
        command.append("--no-browser")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    return command


def port_is_free(port):
    with socket.socket() as probe:
        # Without this a port left a moment ago counts as used; Windows means another thing by it.
        if os.name != "nt":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


def run_until_done(command, environment):
    """Run a command to its end; Ctrl-C (or a request to end) waits until it has put all away."""
    child = subprocess.Popen(command, cwd=PROJECT, env=environment)

    def end(*_):
        child.terminate()
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, end)
    try:
        return child.wait()
    except KeyboardInterrupt:
        try:
            child.wait(10)
        except (subprocess.TimeoutExpired, KeyboardInterrupt):
            child.terminate()
            child.wait()
        raise


def open_lab(port, browser):
    """Set up what is missing and run JupyterLab on the first notebook."""
    if port is not None and not port_is_free(port):
        raise SetupError(f"Port {port} is in use. Choose another, for example --port {port + 1}.")
    install(set())
    say(f"Opening JupyterLab on {FIRST_NOTEBOOK}. Leave this window open; Ctrl-C here ends it.")
    command = lab_command(venv_python(VENV), PROJECT, VENV / "lab", port=port, browser=browser)
    try:
        return run_until_done(command, lab_environment(VENV / "lab"))
    except KeyboardInterrupt:
        say("\nEnded.")
        return 0


def run_tests(arguments):
    """Set up what is missing, with the test extra, and run pytest on all, or on what is told."""
    install({"test"})
    say("Running the tests.")
    words = arguments or WHOLE
    if arguments[:1] == ["quick"]:
        words = [*QUICK, *arguments[1:]]
    # Compiled code is kept, or each worker and each kernel would compile everything anew.
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return run_until_done([str(venv_python(VENV)), "-m", "pytest", *words], kept)


def write_pins():
    """Install the newest allowed versions into a fresh environment and note them down."""
    if sys.version_info[:2] != OLDEST_PYTHON:
        raise SetupError("Pins are made with Python {}.{}.".format(*OLDEST_PYTHON))
    with tempfile.TemporaryDirectory() as scratch:
        venv = Path(scratch) / "pins"
        make_venv(venv)
        pip = [str(venv_python(venv)), "-m", "pip"]
        say("Installing the newest versions that pyproject.toml allows.")
        run_quietly([*pip, "install", "--editable", ".[test,mutation]"], "Installing")
        frozen = run_quietly([*pip, "freeze", "--exclude-editable"], "Reading the versions")
    pins = [line for line in frozen.splitlines() if line and not line.startswith("#")]
    unclear = [line for line in pins if "==" not in line or "@" in line]
    if unclear:
        raise SetupError(f"These have no plain version: {', '.join(unclear)}.")
    CONSTRAINTS.write_text(PINS_HEAD + "\n".join(pins) + "\n", encoding="utf-8")
    say(f"{len(pins)} versions noted in {CONSTRAINTS.name}.")
    return 0


def run(arguments):
    if arguments[:1] == ["test"]:
        return run_tests(arguments[1:])
    parser = argparse.ArgumentParser(
        prog="start.py",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("task", nargs="?", choices=("test", "pin"), help="default: open the Lab")
    parser.add_argument("--no-browser", action="store_true", help="print the address instead")
    parser.add_argument("--port", type=int, help="port of the Lab; default: the first free one")
    options = parser.parse_args(arguments)
    if options.task == "test":
        parser.error("say test first: start.py test [words for pytest]")
    if options.port is not None and not 1 <= options.port <= 65535:
        parser.error("--port is a number from 1 to 65535")
    if options.task == "pin":
        return write_pins()
    return open_lab(options.port, not options.no_browser)


def main():
    if sys.version_info < OLDEST_PYTHON:
        found = "{}.{}".format(*sys.version_info[:2])
        say(
            "balancekit needs Python {}.{} or newer and this is {}. Install a newer one and "
            "start with it.".format(*OLDEST_PYTHON, found)
        )
        return 1
    try:
        return run(sys.argv[1:])
    except SetupError as error:
        print(error, file=sys.stderr)
        return 1
    except OSError as error:
        print(f"This could not be done: {error}.\nMend it and start again.", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        say("\nEnded.")
        return 130


if __name__ == "__main__":
    sys.exit(main())
