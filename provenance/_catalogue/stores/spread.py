"""Does one piece of work a bundle: here, on several processes, or on a cluster that is running.

Several processes and clusters are Dask's (distributed.dask.org, the extra `treenail[cluster]`). A
worker that dies takes its pieces with it; they are tried again elsewhere, and a piece that brings
down one worker after another is given up and named. Each piece yields one result, never two. A
cluster that has no worker left is waited for a stated time, then given up with a word.
"""

from __future__ import annotations

import importlib
import queue
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from provenance._base.errors import TreenailError

Item = TypeVar("Item")
Result = TypeVar("Result")

AHEAD = 4
"""Pieces handed out ahead a worker, so that a time budget ends soon after it is used up."""

TRIES = 3
CONNECT_SECONDS = 20
LOOK_SECONDS = 1.0


@dataclass(frozen=True)
class Crew:
    """Who does the work: `workers` processes of this machine, or the cluster at `scheduler`.

    A cluster must see the bundles at the same paths and have this program installed. When it has no
    worker for `patience` seconds, the work is given up.
    """

    workers: int = 1
    scheduler: str | None = None
    patience: float = 60.0

    @property
    def is_here(self) -> bool:
        """Whether the work is done in this process, without Dask."""
        return self.scheduler is None and self.workers <= 1


HERE = Crew()


@dataclass(frozen=True)
class Broken:
    """A piece of work that could not be done: the machine failed, or this program did."""

    reason: str


@dataclass(frozen=True)
class _Guarded(Generic[Item, Result]):
    """The work on one item with its errors caught, so that one failure stops nothing else."""

    work: Callable[[Item], Result]

    def __call__(self, item: Item) -> Result | Broken:
        try:
            return self.work(item)
        except Exception as error:
            return Broken(f"{type(error).__name__}: {error}")


def nothing_more(item: object, result: object) -> tuple[()]:
    """What follows from a piece of work that stands for itself."""
    return ()


def do_each(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    crew: Crew = HERE,
    go_on: Callable[[], bool] = lambda: True,
    more: Callable[[Item, Result | Broken], Iterable[Item]] = nothing_more,
) -> Iterator[tuple[Item, Result | Broken]]:
    """Yield (item, result or Broken) as each is done, in any order; `items` must be hashable.

    `go_on` is asked before each item is handed out; once it says no, only what is under way is
    finished. `more` is asked with each result for the items that follow from it; they are done
    next, as a part of what is under way. `work` must be a function that can be pickled.
    Raises TreenailError when Dask is not installed, the cluster does not answer, or it has had no
    worker for as long as the crew's patience lasts.
    """
    guarded = _Guarded(work)
    to_do = _ToDo(deque(dict.fromkeys(items)), go_on)
    if not items:
        return
    if crew.is_here:
        for item in to_do:
            result = guarded(item)
            to_do.next_are(more(item, result))
            yield item, result
        return
    with assembled(crew) as gathered, closing(_client(gathered)) as client:
        yield from _OnDask(client, guarded, to_do, more, gathered).results()


class _ToDo(Generic[Item]):
    """What is still to be handed out; iterating may go on after it has ended for a while."""

    def __init__(self, waiting: deque[Item], go_on: Callable[[], bool]) -> None:
        self._waiting = waiting
        self._begun: deque[Item] = deque()
        self._go_on = go_on
        self._stopped = False

    def next_are(self, items: Iterable[Item]) -> None:
        self._begun.extend(items)

    def __iter__(self) -> _ToDo[Item]:
        return self

    def __next__(self) -> Item:
        if self._begun:
            return self._begun.popleft()
        if self._stopped or not self._waiting:
            raise StopIteration
        self._stopped = not self._go_on()
        if self._stopped:
            raise StopIteration
        return self._waiting.popleft()


