"""The ledger's tree against the specification and against an independent library."""

from __future__ import annotations

import hashlib

import pymerkle
import pytest

from compliance.ledger.tree import (
    EMPTY_ROOT,
    Frontier,
    MemoryTree,
    Paths,
    consistency_path,
    inclusion_path,
    leaf_hash,
    node_hash,
    root_hash,
    verify_consistency,
    verify_inclusion,
)

# The leaves of the test tree that Certificate Transparency implementations share.
LEAVES = [
    bytes.fromhex(text)
    for text in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = (
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)
SIZES = (1, 2, 3, 4, 5, 7, 8, 9, 15, 16, 17, 31, 33, 64, 100)


def entry(number: int) -> bytes:
    return f"entry {number}".encode()


def tree_of(size: int) -> MemoryTree:
    return MemoryTree(leaf_hash(entry(i)) for i in range(size))


def independent_tree(size: int) -> pymerkle.InmemoryTree:
    tree = pymerkle.InmemoryTree(algorithm="sha256")
    for i in range(size):
        tree.append_entry(entry(i))
    return tree


def test_the_empty_tree_has_the_hash_of_nothing():
    """RFC 9162, section 2.1.1: MTH({}) = HASH()."""
    assert hashlib.sha256().digest() == EMPTY_ROOT
    assert root_hash(0, MemoryTree([]).lookup) == EMPTY_ROOT


@pytest.mark.parametrize(("size", "root"), list(enumerate(ROOTS, start=1)))
def test_roots_of_the_shared_test_tree(size: int, root: str):
    """The eight inputs and roots of the Certificate Transparency reference test tree.

    Values transcribed from memory [M]; each was confirmed here by `pymerkle` and, for the
    single empty leaf, by SHA-256 of the byte 00 (RFC 9162, section 2.1.1).
    """
    tree = MemoryTree(leaf_hash(leaf) for leaf in LEAVES[:size])
    independent = pymerkle.InmemoryTree(algorithm="sha256")
    for leaf in LEAVES[:size]:
        independent.append_entry(leaf)

    assert tree.root().hex() == root
    assert independent.get_root().hex() == root


@pytest.mark.parametrize("size", SIZES)
def test_roots_agree_with_an_independent_library(size: int):
    """`pymerkle` 7, which implements the tree of RFC 9162."""
    tree, independent = tree_of(size), independent_tree(size)
    frontier = Frontier()

    for part in range(1, size + 1):
        frontier.add(leaf_hash(entry(part - 1)))
        assert tree.root(part) == independent.get_root(part) == frontier.root()


@pytest.mark.parametrize("size", SIZES)
def test_inclusion_proofs_agree_with_an_independent_library(size: int):
    """RFC 9162, section 2.1.3; the independent proof is `pymerkle` 7's, checked by ours."""
    tree, independent = tree_of(size), independent_tree(size)
    root = tree.root()
    in_a_row, jumping = Paths(size, tree.lookup), Paths(size, tree.lookup)

    for index in range(size):
        path = inclusion_path(index, size, tree.lookup)
        assert in_a_row.path(index) == path
        far = index * 7 % size
        assert jumping.path(far) == inclusion_path(far, size, tree.lookup)
        theirs = independent.prove_inclusion(index + 1, size)
        assert [bytes(node) for node in theirs.path[1:]] == path
        assert verify_inclusion(index, size, leaf_hash(entry(index)), path, root)


@pytest.mark.parametrize("size", SIZES)
def test_consistency_proofs_are_accepted_and_any_other_root_is_not(size: int):
    """RFC 9162, section 2.1.4, for every earlier size; roots from `pymerkle` 7."""
    tree, independent = tree_of(size), independent_tree(size)

    for first in range(1, size + 1):
        path = consistency_path(first, size, tree.lookup)
        old, new = independent.get_root(first), independent.get_root(size)
        assert verify_consistency(first, size, old, new, path)
        if first != size:
            assert not verify_consistency(first, size, bytes(32), new, path)
            assert not verify_consistency(first, size, old, bytes(32), path)


def test_the_worked_proofs_of_the_specification():
    """RFC 9162, section 2.1.5: the tree of seven leaves d0 to d6.

    Inclusion of d0 is [b, h, l], of d3 [c, g, l], of d4 [f, j, k], of d6 [i, k]; consistency
    of 3 is [c, d, g, l], of 4 [l], of 6 [i, j, k]. Letters are nodes of the drawing there.
    """
    a, b, c, d, e, f, j = (leaf_hash(entry(i)) for i in range(7))
    g, h, i = node_hash(a, b), node_hash(c, d), node_hash(e, f)
    k, l = node_hash(g, h), node_hash(i, j)  # noqa: E741  (the letters of the drawing)
    tree = tree_of(7)

    assert tree.root() == node_hash(k, l)
    assert inclusion_path(0, 7, tree.lookup) == [b, h, l]
    assert inclusion_path(3, 7, tree.lookup) == [c, g, l]
    assert inclusion_path(4, 7, tree.lookup) == [f, j, k]
    assert inclusion_path(6, 7, tree.lookup) == [i, k]
    assert consistency_path(3, 7, tree.lookup) == [c, d, g, l]
    assert consistency_path(4, 7, tree.lookup) == [l]
    assert consistency_path(6, 7, tree.lookup) == [i, j, k]


def test_a_proof_that_was_touched_proves_nothing():
    """RFC 9162, section 2.1.3.2: a wrong node, order, length, index or size fails."""
    tree = tree_of(13)
    leaf, path = leaf_hash(entry(5)), inclusion_path(5, 13, tree.lookup)
    root = tree.root()

    assert verify_inclusion(5, 13, leaf, path, root)
    assert not verify_inclusion(5, 13, leaf, path[::-1], root)
    assert not verify_inclusion(5, 13, leaf, path[:-1], root)
    assert not verify_inclusion(5, 13, leaf, [*path, root], root)
    assert not verify_inclusion(4, 13, leaf, path, root)
    assert not verify_inclusion(5, 8, leaf, path, root)
    assert not verify_inclusion(5, 13, leaf_hash(b"another"), path, root)
