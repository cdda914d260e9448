"""The bounded pool of processes that measure photos, so that the pages stay quick while they do."""

import asyncio
import multiprocessing
import signal
import threading
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from typing import ParamSpec, TypeVar

from service.measuring import Measured, measure
from service.options import Order

P = ParamSpec("P")
T = TypeVar("T")


class Busy(Exception):  # noqa: N818 - a state of the service, not a fault
    """As many photos as may wait are waiting."""


class WorkerLost(Exception):  # noqa: N818 - what happened, said plainly
    """A process that measured was ended from outside, for want of memory most likely."""


class Pool:
    """Measures photos in ``workers`` processes; at most ``queue`` more may wait.

    The processes start with the first photo, or with ``warm``.
    """

    def __init__(self, workers: int, queue: int) -> None:
        self._workers = workers
        self._places = threading.BoundedSemaphore(workers + queue)
        self._executor = self._start()

    async def measure(self, photo: bytes, name: str, order: Order, *, overlay: bool = False) -> Measured:
        """Measure one photo: ``service.measuring.measure`` by way of ``run``."""
        return await self.run(measure, photo, name, order, overlay=overlay)

    async def run(self, work: Callable[P, T], *arguments: P.args, **more: P.kwargs) -> T:
        """Call ``work``, a function of a module, in one of the processes.

        Raises
        ------
        Busy
            When no place to wait is left.
        WorkerLost
            When the process was ended under it.
        Exception
            Whatever ``work`` raises.
        """
        executor = self._executor
        try:
            return await asyncio.wrap_future(self._submit(executor, partial(work, *arguments, **more)))
        except BrokenProcessPool as fault:
            self._replace(executor)
            raise WorkerLost from fault

    def warm(self) -> None:
        """Start the processes and let them load what measuring needs."""
        for _ in range(self._workers):
            self._executor.submit(_load)

    def close(self) -> None:
        """End the processes; what waits is dropped."""
        self._executor.shutdown(wait=True, cancel_futures=True)

    def _submit(self, executor: ProcessPoolExecutor, work: Callable[[], T]) -> Future[T]:
        if not self._places.acquire(blocking=False):
            raise Busy
        try:
            future = executor.submit(work)
        except BaseException:
            self._places.release()
            raise
        future.add_done_callback(lambda _: self._places.release())
        return future

    def _replace(self, broken: ProcessPoolExecutor) -> None:
        # Every photo that was in the broken pool comes by here; the first one replaces it.
        if self._executor is broken:
            self._executor = self._start()
            broken.shutdown(wait=False)

    def _start(self) -> ProcessPoolExecutor:
        # "spawn": a fork of a process with threads may inherit locks that nobody will release.
        return ProcessPoolExecutor(
            self._workers, mp_context=multiprocessing.get_context("spawn"), initializer=_settle_in
        )


def _settle_in() -> None:
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which ends its workers itself
    cv2.setNumThreads(1)


def _load() -> None:
    import vision  # noqa: F401 - loading it is the point
