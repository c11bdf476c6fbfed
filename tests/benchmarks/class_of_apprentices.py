"""Measure what a class needs of one JupyterHub: memory for each apprentice, and time to wait.

    python tests/benchmarks/class_of_apprentices.py          a class of 8
    python tests/benchmarks/class_of_apprentices.py 20       a class of 20

First one apprentice goes through the notebooks on an empty hub: from following the link to the
notebook, then Run All, and the memory of its kernel. Then a whole class asks for its servers at the
same moment, and at last runs the practice notebook at the same moment. Memory is what belongs to a
process alone plus its share of what it has in common with others (on Linux), so that it may be
added up; elsewhere it is all it holds.
"""

from __future__ import annotations

import json
import platform
import statistics
import sys
import tempfile
import time
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from http import HTTPStatus
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import Request, urlopen

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))

import nbformat
import psutil
from hub import Hub, log_in, running_hub
from lab import PROJECT, cell_errors, launch_browser, run_all, wait_for_notebook
from nbclient import NotebookClient
from playwright.sync_api import sync_playwright

NOTEBOOKS = sorted(path.stem for path in (PROJECT / "notebooks").glob("0*.ipynb"))
PRACTICE = "00_practice"
OFTEN_S = 0.5
LONGEST_S = 600.0
CREATED, TOO_MANY = HTTPStatus.CREATED, HTTPStatus.TOO_MANY_REQUESTS


def memory_mb(processes: Iterable[psutil.Process]) -> float:
    """Return the memory of some processes in MB (10^6 bytes)."""
    taken = 0
    for process in processes:
        try:
            full = process.memory_full_info()
        except psutil.NoSuchProcess:
            continue
        taken += getattr(full, "pss", full.rss)
    return taken / 1e6


def processes_with(text: str) -> list[psutil.Process]:
    """Return the processes started from here whose command holds a text."""
    below = psutil.Process().children(recursive=True)
    return [one for one in below if any(text in part for part in _command(one))]


def _command(process: psutil.Process) -> list[str]:
    try:
        return process.cmdline()
    except (psutil.NoSuchProcess, psutil.ZombieProcess):
        return []


def one_apprentice() -> None:
    """Print time and memory of one apprentice on a hub of their own."""
    print("One apprentice on JupyterHub")
    print(f"{'':28}{'open s':>8}{'Run All s':>11}{'kernel MB':>11}")
    with (
        tempfile.TemporaryDirectory() as scratch,
        running_hub(Path(scratch)) as hub,
        sync_playwright() as playwright,
        launch_browser(playwright) as browser,
    ):
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        known: set[int] = set()
        for number, name in enumerate(NOTEBOOKS):
            path, begun = f"notebooks/{name}.ipynb", time.monotonic()
            if number == 0:
                log_in(page, hub, "one", path)
            else:
                page.goto(f"{hub.url}/user/one/lab/tree/{path}?reset")
            wait_for_notebook(page, path)
            opened = time.monotonic()
            run_all(page)
            done = time.monotonic()
            assert cell_errors(page) == [], cell_errors(page)
            kernels = [one for one in processes_with("ipykernel") if one.pid not in known]
            known |= {one.pid for one in kernels}
            first = " (server starts)" if number == 0 else ""
            print(
                f"{name + first:28}{opened - begun:8.1f}{done - opened:11.1f}"
                f"{memory_mb(kernels):11.0f}"
            )
        server = processes_with("jupyterhub-singleuser")
        hub_itself = [*processes_with("jupyterhub_config"), *processes_with("http-proxy")]
        print(f"the server of the apprentice: {memory_mb(server):.0f} MB")
        print(f"the hub and its proxy, once: {memory_mb(hub_itself):.0f} MB")


