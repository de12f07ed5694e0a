"""The Ledger: a Merkle tree over every fact, sealed under signatures, checkable by anyone."""
