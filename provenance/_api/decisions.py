"""The words by which a person decides what stands in a record; each is one act that can be undone.

In all of them `by` is who says so, as they call themselves, and `why` the reason. All raise
Refused (a TreenailError) where it cannot be, and UnusablePackage for a record without a history or
with one that was edited by hand; the record is then as it was.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from provenance._history.deciding import Deciding, Done
    from provenance._record.package import Package


class Decisions:
    """What a record can be told, in the words of the commands."""

    def _to_change(self) -> Package:
        raise NotImplementedError

    def _decide(self, decision: Deciding, by: str, why: str) -> Done:
        from provenance._history.deciding import decide

        return decide(self._to_change(), decision, who=by, why=why)

    def correct(self, table: str, key: str, cells: Mapping[str, str], *, by: str, why: str) -> Done:
        """Say what cells of a row hold, as texts by field; '' blanks one.

        Sizes are in the field's own unit. A conflict about such a cell is settled by it.
        """
        from provenance._history.deciding import correct

        return self._decide(correct(table, key, cells), by, why)

    def settle(self, table: str, key: str, field: str, value: str, *, by: str, why: str) -> Done:
        """Settle a conflict about one cell; refused where there is none."""
        from provenance._history.deciding import settle

        return self._decide(settle(table, key, field, value), by, why)

    def rename(self, table: str, key: str, new_key: str, *, by: str, why: str) -> Done:
        """Call a row otherwise, with everything that refers to it."""
        from provenance._history.deciding import rename

        return self._decide(rename(table, key, new_key), by, why)

    def remove(self, table: str, key: str, *, by: str, why: str) -> Done:
        """Take a row out; it stays in the history, and no import brings it back."""
        from provenance._history.deciding import remove

        return self._decide(remove(table, key), by, why)

    def restore(self, table: str, key: str, *, by: str, why: str) -> Done:
        """Put a row back that someone took out."""
        from provenance._history.deciding import restore

        return self._decide(restore(table, key), by, why)

    def split(
        self, table: str, key: str, new_key: str, *, sources: Sequence[str], by: str, why: str
    ) -> Done:
        """Say that what some received files (IN-…) state of a key is another row."""
        from provenance._history.deciding import split

        return self._decide(split(table, key, sources, new_key), by, why)

    def join(self, table: str, key: str, into: str, *, by: str, why: str) -> Done:
        """Say that two rows are one, called `into`."""
        from provenance._history.deciding import join

        return self._decide(join(table, key, into), by, why)

    def accept(self, rule: str, table: str, key: str, *, by: str, why: str) -> Done:
        """Let what a rule of the check says of a row stand, as long as it says just that."""
        from provenance._history.deciding import accept

        return self._decide(accept(findings_named(self._to_change(), rule, table, key)), by, why)

    def release(
        self, where: str, *, by: str, because: str, like: str = "", known_words: bool = False
    ) -> int:
        """Let the public edition show what waits in a field, such as 'element.notes'.

        Texts in which the search finds something, and photos, are not released so. With `like` (a
        text or its shape, digits stand for any) or `known_words` it is a rule for later texts too.

        Returns:
            How many different texts it covers now.
        """
        return self._review(where, "release", by, because, like, known_words)

    def withhold(
        self, where: str, *, by: str, because: str, like: str = "", known_words: bool = False
    ) -> int:
        """Keep what waits in a field out of the public edition; see `release`."""
        return self._review(where, "withhold", by, because, like, known_words)

    def decided(self, path: str | Path, *, by: str, because: str = "") -> int:
        """Read the decisions in a list that `Review` wrote and a person filled in.

        Returns:
            How many decisions were recorded.

        Raises:
            UnusableInput: the file cannot be read; row, column and value are named.
        """
        from provenance._bundle.review.deciding import decide_one_by_one
        from provenance._bundle.review.review import review_package
        from provenance._bundle.review.sheet import read_list

        review, path = review_package(self._to_change()), Path(path)
        why = because or f"review: {path.name}"
        return decide_one_by_one(review, read_list(review, path), by=by, why=why)

    def _review(
        self, where: str, decision: str, by: str, because: str, like: str, known_words: bool
    ) -> int:
        from provenance._bundle.review.deciding import decide_by_rule, decide_field

        package = self._to_change()
        if not (like or known_words):
            return decide_field(package, where, decision, by=by, reason=because)
        return decide_by_rule(
            package, where, decision, by=by, reason=because, like=like, known_words=known_words
        )

    def undo(self, act: str, *, by: str, why: str = "") -> Done:
        """Take an act back: its code or the first digits of it, or 'last'; an undo too."""
        from provenance._history.deciding import undo

        return self._decide(undo(act), by, why)


def findings_named(
    package: Package, rule: str, table: str, key: str
) -> list[tuple[str, str, str, str, str]]:
    """What a rule says of a row, as `accept` takes it; raises Refused where it says nothing."""
    from provenance._checks.check import check_package
    from provenance._history.deciding import Refused
    from provenance._lab.reconcile import NO_RESULT, NOT_SENT, reconcile_results

    compared = rule in (NO_RESULT, NOT_SENT)
    report = reconcile_results(package).findings if compared else check_package(package)
    found = report.to_accept(rule, table, key)
    if not found:
        raise Refused(f"the check does not say {rule} of {table} {key}")
    return found
