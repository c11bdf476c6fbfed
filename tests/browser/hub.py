"""A JupyterHub for a class, as the tests and benchmarks use it.

One read-only copy of the project is shown to everybody, as a teacher would set it up; each
apprentice has a home folder and a server of their own.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lab import PROJECT, copy_project, free_port, is_root, running, start
from playwright.sync_api import Page

PROXY = "configurable-http-proxy"
"""JupyterHub's own proxy, a program for Node.js; Debian has it as node-configurable-http-proxy.

The one of the same name for Python loses binary messages, so that no file would reach a panel.
"""

NODE_PACKAGES = "/usr/share/nodejs"
"""Where Debian puts what that program needs; a Node.js from elsewhere does not look there."""

OF_THE_SETUP = ("BALANCEKIT_HOME", "IPYTHONDIR", "PYTHONPATH")
"""Variables that a fresh hub does not have; those of Jupyter come on top."""


FOR_A_CLASS = {
    "JupyterHub": {"concurrent_spawn_limit": 4, "spawn_throttle_retry_range": (10, 20)},
    "Spawner": {"start_timeout": 300, "http_timeout": 300},
}
"""The settings that README gives for a class that begins at the same moment."""


@dataclass(frozen=True)
class Hub:
    """A running hub.

    Attributes
    ----------
    url : its address.
    shipped : the project as it is shown to everybody; nobody may write there.
    homes : where the home folders are, one a name.
    token : lets a program ask for servers as the teacher may.
    """

    url: str
    shipped: Path
    homes: Path
    token: str

    def home(self, name: str) -> Path:
        """Return the home folder of an apprentice."""
        return self.homes / name


@contextmanager
def running_hub(folder: Path) -> Iterator[Hub]:
    """Run a hub on a read-only copy of the project below a folder; stop it afterwards."""
    shipped, homes = folder / "shipped", folder / "homes"
    homes.mkdir(parents=True)
    ship(shipped)
    port = free_port()
    config, log = folder / "jupyterhub_config.json", folder / "hub.log"
    token = secrets.token_hex()
    settings = settings_of_the_hub(shipped, homes, port, token)
    config.write_text(json.dumps(settings), encoding="utf-8")
    command = [*without_the_power_of_root(), sys.executable, "-m", "jupyterhub", "-f", str(config)]
    health = f"http://127.0.0.1:{port}/hub/health"
    try:
        with running(command, health, log, cwd=folder, env=plain_environment()):
            yield Hub(f"http://127.0.0.1:{port}", shipped, homes, token)
    finally:
        let_write(shipped)


def ship(folder: Path) -> None:
    """Copy notebooks, demo data and package, and take the right to write from everybody."""
    folder.mkdir()
    copy_project(folder)
    package = PROJECT / "balancekit"
    shutil.copytree(package, folder / "balancekit", ignore=shutil.ignore_patterns("__pycache__"))
    for path in [*folder.rglob("*"), folder]:
        path.chmod(path.stat().st_mode & ~0o222)


def let_write(folder: Path) -> None:
    """Give the owner the right to write back, so that the folder can be removed."""
    for path in [folder, *folder.rglob("*")]:
        path.chmod(path.stat().st_mode | 0o200)


def settings_of_the_hub(
    shipped: Path, homes: Path, port: int, token: str
) -> dict[str, dict[str, Any]]:
    """Return the settings of a hub that believes every name and starts servers as this user."""
    programs = Path(sys.executable).parent
    as_root = ["--allow-root"] if is_root() else []
    return {
        "JupyterHub": {
            "bind_url": f"http://127.0.0.1:{port}",
            "hub_bind_url": f"http://127.0.0.1:{free_port()}",
            "authenticator_class": "dummy",
            "spawner_class": "simple",
            "services": [{"name": "teacher", "api_token": token}],
            "load_roles": [
                {
                    "name": "teacher",
                    "services": ["teacher"],
                    "scopes": ["admin:users", "admin:servers", "access:servers"],
                }
            ],
            **FOR_A_CLASS["JupyterHub"],
        },
        "ConfigurableHTTPProxy": {
            "command": [PROXY],
            "api_url": f"http://127.0.0.1:{free_port()}",
        },
        "SimpleLocalProcessSpawner": {"home_dir_template": f"{homes}/{{username}}"},
        "Spawner": {
            **FOR_A_CLASS["Spawner"],
            "cmd": [str(programs / "jupyterhub-singleuser")],
            "notebook_dir": str(shipped),
            "environment": {"PYTHONPATH": str(shipped)},
            "args": ["--LabApp.expose_app_in_browser=True", start.PROMPT, *as_root],
        },
    }


def plain_environment() -> dict[str, str]:
    """Return the environment variables without what these tests set for themselves."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("JUPYTER")}
    kept = {name: value for name, value in kept.items() if name not in OF_THE_SETUP}
    return {"NODE_PATH": NODE_PACKAGES, **kept}


def without_the_power_of_root() -> list[str]:
    """Return what to put before a command, so that even root may not write what is read-only."""
    if not is_root():
        return []
    return ["setpriv", "--bounding-set=-dac_override", "--inh-caps=-dac_override", "--"]


def log_in(page: Page, hub: Hub, name: str, notebook: str) -> None:
    """Follow the link that everybody gets and log in by name, which starts a server."""
    page.goto(f"{hub.url}/hub/user-redirect/lab/tree/{notebook}")
    page.get_by_label("Username").fill(name)
    page.get_by_label("Password").fill(name)
    page.get_by_role("button", name="Sign in").click(no_wait_after=True)
