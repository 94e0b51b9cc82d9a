"""A cluster of machines that judges for a fleet which outgrows one machine."""

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager

from spinproof.model.errors import ClusterError

PATIENCE_S = 10.0
"""How long the scheduler may take to answer. [s]"""


@contextmanager
def reached(address: str) -> Iterator[Executor]:
    """Reach the scheduler of a cluster.

    Parameters
    ----------
    address : str
        Where it answers, for example tcp://HOST:8786.

    Yields
    ------
    Executor
        Takes work as a pool of processes does; what is still waiting is called off at the end.

    Raises
    ------
    ClusterError
        If the package of the optional extra is missing, the scheduler does not answer, or it has
        no worker.
    """
    try:
        from distributed import Client  # noqa: PLC0415 - an optional extra, needed here alone
    except ImportError as error:
        raise ClusterError(
            "work on a cluster needs the package distributed, which is not installed",
            where=address,
            mend='Install it with: pip install "spinproof[fleet]".',
        ) from error
    try:
        client = Client(  # type: ignore[no-untyped-call]  # distributed leaves it untyped
            address, timeout=PATIENCE_S, set_as_default=False
        )
    except (OSError, ValueError, TimeoutError) as error:
        raise ClusterError(
            "the scheduler of the cluster cannot be reached",
            where=address,
            mend="Check its address, and that it runs; or leave --cluster out.",
        ) from error
    with client:
        if not client.scheduler_info()["workers"]:
            raise ClusterError(
                "the cluster has no worker",
                where=address,
                mend="Start a worker that sees the shop's folder, with this program installed.",
            )
        executor = client.get_executor()  # type: ignore[no-untyped-call]  # as above
        try:
            yield executor
        finally:
            executor.shutdown(wait=False)
