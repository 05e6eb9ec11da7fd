"""A layer between Python and the files below some folders: it counts the calls that write, keeps a journal, and fails.

It replaces the functions of `os`, and `open`, through which pathlib, shutil, tempfile and zipfile reach files. What a
compiled library opens by itself (the workbook reader does, to read) goes past it.
"""

from __future__ import annotations

import builtins
import contextlib
import errno
import io
import os
import shutil
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

BLOCK = 16_384  # bytes that one write call takes at most, so that a file is written in several
FULL_DISK_REFUSES = frozenset(("create", "write", "mkdir", "link"))


@dataclass(frozen=True)
class Call:
    """One call that writes: what, on which file of the folders, and what the power-cut model needs of it."""

    what: str
    path: str
    other: str = ""  # the new name of a rename
    node: int = 0  # which file, whatever its name by then
    offset: int = 0
    data: bytes = b""


@dataclass(frozen=True)
class Fault:
    """What goes wrong: an error number, from which call on, and for how long.

    `lasting` is "once", "on" (every later call that writes fails too) or "lost" (looking and opening fail as well).
    `act`, where given, happens instead of an error: another program at work, or an interruption.
    """

    name: str
    code: int = 0
    lasting: str = "once"
    act: Callable[[], None] | None = None

    def fails(self, what: str) -> bool:
        """Whether a later call fails: a full disk still lets files be removed and renamed."""
        return self.code not in (errno.ENOSPC, errno.EDQUOT) or what in FULL_DISK_REFUSES


