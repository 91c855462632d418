"""Who works on many rehearsals: the cores of this machine, or a cluster that somebody else keeps.

Both are executors in the sense of `concurrent.futures`, asked in the order of the seeds. What a rehearsal needs travels
with it, settings and plant included, and a cluster is asked for its versions first: so the results are the same whoever
works.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from concurrent.futures import CancelledError, Executor, ProcessPoolExecutor
from contextlib import contextmanager
from importlib import import_module
from types import ModuleType
from typing import Any, Final

from controller.screen import BadUsage
from controller.workshop import versions

# How long a cluster may take to answer, and to show a worker. Chosen: a loaded network, not a worker yet to be started.
ANSWER_S: Final = 10.0
REMEDY: Final = "give the address of a running scheduler, such as tcp://192.0.2.7:8786, or leave --cluster out"


@contextmanager
def executor(cluster: str | None) -> Iterator[Executor]:
    """One process for each core, or the cluster at an address, while the block runs.

    Raises:
        BadUsage: When the library for clusters is missing, nobody answers at the address, the cluster has no worker or
            works with other versions, or it is lost on the way.
    """
    if cluster is None:
        with ProcessPoolExecutor() as pool:
            yield pool
        return
    distributed = _library(cluster)
    with _connected(distributed, cluster) as client:
        _compare(client, cluster)
        try:
            # Not pure: the same rehearsal asked for again is made again.
            yield client.get_executor(pure=False)
        except (CancelledError, OSError, distributed.KilledWorker) as lost:
            why = str(lost).partition("\n")[0]
            raise BadUsage(
                f"--cluster {cluster}: lost while it rehearsed ({why}); look at it, then start again"
            ) from lost


def _library(cluster: str) -> ModuleType:
    """dask.distributed: an extra, and slow to load, so only looked for when it is asked for."""
    try:
        found = import_module("distributed")
    except ImportError as missing:
        raise BadUsage(
            f"--cluster {cluster}: dask.distributed is not installed; install it with "
            f"`pip install 'gapwright[cluster]'`, or leave --cluster out"
        ) from missing
    # Its complaints come with traces; what matters of them is told by this module.
    for name in ("distributed", "distributed.client"):
        logging.getLogger(name).handlers[:] = [logging.NullHandler()]
    return found


@contextmanager
def _connected(distributed: ModuleType, cluster: str) -> Iterator[Any]:
    """A client of the cluster, with at least one worker behind it."""
    try:
        client = distributed.Client(cluster, timeout=ANSWER_S, set_as_default=False)
    except (OSError, ValueError) as silent:
        raise BadUsage(f"--cluster {cluster}: no scheduler answers there ({silent}); {REMEDY}") from silent
    with client:
        try:
            client.wait_for_workers(1, timeout=ANSWER_S)
        except TimeoutError as idle:
            raise BadUsage(f"--cluster {cluster}: it has no workers; start some, or leave --cluster out") from idle
        yield client


def _compare(client: Any, cluster: str) -> None:
    """Other versions may rehearse differently: they are refused."""
    ours = versions()
    for worker, theirs in _asked(client, cluster).items():
        for name in (name for name in ours if theirs.get(name) != ours[name]):
            raise BadUsage(
                f"--cluster {cluster}: worker {worker} has {name} {theirs.get(name, '(none)')}, here it is "
                f"{ours[name]}; install the same there"
            )


def _asked(client: Any, cluster: str) -> Mapping[str, Mapping[str, str]]:
    """What every worker says of its versions."""
    try:
        told: Mapping[str, Mapping[str, str]] = client.run(versions)
    except ModuleNotFoundError as missing:
        raise BadUsage(f"--cluster {cluster}: {missing} on a worker; install gapwright there as here") from missing
    return told
