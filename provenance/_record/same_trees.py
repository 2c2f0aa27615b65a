"""Tells which pieces of wood are said to be of one tree."""

from __future__ import annotations

from collections.abc import Mapping

from provenance._record.joined import standing_results
from provenance._record.snapshot import Snapshot


def same_trees(tables: Snapshot) -> Mapping[str, str]:
    """Every piece of wood → its tree, which is called by the least code of its pieces.

    Joined are pieces by the word of a laboratory about their samples in a result that stands
    (`same_tree_sample_id`) and by that of the field record (`same_tree_element_id`), also through
    others. A piece of which nobody said so is a tree of its own: more trees can be one tree.
    """
    found: Mapping[str, str] = tables.once("same trees", _joined)
    return found


def tree_words(tables: Snapshot) -> list[tuple[str, str]]:
    """Two pieces of wood each that somebody says are of one tree, both in the record."""
    wood = tables["element"]
    known = set(wood["element_id"].drop_nulls())
    pairs: list[tuple[str, str]] = []
    if "same_tree_element_id" in wood.columns:
        pairs += wood.select("element_id", "same_tree_element_id").drop_nulls().iter_rows()
    results = standing_results(tables)
    if "same_tree_sample_id" in results.columns:
        said = results.select("sample_id", "same_tree_sample_id").drop_nulls()
        if len(said):
            samples = tables["sample"].select("sample_id", "element_id").drop_nulls()
            of = dict(samples.unique("sample_id", keep="first").iter_rows())
            pairs += [(of.get(one, ""), of.get(other, "")) for one, other in said.iter_rows()]
    return [(one, other) for one, other in pairs if {one, other} <= known and one != other]


def joined_pieces(tables: Snapshot) -> set[str]:
    """The wood that somebody says is of one tree with other wood."""
    return {one for pair in tree_words(tables) for one in pair}


def _joined(tables: Snapshot) -> dict[str, str]:
    trees = {one: one for one in tables["element"]["element_id"].drop_nulls()}
    if pairs := tree_words(tables):
        import networkx as nx  # half a second, and most records have no such word

        for pieces in nx.connected_components(nx.Graph(pairs)):
            trees |= dict.fromkeys(pieces, min(pieces))
    return trees
