"""What a verifier says: which thing is wrong, what was expected, what was found."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is not as it was written. where: the entry, photo, reading, Seal or file."""

    where: str
    what: str
    expected: str = ""
    found: str = ""

    def __str__(self) -> str:
        said = f"{self.where}: {self.what}."
        if self.expected:
            said += f" Expected {self.expected}"
            said += f", found {self.found}." if self.found else "."
        return said


class Unsound(Exception):
    """Raised where nothing after a fault can be made sense of."""

    def __init__(self, where: str, what: str, expected: object = "", found: object = "") -> None:
        self.fault = Fault(where, what, str(expected), str(found))
        super().__init__(str(self.fault))


@dataclass(frozen=True, slots=True)
class PackReport:
    """What was looked at, and what is wrong with it, the first thing first."""

    entries: int
    seals: int
    photos: int
    certificates: int
    notes: tuple[str, ...]
    faults: tuple[Fault, ...]

    @property
    def sound(self) -> bool:
        return not self.faults

    def __str__(self) -> str:
        looked = (
            f"{self.entries} entries, {self.seals} Seals, {self.photos} photos and "
            f"{self.certificates} certificates checked."
        )
        lines = [looked, *self.notes]
        if self.sound:
            lines.append("Sound: everything is as it was recorded.")
        else:
            lines.append(f"NOT SOUND. The first thing wrong: {self.faults[0]}")
            lines += [f"Also: {fault}" for fault in self.faults[1:]]
        return "\n".join(lines)
