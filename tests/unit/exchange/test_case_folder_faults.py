"""A case folder whose writer dies, or is refused, at every single system call in turn."""

from __future__ import annotations

import errno
import os
import resource
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from vertebloc.errors import InputError
from vertebloc.exchange import atomic, case_transaction
from vertebloc.exchange.case_folder import CaseFolder

from .case_states import (
    EMPTY_CASE,
    NO_CASE,
    NOW,
    generation_in,
    name_without_content,
    put_generation,
    restamp,
)
from .system_calls import Died, dying_at, refusing_at, watching_flushes


@pytest.fixture(scope="module")
def two_generations(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _make_two_generations(tmp_path_factory.mktemp("before") / "case")


def _make_two_generations(folder: Path) -> Path:
    case = CaseFolder.create(folder, NOW)
    put_generation(case, 1)
    put_generation(case, 2)
    return folder


def _copy(before: Path, tmp_path: Path, name: str) -> Path:
    return Path(shutil.copytree(before, tmp_path / name))


def _files(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def _write_third(folder: Path) -> None:
    put_generation(CaseFolder.open(folder), 3)


def _count_calls(folder: Path) -> list[str]:
    with dying_at(10_000) as calls:
        _write_third(folder)
    return calls


def _die_everywhere(before: Path, tmp_path: Path) -> list[int]:
    """Generations found after death at call 1, 2, 3 ... of the third save."""
    calls = _count_calls(_copy(before, tmp_path, "counted"))
    found = []
    for number in range(1, len(calls) + 1):
        folder = _copy(before, tmp_path, f"died-{number}")
        with dying_at(number), pytest.raises(Died):
            _write_third(folder)
        found.append(generation_in(folder))
        put_generation(CaseFolder.open(folder), found[-1] + 1)  # life goes on
        assert generation_in(folder) == found[-1] + 1
        shutil.rmtree(folder)
    return found


@pytest.mark.slow
def test_dying_at_every_call(two_generations: Path, tmp_path: Path) -> None:
    found = _die_everywhere(two_generations, tmp_path)
    assert len(found) > 60
    change = found.index(3)  # there is one moment of change: never back after it
    assert found == [2] * change + [3] * (len(found) - change)


def test_dying_while_the_case_is_made(tmp_path: Path) -> None:
    with dying_at(10_000) as calls:
        CaseFolder.create(tmp_path / "counted", NOW)
    states = []
    for number in range(1, len(calls) + 1):
        folder = tmp_path / f"died-{number}"
        with dying_at(number), pytest.raises(Died):
            CaseFolder.create(folder, NOW)
        states.append(generation_in(folder))
        if states[-1] == NO_CASE:
            CaseFolder.create(folder, NOW)  # what was left behind is in nobody's way
        put_generation(CaseFolder.open(folder), 1)
        assert generation_in(folder) == 1
    assert set(states) == {NO_CASE, EMPTY_CASE}
    assert states == sorted(states)


@pytest.mark.slow
def test_dying_while_finishing_after_a_death(two_generations: Path, tmp_path: Path) -> None:
    calls = _count_calls(_copy(two_generations, tmp_path, "counted"))
    replaced = [number for number, name in enumerate(calls, start=1) if name == "replace"]
    for first in (replaced[-1] - 1, replaced[-3] + 1, replaced[-4] + 1):
        for second in range(1, 40):
            folder = _copy(two_generations, tmp_path, f"died-{first}-{second}")
            with dying_at(first), pytest.raises(Died):
                _write_third(folder)
            try:
                with dying_at(second):
                    CaseFolder.open(folder)
            except Died:
                pass
            assert generation_in(folder) == 3
            shutil.rmtree(folder)


def test_nothing_is_left_behind(two_generations: Path, tmp_path: Path) -> None:
    before = _files(two_generations)
    folder = _copy(two_generations, tmp_path, "case")
    _write_third(folder)
    after = _files(folder)
    assert len(after) == len(before) + 1  # the second generation's choices are kept
    assert all((folder / path).stat().st_size for path in after if path != atomic.LOCK)


@pytest.mark.slow
def test_full_disk_at_every_call(two_generations: Path, tmp_path: Path) -> None:
    calls = _count_calls(_copy(two_generations, tmp_path, "counted"))
    saved = []
    for number in range(1, len(calls) + 1):
        folder = _copy(two_generations, tmp_path, f"full-{number}")
        case = CaseFolder.open(folder)
        with refusing_at(number), pytest.raises(InputError, match="disk is full") as caught:
            put_generation(case, 3)
        assert "\n" not in str(caught.value)
        saved.append("IS saved" in str(caught.value))
        assert case.hash_of("ct") == CaseFolder.open(folder).hash_of("ct")
        assert generation_in(folder) == (3 if saved[-1] else 2)
        if not saved[-1]:
            put_generation(case, 3)  # the same object goes on once there is room
            assert generation_in(folder) == 3
        shutil.rmtree(folder)
    assert saved == sorted(saved)
    assert 0 < sum(saved) < len(saved)


def test_a_size_limit_of_the_system_itself(two_generations: Path, tmp_path: Path) -> None:
    """No injected fault: the kernel refuses files above 100 000 bytes; the CT has 200 000."""
    folder = _copy(two_generations, tmp_path, "case")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, hard))
    try:
        with pytest.raises(InputError, match="larger than this disk or account allows"):
            _write_third(folder)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert generation_in(folder) == 2
    assert _files(folder) == _files(two_generations)


