"""Checks many packages and bundles by the rules of the trade, on as many workers as there are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.findings import Report
from provenance._base.progress import Progress, say_nothing
from provenance._catalogue.stores.records import find_sources
from provenance._catalogue.stores.spread import HERE, Broken, Crew, do_each
from provenance._record.package import DESCRIPTOR, Package
from provenance._record.remote import Place


@dataclass(frozen=True)
class Checked:
    """What came of checking one package or bundle.

    `report` is None when it could not be checked at all; `why` then says the reason. With a report,
    `why` names rules that broke down, '' as a rule.
    """

    path: Place
    report: Report | None
    why: str = ""

    @property
    def clean(self) -> bool:
        """True when it was checked in full and has neither error nor warning."""
        return self.report is not None and self.report.clean and not self.why


def sources_at(places: Sequence[Place]) -> list[Place]:
    """The packages and bundles that are named, or lie in the folders that are; each once.

    Raises UnusableInput for a place that holds neither.
    """
    found: dict[Place, None] = {}
    for place in places:
        sources = find_sources(place)
        if not sources:
            raise UnusableInput(f"{place} holds neither a package nor a bundle")
        found.update(dict.fromkeys(sources))
    return list(found)


def check_each(
    sources: Sequence[Place],
    *,
    second_opinion: bool = False,
    crew: Crew = HERE,
    progress: Progress = say_nothing,
) -> tuple[Checked, ...]:
    """Check packages and bundles, each as `check_package` does; results in the order of `sources`.

    With `second_opinion` the reference library is asked as well. One that cannot be checked stops
    no other. Raises TreenailError when a cluster fails (see catalogue/spread.py).
    """
    done: dict[Place, Checked] = {}
    for source, result in do_each(
        partial(check_source, second_opinion=second_opinion), sources, crew=crew
    ):
        if isinstance(result, Broken):
            result = Checked(source, None, result.reason)
        done[source] = result
        progress(len(done), len(sources))
    return tuple(done[source] for source in dict.fromkeys(sources))


def report_on(source: Place, *, second_opinion: bool = False) -> Report:
    """The report on one package or bundle; a zip is unpacked for it, since rules look at its files.

    Nothing is written into a bundle. Raises as `check_package`, and UnusableInput for a bundle that
    is not safe to read.
    """
    from provenance._bundle.verify import open_record, opened_bundle
    from provenance._record.package import open_package

    if isinstance(source, Path) and (source / DESCRIPTOR).is_file():
        return _reported(open_package(source), second_opinion)
    with opened_bundle(source) as folder:
        return _reported(open_record(folder), second_opinion)


def check_source(source: Place, *, second_opinion: bool = False) -> Checked:
    """Check one package or bundle, as `report_on`; what is wrong with it stands in the result."""
    from provenance._checks.check import RuleFailed

    try:
        return Checked(source, report_on(source, second_opinion=second_opinion))
    except RuleFailed as failed:
        return Checked(source, failed.report, str(failed))
    except TreenailError as error:
        return Checked(source, None, str(error))
    except OSError as error:
        return Checked(source, None, f"{error.filename or source}: {error.strerror or error}")


def _reported(package: Package, second_opinion: bool) -> Report:
    from provenance._checks.check import check_package

    report = check_package(package)
    if second_opinion:
        from provenance._checks.second_opinion import with_second_opinion

        report = with_second_opinion(package, report)
    return report