@dataclass
class Disk:
    """The layer over some folders; `at` is the number of the call at which the fault begins, None for none."""

    folders: tuple[Path, ...]
    fault: Fault | None = None
    at: int | None = None
    calls: list[Call] = field(default_factory=list)
    struck: bool = False
    _nodes: dict[str, int] = field(default_factory=dict)
    _files: dict[int, tuple[str, int]] = field(default_factory=dict)

    # ------------------------------------------------------------------------------------------------ bookkeeping

    def inside(self, path: object, folder: int | None = None) -> str | None:
        """The path where it lies below the folders, else None."""
        if isinstance(path, int):
            found = self._files.get(path)
            return found[0] if found else None
        text = os.fsdecode(path)  # type: ignore[arg-type]
        if folder is not None and not text.startswith(os.sep):
            base = self._files.get(folder)
            if base is None:
                return None
            text = os.path.join(base[0], text)  # noqa: PTH118 - pathlib would come back here
        text = os.path.abspath(text)  # noqa: PTH100
        return (
            text if any(text == str(place) or text.startswith(f"{place}{os.sep}") for place in self.folders) else None
        )

    def know(self, paths: Iterable[str]) -> None:
        """Number the files that are there: -1, -2 and so on."""
        self._nodes |= {path: -number for number, path in enumerate(paths, start=1)}

    def node(self, path: str) -> int:
        return self._nodes.setdefault(path, len(self._nodes) + 1_000 * len(self.calls) + 1)

    def strike(self, what: str, path: str, half: Callable[[], None] | None = None) -> None:
        """Raise where this call is to fail; a failing write may have put half of its bytes there."""
        fault, number = self.fault, len(self.calls)
        if fault is None or self.at is None or number < self.at:
            return
        if not self.struck:
            self.struck = True
            if fault.act is not None:
                fault.act()
                return
        elif fault.act is not None or fault.lasting == "once" or not fault.fails(what):
            return
        if half is not None and fault.code in (errno.ENOSPC, errno.EDQUOT, errno.EIO):
            half()
        raise OSError(fault.code, os.strerror(fault.code), path)

    def look(self, path: str) -> None:
        """A call that only reads: fails where the right to the folder was lost."""
        fault = self.fault
        if fault is not None and fault.lasting == "lost" and self.struck:
            raise OSError(fault.code, os.strerror(fault.code), path)

    # ----------------------------------------------------------------------------------------------------- calls

    @contextlib.contextmanager
    def between(self) -> Iterator[Disk]:
        """Put the layer in place, and take it away again whatever happens."""
        real = {
            name: getattr(os, name)
            for name in (*SIMPLE, "open", "close", "rename", "replace", "stat", "lstat", "fsync")
        }
        whole, sendfile = io.open, shutil._USE_CP_SENDFILE  # type: ignore[attr-defined]
        try:
            for name, what in SIMPLE.items():
                setattr(os, name, self._simple(what, real[name]))
            for name in ("rename", "replace"):
                setattr(os, name, self._rename(real[name]))
            for name in ("stat", "lstat"):
                setattr(os, name, self._looking(real[name]))
            os.fsync = self._fsync(real["fsync"])
            os.open, os.close = self._open(real["open"]), self._close(real["close"])
            builtins.open = io.open = self._opened(whole)  # type: ignore[assignment]
            shutil._USE_CP_SENDFILE = False  # type: ignore[attr-defined] # it copies past every write call
            yield self
        finally:
            for name, call in real.items():
                setattr(os, name, call)
            builtins.open = io.open = whole
            shutil._USE_CP_SENDFILE = sendfile  # type: ignore[attr-defined]

    def _simple(self, what: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def watched(path: Any, *args: Any, **kwargs: Any) -> Any:
            place = self.inside(path, kwargs.get("dir_fd"))
            if place is None:
                return call(path, *args, **kwargs)
            self.strike(what, place)
            answer = call(path, *args, **kwargs)
            self.calls.append(Call(what, place, node=self._nodes.get(place, 0)))
            if what == "unlink":
                self._nodes.pop(place, None)
            return answer

        return watched

    def _rename(self, call: Callable[..., Any]) -> Callable[..., Any]:
        def watched(source: Any, target: Any, **kwargs: Any) -> Any:
            old, new = self.inside(source), self.inside(target)
            if old is None or new is None:
                return call(source, target, **kwargs)
            self.strike("rename", old)
            answer = call(source, target, **kwargs)
            self._nodes[new] = node = self.node(old)
            del self._nodes[old]
            self.calls.append(Call("rename", old, new, node))
            return answer

        return watched

    def _looking(self, call: Callable[..., Any]) -> Callable[..., Any]:
        def watched(path: Any, *args: Any, **kwargs: Any) -> Any:
            place = None if isinstance(path, int) else self.inside(path, kwargs.get("dir_fd"))
            if place is not None:
                self.look(place)
            return call(path, *args, **kwargs)

        return watched

    def _fsync(self, call: Callable[[int], None]) -> Callable[[int], None]:
        def watched(handle: int) -> None:
            found = self._files.get(handle)
            if found is None:
                return call(handle)
            self.strike("fsync", found[0])
            self.calls.append(Call("fsync", found[0], node=found[1]))  # what it does is the model's business
            return None

        return watched

    def _open(self, call: Callable[..., int]) -> Callable[..., int]:
        def watched(path: Any, flags: int, *args: Any, **kwargs: Any) -> int:
            place = self.inside(path, kwargs.get("dir_fd"))
            if place is None:
                return call(path, flags, *args, **kwargs)
            if not flags & (os.O_WRONLY | os.O_RDWR):
                self.look(place)
                handle = call(path, flags, *args, **kwargs)
                self._files[handle] = (place, self._nodes.get(place, 0))
                return handle
            self.strike("create", place)
            there = os.path.lexists(place)
            handle = call(path, flags, *args, **kwargs)
            node = self.node(place)
            self._files[handle] = (place, node)
            if not there:
                self.calls.append(Call("create", place, node=node))
            elif flags & os.O_TRUNC:
                self.calls.append(Call("truncate", place, node=node))
            return handle

        return watched

    def _close(self, call: Callable[[int], None]) -> Callable[[int], None]:
        def watched(handle: int) -> None:
            self._files.pop(handle, None)
            call(handle)

        return watched

    def _opened(self, call: Callable[..., Any]) -> Callable[..., Any]:
        def watched(
            file: Any, mode: str = "r", buffering: int = -1, *args: Any, opener: Any = None, **kwargs: Any
        ) -> Any:
            place = self.inside(file)
            if place is None:
                return call(file, mode, buffering, *args, opener=opener, **kwargs)
            if not set(mode) & set("wxa+"):
                self.look(place)
                return call(file, mode, buffering, *args, opener=opener, **kwargs)
            flags = {"w": os.O_TRUNC | os.O_CREAT, "x": os.O_EXCL | os.O_CREAT, "a": os.O_APPEND | os.O_CREAT, "r": 0}
            flag = flags[mode.strip("bt+")] | (os.O_RDWR if "+" in mode else os.O_WRONLY)
            handle = file if isinstance(file, int) else (opener or os.open)(file, flag)
            raw = _Raw(self, handle, "+" in mode)
            if not buffering:
                return raw
            whole = io.BufferedRandom(raw, 1 << 20) if "+" in mode else io.BufferedWriter(raw, 1 << 20)
            if "b" in mode:
                return whole
            encoding, errors, newline = (*args, *(None,) * 3)[:3]
            given = {"encoding": encoding, "errors": errors, "newline": newline} | kwargs
            given.pop("closefd", None)
            return io.TextIOWrapper(whole, **given)

        return watched


SIMPLE = {
    "unlink": "unlink",
    "remove": "unlink",
    "chmod": "chmod",
    "utime": "utime",
    "mkdir": "mkdir",
    "rmdir": "rmdir",
}


class _Raw(io.RawIOBase):
    """A file open for writing whose calls are counted."""

    def __init__(self, disk: Disk, handle: int, reads: bool = False) -> None:
        super().__init__()
        self.disk, self.handle, self.reads = disk, handle, reads
        self.place, self.number = disk._files[handle]
        self.name = self.place

    def writable(self) -> bool:
        return True

    def readable(self) -> bool:
        return self.reads

    def readinto(self, target: Any) -> int:
        content = os.read(self.handle, len(target))
        target[: len(content)] = content
        return len(content)

    def seekable(self) -> bool:
        return True

    def fileno(self) -> int:
        return self.handle

    def tell(self) -> int:
        return os.lseek(self.handle, 0, os.SEEK_CUR)

    def seek(self, offset: int, whence: int = 0) -> int:
        return os.lseek(self.handle, offset, whence)

    def write(self, content: Any) -> int:
        piece = bytes(content[:BLOCK])
        begin = self.tell()
        self.disk.strike("write", self.place, lambda: os.write(self.handle, piece[: len(piece) // 2]) and None)
        count = os.write(self.handle, piece)
        self.disk.calls.append(Call("write", self.place, node=self.number, offset=begin, data=piece[:count]))
        return count

    def truncate(self, size: int | None = None) -> int:
        if size or self.tell():  # the model of a disk knows no such call; one that came would be counted wrong
            raise NotImplementedError("only a file as a whole has been emptied so far")
        self.disk.strike("truncate", self.place)
        os.ftruncate(self.handle, 0)
        self.disk.calls.append(Call("truncate", self.place, node=self.number))
        return 0

    def close(self) -> None:
        if not self.closed:
            super().close()
            os.close(self.handle)
