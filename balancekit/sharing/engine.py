"""An engine that makes the reports: the processors of this machine, or the workers of Dask.

``batch`` names no engine. What is chosen here, or with ``joblib.parallel_config`` in a cell,
takes its tasks over.

References
----------
joblib, ``parallel_config`` with the backend "dask"; distributed, ``Client``.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec

from balancekit.calculation.problems import refuse

PATIENCE_S = 5.0


@contextmanager
def engine(scheduler: str | None = None) -> Iterator[None]:
    """Let the workers of a Dask scheduler make the reports inside the ``with``.

    The workers read the sources and write the reports themselves, so all need the same folders.

    Parameters
    ----------
    scheduler : its address, for example "tcp://127.0.0.1:8786"; None for this machine alone.

    Raises
    ------
    BalancekitError : Dask is not installed, no scheduler answers, or it has no workers.
    """
    if scheduler is None:
        yield
        return
    if find_spec("distributed") is None:
        raise refuse("Dask is not installed.", 'Run pip install "dask[distributed]" first.')
    import joblib
    from distributed import Client

    try:
        asyncio.run(_call(scheduler))
    except (OSError, ValueError):
        message = f"No scheduler of Dask answers at '{scheduler}'."
        advice = "Give the address that 'dask scheduler' prints, such as tcp://127.0.0.1:8786."
        raise refuse(message, advice) from None
    with Client(scheduler, timeout=PATIENCE_S, set_as_default=False) as client:
        if not client.ncores():
            message = f"The scheduler at '{scheduler}' has no workers."
            raise refuse(message, f"Start one with 'dask worker {scheduler}'.")
        with joblib.parallel_config(backend="dask", client=client):
            yield


async def _call(scheduler: str) -> None:
    """Reach the scheduler once: a client that fails to would wait long for its own end."""
    from distributed.comm import connect

    line = await connect(scheduler, timeout=PATIENCE_S)
    await line.close()