class _OnDask(Generic[Item, Result]):
    """The same on a cluster: a few items a worker are handed out, and more as they are done."""

    def __init__(
        self,
        client: Any,
        work: Callable[[Item], Result | Broken],
        to_do: _ToDo[Item],
        more: Callable[[Item, Result | Broken], Iterable[Item]],
        crew: Crew,
    ) -> None:
        self._client = client
        self._work = work
        self._to_do = to_do
        self._more = more
        self._crew = crew
        self._running: dict[str, Item] = {}
        self._done: queue.SimpleQueue[Any] = queue.SimpleQueue()

    def results(self) -> Iterator[tuple[Item, Result | Broken]]:
        suspects: deque[Item] = deque()
        alone = False
        while True:
            if not alone:
                self._hand_out()
            if not self._running:
                if not suspects:
                    return
                # whatever waited beside a piece that kills workers is blamed with it: now each
                # goes alone
                alone = True
                self._submit(suspects.popleft())
            future = self._next_done()
            try:
                result: Result | Broken = future.result(timeout=self._crew.patience)
            except TimeoutError:
                # its worker died with the result, which is being computed again
                future.add_done_callback(self._done.put)
                continue
            except Exception as error:
                if isinstance(error, _dask().KilledWorker) and not alone:
                    suspects.append(self._running.pop(future.key))
                    continue
                result = _broken(error)
            item = self._running.pop(future.key)
            alone = False
            self._to_do.next_are(self._more(item, result))
            yield item, result

    def _hand_out(self) -> None:
        most = AHEAD * max(1, self._workers())
        while len(self._running) < most:
            try:
                self._submit(next(self._to_do))
            except StopIteration:
                return

    def _submit(self, item: Item) -> None:
        # impure: the same bundle may give another result tomorrow, so no result is kept
        future = self._client.submit(self._work, item, pure=False, retries=TRIES)
        self._running[future.key] = item
        future.add_done_callback(self._done.put)

    def _workers(self) -> int:
        return len(self._client.scheduler_info(n_workers=-1)["workers"])

    def _next_done(self) -> Any:
        last_seen = time.monotonic()
        while True:
            try:
                future = self._done.get(timeout=LOOK_SECONDS)
            except queue.Empty:
                if self._client.status == "running" and self._workers():
                    last_seen = time.monotonic()
                waited = time.monotonic() - last_seen
                if waited > self._crew.patience:
                    raise self._given_up(f"has had no worker for {waited:.0f} s") from None
                continue
            if future.status == "cancelled":
                raise self._given_up("lost the work: its scheduler ended or was stopped")
            if future.status in ("lost", "pending"):
                # its worker died with the result, which is being computed again
                future.add_done_callback(self._done.put)
                continue
            return future

    def _given_up(self, what: str) -> TreenailError:
        return TreenailError(
            f"the cluster at {self._crew.scheduler} {what}; {len(self._running)} tasks were under "
            "way. Finished work is kept: start scheduler and workers, then run "
            "it again"
        )


def _broken(error: BaseException) -> Broken:
    if isinstance(error, _dask().KilledWorker):
        return Broken(f"it crashed one worker after another: {error}")
    return Broken(f"{type(error).__name__}: {error}")


@contextmanager
def assembled(crew: Crew) -> Iterator[Crew]:
    """Start the processes of a crew once for several rounds of work; they end with the block."""
    if crew.is_here or crew.scheduler is not None:
        yield crew
        return
    with _dask().LocalCluster(
        n_workers=crew.workers,
        threads_per_worker=1,
        processes=True,
        dashboard_address=None,
        silence_logs=50,
    ) as cluster:
        yield Crew(crew.workers, cluster.scheduler_address, crew.patience)


def _client(crew: Crew) -> Any:
    try:
        return _dask().Client(crew.scheduler, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError) as error:
        raise TreenailError(
            f"no cluster answers at {crew.scheduler}: {error}; start one, or use --workers"
        ) from error


def _dask() -> Any:
    """The engine, which is an extra; it is typed in part only, hence Any."""
    try:
        return importlib.import_module("distributed")
    except ImportError as error:
        raise TreenailError(
            "several workers need Dask, which is not installed: pip install 'treenail[cluster]'"
        ) from error
