"""Workers on other computers, through Dask's distributed scheduler."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from typing import Any

from lostgain.problems import UserError

#: How long a scheduler may take to answer [s].
ANSWER = 10.0


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """Reach a Dask scheduler; its workers then do what the executor is given.

    Parameters
    ----------
    address : str
        ``HOST:PORT``, or with a protocol in front: ``tls://HOST:PORT``.

    Yields
    ------
    concurrent.futures.Executor
        For `Pool`.

    Raises
    ------
    UserError
        If distributed is not installed, nobody answers there, or the scheduler has no workers.
    """
    try:
        import distributed
    except ImportError as error:
        raise UserError("a scheduler needs the package distributed: pip install 'lostgain[cluster]'.") from error
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what goes wrong is said in our own words
    try:
        connect: Any = distributed.Client  # which has no type hints
        client = connect(address, timeout=ANSWER, set_as_default=False)
    except (OSError, ValueError, RuntimeError, ImportError) as error:
        raise UserError(
            f"no Dask scheduler can be reached at '{address}': {error or 'no answer'}. Expected HOST:PORT."
        ) from error
    try:
        if not client.scheduler_info(n_workers=-1)["workers"]:
            raise UserError(f"the Dask scheduler at {address} has no workers. Start some: dask worker {address}.")
        yield client.get_executor(pure=False)
    finally:
        client.close(timeout=2)
