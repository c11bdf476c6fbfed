"""Where instruments live, and which one is in hand.

The notebooks open the instrument in hand without being told. With nothing in
hand they open the demo.
"""

from __future__ import annotations

import contextlib
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from balancekit.instrument.descriptor import DESCRIPTOR, slug

HOME_VARIABLE = "BALANCEKIT_HOME"
"""Environment variable that names the folder for the user's own instruments."""

_HUB_VARIABLE = "JUPYTERHUB_USER"
"""JupyterHub sets it on every apprentice's server (JupyterHub's guide, on spawners)."""

_REMEMBERED = "in_hand.json"


def project_folder() -> Path:
    """Return the folder that holds ``data`` and ``notebooks``."""
    beside = Path(__file__).resolve().parents[2]
    if (beside / "data").is_dir():
        return beside
    here = Path.cwd()
    return next((place for place in (here, *here.parents) if (place / "data").is_dir()), here)


def data_folder() -> Path:
    """Return the folder of the invented instruments; it is never written."""
    return project_folder() / "data"


def home_folder() -> Path:
    """Return the folder for the user's own instruments.

    It is the one that ``BALANCEKIT_HOME`` names; else ``instruments`` in the project, if the
    project is the user's alone; else ``balancekit_instruments`` in the home folder, so that
    people who share one project never find each other's instruments.
    """
    named = os.environ.get(HOME_VARIABLE)
    if named:
        return Path(named).expanduser()
    project = project_folder()
    if _is_the_users_alone(project):
        return project / "instruments"
    return Path.home() / "balancekit_instruments"


def _is_the_users_alone(project: Path) -> bool:
    if not os.access(project, os.W_OK):
        return False
    if os.environ.get(_HUB_VARIABLE) and not project.is_relative_to(Path.home().resolve()):
        return False  # on a hub a folder outside the home may be shown to everybody
    # Windows has no such number, and root uses what belongs to others (as in a container).
    return not hasattr(os, "geteuid") or os.geteuid() in (0, project.stat().st_uid)


def instruments_in(folder: Path) -> list[Path]:
    """List the instrument folders directly inside a folder, by name."""
    if not folder.is_dir():
        return []
    return sorted(path for path in folder.iterdir() if (path / DESCRIPTOR).is_file())


def free_folder(title: str) -> Path:
    """Return a folder for a new instrument that no other instrument uses."""
    home, name = home_folder(), slug(title)
    number, place = 1, home / name
    while place.exists():
        number += 1
        place = home / f"{name}_{number}"
    return place


@dataclass(frozen=True)
class InHand:
    """What is in hand: the folder of the instrument, the key, and the visit."""

    folder: str
    key: int = 1
    visit: int = 0

    @property
    def path(self) -> Path:
        """The folder; a name without a root counts from the home folder."""
        return home_folder() / self.folder

    @property
    def is_there(self) -> bool:
        """Whether the folder can be found; that of a share that is away cannot."""
        return (self.path / DESCRIPTOR).is_file()


def demo_in_hand() -> InHand:
    """Return the demo as the thing in hand."""
    from balancekit.instrument.demo import (
        STUDIO_GRAND,
    )  # it works plans out, and so asks who is here

    return InHand(str(data_folder() / STUDIO_GRAND), key=40)


def recall() -> InHand:
    """Return what was in hand last, there or not; the demo if nothing was."""
    try:
        kept = kept_at_home(_REMEMBERED)
        return InHand(str(kept["folder"]), int(kept["key"]), int(kept["visit"]))
    except (ValueError, KeyError, TypeError):
        return demo_in_hand()


def remember(in_hand: InHand) -> None:
    """Note what is in hand, for the next notebook.

    A home folder that cannot be written only means that the next notebook
    starts with the demo; it stops nobody's work.
    """
    keep_at_home(_REMEMBERED, asdict(in_hand))


def kept_at_home(name: str) -> Any:
    """Return what ``keep_at_home`` wrote last; None if there is nothing that can be read."""
    try:
        return json.loads((home_folder() / name).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def keep_at_home(name: str, kept: Any) -> bool:
    """Write plain values into a file of the home folder; say whether it could be written."""
    home = home_folder()
    with contextlib.suppress(OSError):
        home.mkdir(parents=True, exist_ok=True)
        beside = home / f"{name}.{os.getpid()}"
        beside.write_text(json.dumps(kept), encoding="utf-8")
        os.replace(beside, home / name)
        return True
    return False