def servers(count: int) -> None:
    """Print how long a class waits that asks for its servers at the same moment, and the memory.

    Each apprentice asks again when the hub says so, and starts one kernel on the server.
    """
    with tempfile.TemporaryDirectory() as scratch, running_hub(Path(scratch)) as hub:
        names = [f"apprentice{number}" for number in range(count)]
        for name in names:
            answered(hub, "POST", f"hub/api/users/{name}")
        with ThreadPoolExecutor(count) as pool:
            waits = list(pool.map(lambda name: server_of(hub, name), names))
        got = sorted(wait for wait, _ in waits if wait is not None)
        assert len(got) == count, f"{count - len(got)} of {count} servers did not start"
        processes = processes_with("jupyterhub-singleuser") + processes_with("ipykernel")
        together = memory_mb(processes)
    print(
        f"{count} servers with a kernel each asked for at the same moment: all {len(got)} there",
        end=" ",
    )
    print(
        f"after {got[-1]:.1f} s (first {got[0]:.1f}, median {statistics.median(got):.1f} s),",
        end=" ",
    )
    print(f"asked to come again {sum(again for _, again in waits)} times;", end=" ")
    print(f"{together:.0f} MB together, {together / count:.0f} MB each")


def server_of(hub: Hub, name: str) -> tuple[float | None, int]:
    """Ask for the server of an apprentice; return how long it took, None for never, and
    how often the hub sent them away for a moment."""
    begun, again = time.monotonic(), 0
    path = f"hub/api/users/{name}/server"
    while True:
        status, body, retry_s = answered(hub, "POST", path)
        if status != TOO_MANY:
            break
        again += 1
        time.sleep(retry_s)
    while time.monotonic() - begun < LONGEST_S:
        _, body, _ = answered(hub, "GET", f"hub/api/users/{name}")
        server = json.loads(body)["servers"].get("", {})
        if server.get("ready"):
            status, *_ = answered(hub, "POST", f"user/{name}/api/kernels")
            return (time.monotonic() - begun if status == CREATED else None), again
        if not server:
            return None, again
        time.sleep(OFTEN_S)
    return None, again


def answered(hub: Hub, method: str, path: str) -> tuple[int, str, float]:
    """Ask the hub or a server; return status, answer, and when to come again in seconds."""
    asked = Request(
        f"{hub.url}/{path}", method=method, headers={"Authorization": f"token {hub.token}"}
    )
    try:
        with urlopen(asked, timeout=LONGEST_S) as answer:
            return answer.status, answer.read().decode(), 0.0
    except HTTPError as error:
        return error.code, error.read().decode(), float(error.headers.get("Retry-After", 1))


def a_class(count: int) -> None:
    """Print time and memory of many kernels that run one notebook at the same moment."""
    notebook = nbformat.read(PROJECT / "notebooks" / f"{PRACTICE}.ipynb", as_version=4)
    clients = [
        NotebookClient(nbformat.from_dict(notebook), timeout=600, kernel_name="python3")
        for _ in range(count)
    ]
    took: list[float] = []

    def work(client: NotebookClient) -> None:
        begun = time.monotonic()
        with client.setup_kernel():
            try:
                for number, cell in enumerate(client.nb.cells):
                    client.execute_cell(cell, number)
            finally:
                took.append(time.monotonic() - begun)
            measured.result()  # all kernels live until they have been measured together

    def measure() -> float:
        while len(took) < count:
            time.sleep(OFTEN_S)
        return memory_mb(processes_with("ipykernel"))

    with ThreadPoolExecutor(count + 1) as pool:
        measured = pool.submit(measure)
        list(pool.map(work, clients))
        together = measured.result()
    print(f"{count} kernels begin {PRACTICE} at the same moment: all done after", end=" ")
    print(f"{max(took):.1f} s (median {statistics.median(took):.1f} s);", end=" ")
    print(f"{together:.0f} MB together, {together / count:.0f} MB each")


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    machine = psutil.virtual_memory().total / 1e9
    print(
        f"{platform.system()} {platform.machine()}, Python {platform.python_version()}, "
        f"{psutil.cpu_count()} cores, {machine:.0f} GB"
    )
    one_apprentice()
    servers(count)
    for number in sorted({1, count}):
        a_class(number)


if __name__ == "__main__":
    main()