def test_read_only_folder(two_generations: Path, tmp_path: Path) -> None:
    folder = _copy(two_generations, tmp_path, "case")
    (folder / "plan.json").unlink()  # something to put right, which must not stop the reading
    for path in [folder, *folder.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    tmp_path.chmod(0o555)
    try:
        with _as_ordinary_user(folder):
            case = CaseFolder.open(folder)
            assert case.verify() == ["plan.json is missing"]
            assert case.json_of("plan")["generation"] == 2
            with pytest.raises(InputError, match=r"could not save in .*: permission denied"):
                put_generation(case, 3)
            with pytest.raises(
                InputError, match=r"could not make a case in .*: permission denied"
            ):
                CaseFolder.create(tmp_path / "new", NOW)
    finally:
        for path in [tmp_path, folder, *(p for p in folder.rglob("*") if p.is_dir())]:
            path.chmod(0o755)
    assert generation_in(folder) == 2


class _as_ordinary_user:  # noqa: N801 reads as a phrase
    """Give up the rights of root, to whom nothing is read-only, for a while."""

    def __init__(self, reachable: Path) -> None:
        self._folders = [p for p in reachable.parents if p.stat().st_uid == 0] * (
            os.geteuid() == 0
        )
        self._modes = {p: p.stat().st_mode & 0o7777 for p in self._folders}
        self._was_root = os.geteuid() == 0

    def __enter__(self) -> None:
        for folder, mode in self._modes.items():
            folder.chmod(mode | 0o055)
        if self._was_root:
            os.seteuid(65534)

    def __exit__(self, *_: object) -> None:
        if self._was_root:
            os.seteuid(0)
        for folder, mode in self._modes.items():
            if folder.stat().st_mode & 0o7777 != mode:
                folder.chmod(mode)


def test_every_content_is_flushed_before_its_name(two_generations: Path, tmp_path: Path) -> None:
    """What kill -9 cannot show: the order that outlives a power cut."""
    folder = _copy(two_generations, tmp_path, "case")
    with watching_flushes(folder / "case.json") as faults:
        _write_third(folder)
    assert faults == []
    fresh = tmp_path / "fresh"
    with watching_flushes(fresh / "case.json") as faults:
        case = CaseFolder.create(fresh, NOW)
        put_generation(case, 1)
    assert faults == []


def test_nothing_is_removed_before_the_manifest_is_on_the_disk(tmp_path: Path) -> None:
    """Else a power cut brings back a manifest that names files which are gone."""
    case = CaseFolder.create(tmp_path / "case", NOW)
    for content in (b"old", b"new"):
        with (
            watching_flushes(case.path / "case.json") as faults,
            case.transaction(now=NOW, what="test", restamp=restamp) as change,
        ):
            change.put_bytes("labels", "labels.nii.gz", content)
        assert faults == []
    assert case.path_of("labels").read_bytes() == b"new"


def _no_flush(path: Path) -> None:
    del path


def _in_place(path: Path, data: bytes) -> None:
    atomic.write_flushed(path, data)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("module", "name", "careless", "says"),
    [
        (case_transaction, "path_in_folder", name_without_content, "damaged|missing"),
        (atomic, "replace_whole", _in_place, "cannot be read"),
    ],
)
def test_the_check_catches_careless_writing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    module: object,
    name: str,
    careless: Callable[..., object],
    says: str,
) -> None:
    monkeypatch.setattr(module, name, careless)
    before = _make_two_generations(tmp_path / "before")
    with pytest.raises((AssertionError, InputError), match=says):
        _die_everywhere(before, tmp_path)


def test_the_check_catches_missing_flushes(
    two_generations: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(atomic, "flush", _no_flush)
    folder = _copy(two_generations, tmp_path, "case")
    with watching_flushes(folder / "case.json") as faults:
        _write_third(folder)
    assert any("before its content was on the disk" in fault for fault in faults)
    assert any("the manifest names files" in fault for fault in faults)


def test_other_refusals_are_said_plainly(two_generations: Path, tmp_path: Path) -> None:
    folder = _copy(two_generations, tmp_path, "case")
    with refusing_at(3, errno.EROFS), pytest.raises(InputError, match="the disk is read-only"):
        _write_third(folder)
    with refusing_at(3, errno.EIO), pytest.raises(InputError, match="Input/output error"):
        _write_third(folder)
    assert generation_in(folder) == 2
