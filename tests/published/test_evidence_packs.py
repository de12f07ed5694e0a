"""Evidence packs against the published standards they follow, by independent libraries."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import bagit
import pymerkle
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from compliance.ledger.seals import make_seal
from compliance.packs.scope import PackScope
from compliance.verify import layout
from compliance.verify.roots import GrowingTree, leaf_hashes
from tests.compliance.pack_scene import pack_of, stored_photo
from tests.compliance.scene import certified_scene, fitted


@pytest.fixture
def unpacked(db: None, tmp_path: Path) -> Path:
    """A pack of the whole ledger, unpacked by the standard library."""
    certified_scene(photo=stored_photo)
    make_seal()
    fitted(photo=stored_photo)
    zipped = tmp_path / "pack.zip"
    zipped.write_bytes(pack_of(PackScope(None, "The whole ledger")))
    with zipfile.ZipFile(zipped) as packed:
        packed.extractall(tmp_path)
    (folder,) = [path for path in tmp_path.iterdir() if path.is_dir()]
    return folder


def test_a_pack_is_a_valid_bag(unpacked: Path):
    """RFC 8493 (BagIt 1.0), validated by `bagit`, the Library of Congress's own library."""
    bag = bagit.Bag(str(unpacked))

    bag.validate()

    assert bag.version == "1.0"
    assert bag.algorithms == ["sha256"]
    assert set(bag.payload_files()) >= {layout.ENTRIES, layout.SEALS, layout.PACK}


def test_a_changed_pack_is_no_valid_bag(unpacked: Path):
    """The same library finds a byte that was added."""
    with (unpacked / layout.ENTRIES).open("ab") as file:
        file.write(b"\n")

    with pytest.raises(bagit.BagValidationError):
        bagit.Bag(str(unpacked)).validate()


def test_entries_give_the_roots_of_the_seals(unpacked: Path):
    """RFC 9162, section 2.1.1: `pymerkle` 7 works the roots out from the lines of the pack.

    Signatures are checked with `cryptography` (RFC 8032) over the bytes of `signed_text`.
    """
    tree = pymerkle.InmemoryTree(algorithm="sha256")
    for line in (unpacked / layout.ENTRIES).read_bytes().split(b"\n")[:-1]:
        tree.append_entry(line)
    seals = [json.loads(line) for line in (unpacked / layout.SEALS).read_text().splitlines()]

    assert len(seals) == 2
    for seal in seals:
        assert tree.get_root(seal["tree_size"]).hex() == seal["root_hash"]
        assert f"tree size: {seal['tree_size']}\n" in seal["signed_text"]
        assert seal["root_hash"] in seal["signed_text"]
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(seal["public_key"])).verify(
            bytes.fromhex(seal["signature"]), seal["signed_text"].encode()
        )


@pytest.mark.parametrize("block", [1, 2, 7, 64, 1000])
def test_a_tree_fed_in_blocks_has_the_root_of_one_fed_leaf_by_leaf(block: int):
    """RFC 9162, section 2.1.1, by `pymerkle` 7, at every size from 1 to 300."""
    independent = pymerkle.InmemoryTree(algorithm="sha256")
    lines = [f"entry {n}".encode() for n in range(300)]
    for line in lines:
        independent.append_entry(line)

    tree = GrowingTree()
    for start in range(0, len(lines), block):
        tree.extend(leaf_hashes(lines[start : start + block]))
        assert tree.root() == independent.get_root(tree.size)
    assert tree.size == 300
