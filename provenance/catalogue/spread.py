"""Does one piece of work a bundle: here, on several processes, or on a cluster that is running.

Several processes and clusters are Dask's (distributed.dask.org, the extra `treenail[cluster]`). A
worker that dies takes its pieces with it; they are tried again elsewhere, and a piece that brings
down one worker after another is given up and named. Each piece yields one result, never two.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from provenance.errors import TreenailError

__all__ = ["HERE", "Broken", "Crew", "assembled", "do_each"]

Item = TypeVar("Item")
Result = TypeVar("Result")

AHEAD = 4
"""Pieces handed out ahead a worker, so that a time budget ends soon after it is used up."""

TRIES = 3
CONNECT_SECONDS = 20


@dataclass(frozen=True)
class Crew:
    """Who does the work: `workers` processes of this machine, or the cluster at `scheduler`.

    A cluster must see the bundles at the same paths and have this program installed.
    """

    workers: int = 1
    scheduler: str | None = None

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


def do_each(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    crew: Crew = HERE,
    go_on: Callable[[], bool] = lambda: True,
) -> Iterator[tuple[Item, Result | Broken]]:
    """Yield (item, result or Broken) as each is done, in any order; `items` must be hashable.

    `go_on` is asked before each item is handed out; once it says no, only what is under way is
    finished. `work` must be a function that can be pickled. Raises TreenailError when Dask is not
    installed or the cluster does not answer.
    """
    guarded = _Guarded(work)
    if not items:
        return
    if crew.is_here:
        for item in items:
            if not go_on():
                return
            yield item, guarded(item)
        return
    with assembled(crew) as gathered, closing(_client(gathered)) as client:
        yield from _on_dask(client, guarded, items, go_on)


def _on_dask(
    client: Any, work: Callable[[Item], Any], items: Sequence[Item], go_on: Callable[[], bool]
) -> Iterator[tuple[Item, Any]]:
    waiting = iter(dict.fromkeys(items))
    of_future: dict[Any, Item] = {}
    done = _dask().as_completed(loop=client.loop)

    def hand_out() -> None:
        most = AHEAD * max(1, len(client.scheduler_info(n_workers=-1)["workers"]))
        while len(of_future) < most and go_on():
            try:
                item = next(waiting)
            except StopIteration:
                return
            # impure: the same bundle may give another result tomorrow, so no result is kept
            future = client.submit(work, item, pure=False, retries=TRIES)
            of_future[future.key] = item
            done.add(future)

    suspects = []
    hand_out()
    for future in done:
        item = of_future.pop(future.key)
        error = future.exception()
        if error is None:
            yield item, future.result()
        elif isinstance(error, _dask().KilledWorker):
            suspects.append(item)
        else:
            yield item, Broken(f"{type(error).__name__}: {error}")
        hand_out()
    # whatever waited beside a piece that kills workers is blamed with it: now each goes alone
    for item in suspects:
        future = client.submit(work, item, pure=False, retries=TRIES)
        error = future.exception()
        if error is None:
            yield item, future.result()
        else:
            yield item, Broken(f"it brought down one worker after another: {error}")


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
        yield Crew(crew.workers, cluster.scheduler_address)


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
