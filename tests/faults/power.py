"""What may be on the disk after a power cut: a small model of a file system, fed with the journal of a command.

Bytes written since a file's last fsync may be there, missing, torn or zero, in any order. Names made, changed and
removed since their folder's last fsync may have come to pass or not, each for itself and each at once: that a rename is
not seen half done is all that is asked of a file system (POSIX asks it).
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePath

from tests.faults.disk import Call

SECTOR = 512  # bytes that a disk writes at once
State = dict[str, bytes]


@dataclass
class _File:
    sure: bytes = b""
    since: list[tuple[int, bytes] | None] = field(default_factory=list)  # None empties the file


@dataclass
class Platter:
    """A disk: what is sure to be there, and what is on its way."""

    files: dict[int, _File]
    names: dict[str, int]
    since: list[tuple[str, str, int]] = field(default_factory=list)  # folder and new name, or name that went

    @classmethod
    def of(cls, before: Mapping[str, bytes]) -> Platter:
        """The files of a folder, all of them safe."""
        files = {-number: _File(content) for number, content in enumerate(before.values(), start=1)}
        return cls(files, dict(zip(before, files, strict=True)))

    def do(self, call: Call) -> None:
        """Take one call of the journal."""
        file = self.files.setdefault(call.node, _File())
        if call.what == "create":
            self.since.append(("put", call.path, call.node))
        elif call.what == "truncate":
            file.since.append(None)
        elif call.what == "write":
            file.since.append((call.offset, call.data))
        elif call.what == "rename":
            self.since += [("rename", f"{call.path}\0{call.other}", call.node)]
        elif call.what == "unlink":
            self.since.append(("go", call.path, call.node))
        elif call.what == "fsync" and call.node:
            file.sure, file.since = _written(file, [1] * len(file.since), None), []
        elif call.what == "fsync":
            here = [change for change in self.since if _folder(change) == call.path]
            _name(self.names, here)
            self.since = [change for change in self.since if change not in here]

    def cut(self, chance: random.Random, data: str = "any", names: str = "any") -> State:
        """What may be found after a power cut now; "all", "none" or "any" of what is on its way has arrived."""
        there = dict(self.names)
        _name(there, [change for change in self.since if _arrives(chance, names)])
        found = {}
        for path, node in there.items():
            file = self.files[node]
            fates = [1 if data == "all" else 0 if data == "none" else chance.choice((0, 1, 2, 3)) for _ in file.since]
            found[path] = _written(file, fates, chance)
        return found


def _arrives(chance: random.Random, which: str) -> bool:
    return which == "all" or (which == "any" and chance.random() < 0.5)


def _folder(change: tuple[str, str, int]) -> str:
    return str(PurePath(change[1].split("\0")[0]).parent)


def _name(names: dict[str, int], changes: Sequence[tuple[str, str, int]]) -> None:
    for what, name, node in changes:
        if what == "put":
            names[name] = node
        elif what == "go":
            if names.get(name) == node or node == 0:
                names.pop(name, None)
        else:
            old, new = name.split("\0")
            if names.get(old) == node:
                del names[old]
            names[new] = node


def _written(file: _File, fates: Sequence[int], chance: random.Random | None) -> bytes:
    """The file with what is on its way: 0 lost, 1 arrived, 2 torn at a sector, 3 zeros in its place."""
    content = bytearray(file.sure)
    for change, fate in zip(file.since, fates, strict=True):
        if change is None:
            content = bytearray() if fate else content
            continue
        offset, data = change
        if fate == 0:
            continue
        piece = data if fate == 1 else bytes(len(data))
        if fate == 2 and chance is not None:
            piece = data[: chance.randrange(len(data) // SECTOR + 1) * SECTOR]
        content.extend(bytes(max(offset + len(piece) - len(content), 0)))
        content[offset : offset + len(piece)] = piece
    return bytes(content)


def cuts(
    before: Mapping[str, bytes], journal: Sequence[Call], seed: int, random_ones: int
) -> Iterator[tuple[int, State]]:
    """A power cut after every call of a journal: the call's number and what may be found, in several ways each."""
    chance = random.Random(seed)
    disk = Platter.of(before)
    for number in range(len(journal) + 1):
        for data in ("all", "none"):
            for names in ("all", "none"):
                yield number, disk.cut(chance, data, names)
        for _ in range(random_ones):
            yield number, disk.cut(chance)
        if number < len(journal):
            disk.do(journal[number])
