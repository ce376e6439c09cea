"""Watch, stop or refuse the system calls by which a case is written."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

CALLS = ("open", "write", "fsync", "replace", "mkdir", "unlink", "rmdir")
_REAL = {name: getattr(os, name) for name in CALLS}


class Died(BaseException):
    """The process is dead: nothing it does any more has an effect."""


@contextmanager
def _each_call(do: Callable[[str, Callable[..., Any], tuple[Any, ...]], Any]) -> Iterator[None]:
    def wrap(name: str) -> Callable[..., Any]:
        def call(*arguments: Any, **named: Any) -> Any:
            def real(*changed: Any) -> Any:
                return _REAL[name](*(changed or arguments), **named)

            return do(name, real, arguments)

        return call

    with mock.patch.multiple(os, **{name: wrap(name) for name in CALLS}):
        yield


@contextmanager
def dying_at(number: int) -> Iterator[list[str]]:
    """Die in the given call (of a write, half is done) and do nothing afterwards."""
    calls: list[str] = []

    def do(name: str, real: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        calls.append(name)
        if len(calls) == number and name == "write":
            descriptor, data = arguments
            real(descriptor, bytes(data)[: len(data) // 2])
        if len(calls) >= number:
            raise Died
        return real()

    with _each_call(do):
        yield calls


@contextmanager
def refusing_at(number: int, reason: int = errno.ENOSPC) -> Iterator[list[str]]:
    """Refuse the given call, as a full disk does, and grant all others."""
    calls: list[str] = []

    def do(name: str, real: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        del arguments
        calls.append(name)
        if len(calls) == number:
            raise OSError(reason, os.strerror(reason))
        return real()

    with _each_call(do):
        yield calls


class _Disk:
    """What would be on the disk after a power cut: only what was flushed."""

    def __init__(self, manifest: Path) -> None:
        self.faults: list[str] = []
        self.unflushed_folders: set[str] = set()
        self._manifest = manifest
        self._paths: dict[int, str] = {}
        self._flushed: set[str] = set()

    def call(self, name: str, real: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        result = real()
        if name == "open":
            self._paths[result] = str(arguments[0])
            if arguments[1] & os.O_CREAT:
                self._flushed.discard(str(arguments[0]))
        elif name == "write":
            self._flushed.discard(self._paths[arguments[0]])
        elif name == "fsync":
            self._flushed.add(self._paths[arguments[0]])
            self.unflushed_folders.discard(self._paths[arguments[0]])
        elif name == "mkdir":
            self.unflushed_folders.add(str(Path(arguments[0]).parent))
        elif name == "unlink" and str(self._manifest.parent) in self.unflushed_folders:
            self.faults.append(f"{Path(arguments[0]).name} was removed before it was safe to")
        elif name == "replace":
            self._rename(str(arguments[0]), Path(arguments[1]))
        return result

    def _rename(self, source: str, target: Path) -> None:
        if source not in self._flushed:
            self.faults.append(f"{target.name} got its name before its content was on the disk")
        if target == self._manifest and self.unflushed_folders:
            unflushed = sorted(self.unflushed_folders)
            self.faults.append(f"the manifest names files of {unflushed}, unflushed")
        self._flushed.add(str(target))
        self.unflushed_folders.add(str(target.parent))


@contextmanager
def watching_flushes(manifest: Path) -> Iterator[list[str]]:
    """What a power cut could still undo at each rename, in words; empty if nothing."""
    disk = _Disk(manifest)
    with _each_call(disk.call):
        yield disk.faults
    if disk.unflushed_folders:
        disk.faults.append(f"never flushed: {sorted(disk.unflushed_folders)}")
