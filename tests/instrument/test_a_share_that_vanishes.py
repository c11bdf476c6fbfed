"""A disk or share goes away at any step of saving: what was called saved is there."""

from __future__ import annotations

import errno
import os
import shutil
import stat
import subprocess

import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.store import PENDING, VERSIONS, open_folder, save_folder, versions_of
from tests.instrument.test_store import some

pytestmark = pytest.mark.slow

STEPS = ("rename", "replace", "mkdir", "fsync", "unlink", "rmdir", "scandir", "open", "stat")


def fail_at(patch, at, make_error):
    """Let every step on the disk fail from the one numbered on; return what counts them."""
    done = []
    for name in STEPS:
        real = getattr(os, name)

        def step(*given, real=real, **named):
            done.append(real.__name__)
            if len(done) > at:
                make_error()
            return real(*given, **named)

        patch.setattr(os, name, step)
    return done


def test_a_share_that_vanishes_at_any_step_of_saving_leaves_the_old_or_the_new(tmp_path):
    """And what had been called saved is the new; a later saving goes on without a conflict."""
    seen = set()
    for at in range(300):
        folder = tmp_path / f"piano {at}"
        stamp = save_folder(some("old"), folder, None)
        stamp = save_folder(some("before"), folder, stamp)

        def away():
            raise OSError(errno.ESTALE, "Stale file handle")

        with pytest.MonkeyPatch.context() as patch:
            done = fail_at(patch, at, away)
            try:
                stamp, said = save_folder(some("new"), folder, stamp), "saved"
            except BalancekitError as error:
                said = str(error)
        held = open_folder(folder)[0].key_notes[3]
        seen.add((said, held))
        assert held == "new" if said == "saved" else "does not answer" in said, (at, done)
        assert {held} <= {"before", "new"}, (at, held)
        if held == "before":
            stamp = save_folder(some("later"), folder, stamp)
        for name in versions_of(folder):
            assert open_folder(folder / VERSIONS / name)[0].key_notes[3] in ("old", "before")
        if len(done) <= at:
            break
    assert len(done) <= at and {held for _, held in seen} == {"before", "new"}


@pytest.mark.skipif(os.name == "nt", reason="no such disk")
def test_a_disk_that_is_unmounted_at_any_step_of_saving_takes_nothing_that_was_saved(tmp_path):
    """A real disk, taken away while it is written (umount --lazy), and put back afterwards."""
    disk, other = tmp_path / "disk", tmp_path / "other name"
    disk.mkdir()
    other.mkdir()
    if not run("mount", "-t", "tmpfs", "tmpfs", str(other)):
        pytest.skip("This user may not mount a disk.")
    try:
        for at in range(0, 300, 3):
            run("mount", "--bind", str(other), str(disk))
            folder = disk / f"piano {at}"
            stamp = save_folder(some("old"), folder, None)

            away = Unmount(disk)
            with pytest.MonkeyPatch.context() as patch:
                done = fail_at(patch, at, away)
                try:
                    save_folder(some("new"), folder, stamp)
                    said = "saved"
                except BalancekitError as error:
                    said = str(error)
            away()
            held = open_folder(other / folder.name)[0].key_notes[3]
            assert held == "new" if said == "saved" else "not there any more" in said, (at, said)
            assert {held} <= {"old", "new"}, (at, held)
            if len(done) <= at:
                break
        assert len(done) <= at
    finally:
        for place in (disk, other):
            run("umount", "--lazy", str(place))


class Unmount:
    """Takes a disk away when it is first called."""

    def __init__(self, disk):
        self.disk, self.gone = disk, False

    def __call__(self):
        if not self.gone:
            self.gone = True
            run("umount", "--lazy", str(self.disk))


def run(*command):
    return shutil.which(command[0]) and not subprocess.call(command, stderr=subprocess.DEVNULL)


def test_a_save_counts_only_when_the_names_are_on_the_disk_too(tmp_path, monkeypatch):
    """Linux, fsync(2): the entry in a folder reaches the disk by an fsync of the folder."""
    folder, steps = tmp_path / "one", []
    stamp = save_folder(some("old"), folder, None)
    real = {name: getattr(os, name) for name in ("fsync", "rename", "replace")}

    def fsync(held):
        kind = "folder" if stat.S_ISDIR(os.fstat(held).st_mode) else "file"
        steps.append(f"sync {kind}")
        real["fsync"](held)

    def rename(old, new):
        steps.append(f"rename to {os.path.basename(new)}")
        real["rename"](old, new)

    def replace(old, new):
        steps.append("replace")
        real["replace"](old, new)

    for made in (fsync, rename, replace):
        monkeypatch.setattr(os, made.__name__, made)
    save_folder(some("new"), folder, stamp, keep_version=False)
    counts = steps.index(f"rename to {PENDING}")
    assert steps[counts - 1] == steps[counts + 1] == "sync folder"
    assert set(steps[: counts - 1]) == {"sync file"} and set(steps[counts + 2 :]) == {"replace"}


@pytest.mark.skipif(os.name == "nt", reason="locks of Windows are others")
def test_a_disk_that_cannot_lock_is_a_sentence(tmp_path, monkeypatch):
    stamp = save_folder(some("old"), tmp_path / "one", None)

    def no_locks(*_):
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr("fcntl.flock", no_locks)
    with pytest.raises(BalancekitError, match="What you entered is still here"):
        save_folder(some("new"), tmp_path / "one", stamp)
