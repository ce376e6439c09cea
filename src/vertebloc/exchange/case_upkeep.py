"""What follows the moment of change in a case folder, and is caught up on after a kill.

The manifest's replacement is the change. After it come, in this order: the journal's line, the
choices that were put, the copies people open, and the removal of files no manifest names. Each
can be done twice without harm, so whoever opens the case next does what is left of it.
"""

from __future__ import annotations

import re
from pathlib import Path

from vertebloc.exchange.atomic import ASIDE, flush, size_and_hash, write_whole
from vertebloc.exchange.case_manifest import PENDING_CHOICES, PLACES, Manifest
from vertebloc.exchange.choices_history import holds_choices
from vertebloc.exchange.journal import append_change, read_journal

CHOICES = "choices.toml"
#: step -> name at the folder's top under which people open its file
COPIES = {"plan": "plan.json", "sheet": "planning-sheet.pdf"}

#: beginnings of the folders of steps whose files are put anew one by one
_KEEPING = tuple(f"{PLACES[step][1]}-" for step in ("drawn", "strokes"))
_FOLDERS = tuple(sorted({folder for folder, _ in PLACES.values()}))
_BEGINNINGS = {
    below: tuple(re.escape(start) for folder, start in PLACES.values() if folder == below)
    for below in _FOLDERS
}
_BEGINNINGS[""] = (*_BEGINNINGS[""], re.escape(PENDING_CHOICES))
_BY_CONTENT = {
    below: re.compile(rf"(?:{'|'.join(starts)})-([0-9a-f]{{8,64}})(?:\..*)?")
    for below, starts in _BEGINNINGS.items()
}


def has_left_overs(folder: Path, manifest: Manifest) -> bool:
    """Whether something is left to do after the last change.

    Parameters
    ----------
    folder : Path
        The case folder.
    manifest : Manifest
        What it says of itself.

    Returns
    -------
    bool
        True after a kill between the change and the end of what follows it.
    """
    return (
        not _is_in_journal(folder, manifest)
        or _has_pending_choices(folder, manifest)
        or bool(_copies_to_renew(folder, manifest))
        or bool(_waste(folder, manifest))
    )


def finish_change(folder: Path, manifest: Manifest) -> tuple[str, ...]:
    """Do what is left to do after the last change. Only for the folder's one writer.

    Parameters
    ----------
    folder : Path
        The case folder.
    manifest : Manifest
        What it says of itself.

    Returns
    -------
    tuple of str
        What was done, in words for people.
    """
    notes = []
    if not _is_in_journal(folder, manifest):
        append_change(folder, manifest.change)
        notes.append(f"the journal's line for {manifest.change.what!r} was added")
    if _has_pending_choices(folder, manifest):
        kept = _put_choices_in_place(folder, manifest)
        notes.append(
            f"{CHOICES} was written" + (f", the former is kept as {kept}" if kept else "")
        )
    for name, source in _copies_to_renew(folder, manifest):
        write_whole(folder / name, source.read_bytes())
        notes.append(f"{name} was not the last one saved and was written anew")
    sweep(folder, manifest)
    return tuple(notes)


def sweep(folder: Path, manifest: Manifest) -> None:
    """Remove the files this program made that the manifest does not name.

    Parameters
    ----------
    folder : Path
        The case folder; files of other people's making are left alone.
    manifest : Manifest
        What it says of itself.
    """
    for path in _waste(folder, manifest):
        if path.is_dir():
            path.rmdir()
        else:
            path.unlink(missing_ok=True)


def _is_in_journal(folder: Path, manifest: Manifest) -> bool:
    return any(c.number == manifest.change.number for c in read_journal(folder).changes)


def _has_pending_choices(folder: Path, manifest: Manifest) -> bool:
    pending = manifest.pending_choices
    return pending is not None and (folder / pending.path).exists()


def _put_choices_in_place(folder: Path, manifest: Manifest) -> str:
    assert manifest.pending_choices is not None
    pending, current = folder / manifest.pending_choices.path, folder / CHOICES
    kept = ""
    if current.exists() and current.read_bytes() != pending.read_bytes():
        former = current.read_bytes()
        if not _is_in_history(folder, manifest, former):
            kept = _keep_former(folder, former, manifest.change.time)
    pending.replace(current)
    flush(folder)
    return kept


def _is_in_history(folder: Path, manifest: Manifest, choices: bytes) -> bool:
    """Whether the case's history of choices holds this very file, so that undo gives it back."""
    step = manifest.steps.get("history")
    if step is None or not (folder / step.files[0].path).exists():
        return False
    return holds_choices((folder / step.files[0].path).read_bytes(), choices)


def _keep_former(folder: Path, former: bytes, time: str) -> str:
    stamp = time.replace(":", "")
    name, count = f"choices-{stamp}.toml", 1
    while (folder / name).exists():
        if (folder / name).read_bytes() == former:
            return name  # kept before a kill
        count += 1
        name = f"choices-{stamp}-{count}.toml"
    write_whole(folder / name, former)
    return name


def _copies_to_renew(folder: Path, manifest: Manifest) -> list[tuple[str, Path]]:
    found = []
    for step, name in COPIES.items():
        if step not in manifest.steps:
            continue
        saved = manifest.steps[step].files[0]
        source, copy = folder / saved.path, folder / name
        if copy.exists() and size_and_hash(copy)[1] == saved.sha256:
            continue
        if source.exists() and size_and_hash(source)[1] == saved.sha256:
            found.append((name, source))  # a damaged file is never copied; verify tells of it
    return found


def _waste(folder: Path, manifest: Manifest) -> list[Path]:
    named = {file.path for file in manifest.files()}
    if manifest.pending_choices is not None:
        named.add(manifest.pending_choices.path)
    found: list[Path] = []
    for below in _FOLDERS:
        if not (folder / below).is_dir():
            continue
        for entry in sorted((folder / below).iterdir()):
            if not _is_ours_by_name(entry, below):
                continue
            inside = sorted(entry.iterdir()) if entry.is_dir() else [entry]
            unnamed = [p for p in inside if p.relative_to(folder).as_posix() not in named]
            if len(unnamed) < len(inside):
                # files that are kept lie where they were first put, beside others put since
                found += unnamed if entry.name.startswith(_KEEPING) else []
                continue
            if entry.is_dir():
                found += [*inside, entry]
            elif entry.name.startswith(ASIDE) or _is_ours_by_content(entry, below):
                found.append(entry)
    return found


def _is_ours_by_name(entry: Path, below: str) -> bool:
    if entry.is_symlink():
        return False
    return entry.name.startswith(ASIDE) or bool(_BY_CONTENT[below].fullmatch(entry.name))


def _is_ours_by_content(entry: Path, below: str) -> bool:
    """Whether the name tells the content: a stranger's file may be called plan-20251125.pdf."""
    match = _BY_CONTENT[below].fullmatch(entry.name)
    return match is not None and size_and_hash(entry)[1].startswith(match[1])
