"""Reading ASN.1 in its distinguished encoding (ITU-T X.690), as far as signatures need it."""

from __future__ import annotations

from dataclasses import dataclass

INTEGER, OCTETS, OBJECT_ID, SEQUENCE, SET = 0x02, 0x04, 0x06, 0x30, 0x31


class NotDer(ValueError):
    """Bytes that are not what was to be read."""


@dataclass(frozen=True, slots=True)
class Node:
    """tag: its first byte. body: its contents. whole: tag, length and contents, as they came."""

    tag: int
    body: bytes
    whole: bytes

    def children(self) -> list[Node]:
        """The nodes in it. Raises NotDer."""
        found, at = [], 0
        while at < len(self.body):
            node = read(self.body, at)
            found.append(node)
            at += len(node.whole)
        return found

    def expect(self, tag: int) -> Node:
        """Itself, if it has this tag. Raises NotDer."""
        if self.tag != tag:
            raise NotDer(f"tag {self.tag:#04x} stands where {tag:#04x} belongs")
        return self

    def number(self) -> int:
        return int.from_bytes(self.expect(INTEGER).body, "big", signed=True)

    def object_id(self) -> str:
        """In hexadecimal, as it is encoded."""
        return self.expect(OBJECT_ID).body.hex()


def read(content: bytes, at: int = 0) -> Node:
    """The node that begins at `at`; what follows it is left alone. Raises NotDer."""
    try:
        tag, length, start = content[at], content[at + 1], at + 2
        if length & 0x80:
            size = length & 0x7F
            if not 1 <= size <= 4:
                raise NotDer("a length of an unknown form")
            length = int.from_bytes(content[start : start + size], "big")
            start += size
    except IndexError:
        raise NotDer("it ends too early") from None
    if start + length > len(content):
        raise NotDer("it ends too early")
    return Node(tag, content[start : start + length], content[at : start + length])
