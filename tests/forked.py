"""Processes to be killed, or to work side by side: forked from one that has imported everything.

Importing takes longer than most of what they do. The one they are forked from has never used the
table engine, whose threads a fork would lack.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext
from multiprocessing.process import BaseProcess
from typing import Any

PRELOADED = (
    "click.testing",
    "distributed",
    "pandas",
    "pytest",
    "rocrate.rocrate",
    "jinja2",
    "provenance._accession.accession",
    "provenance._bundle.pack",
    "provenance._catalogue.audit.audit",
    "provenance._catalogue.build",
    "provenance._checks.check",
    "provenance._history.deciding",
    "provenance._intake.importing",
    "provenance._identity.stamps",
)


def forking() -> ForkServerContext:
    """Where such processes come from, also for libraries that start their own."""
    context = get_context("forkserver")
    # has no effect once the first process was asked for
    context.set_forkserver_preload([one for one in PRELOADED if importlib.util.find_spec(one)])
    return context


def started(work: Callable[..., object], *arguments: Any) -> BaseProcess:
    """A process that is about to begin with `work`, which must be a function of a module."""
    coming, going = forking().Pipe(duplex=False)
    process = forking().Process(target=_tell_and_work, args=(going, work, *arguments))
    process.start()
    going.close()
    assert coming.recv() == "ready"
    coming.close()
    return process


def _tell_and_work(told: Connection, work: Callable[..., object], *arguments: Any) -> None:
    told.send("ready")
    told.close()
    work(*arguments)
