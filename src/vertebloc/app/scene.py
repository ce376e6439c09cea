"""The data behind the picture, with an address for each part."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable, Coroutine, Iterator, Mapping
from functools import partial
from threading import Lock
from typing import Any

from vertebloc.app.desk import Desk
from vertebloc.case.choice_words import ArchPart
from vertebloc.reports.arch_marks import arch_marks
from vertebloc.reports.piece_scene import (
    opened_places,
    opened_surface,
    piece_faces,
    piece_key,
)
from vertebloc.reports.screen_scene import (
    bare_scene,
    mesh_bytes,
    scene_meshes,
    scene_of,
    volume_bytes,
    volume_meta,
)
from vertebloc.resection.model import Contamination, ResectionPlan
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.workflow.compute_plan import Prepared
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.piece_picture import arch_parts

#: So many parts of plans before stay to be had: another window may still be fetching them.
MOST_KEPT = 40
_Maker = Callable[[], Coroutine[Any, Any, bytes]]


class _Part:
    """Something that is drawn; its bytes are made when they are first asked for."""

    def __init__(self, owner: object, make: _Maker) -> None:
        self.owner = owner  #: kept: its identity could be given to another one otherwise
        self._make = make
        self._made: asyncio.Task[bytes] | None = None

    async def read(self) -> bytes:
        """The bytes, made once, however many ask; what failed is tried again."""
        failed = (
            self._made is not None
            and self._made.done()
            and (self._made.cancelled() or self._made.exception() is not None)
        )
        if self._made is None or failed:
            self._made = asyncio.get_running_loop().create_task(self._make())
        return await asyncio.shield(self._made)


async def _mesh(surface: TriangleSurface) -> bytes:
    return mesh_bytes(surface)


async def _patch(one: Contamination) -> bytes:
    return mesh_bytes(opened_surface(one))


class SceneData:
    """Gives every image and surface of a desk an address that stands for its content."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._made: dict[int, _Part] = {}  #: by number
        self._numbers: dict[int, int] = {}  #: by the identity of what is drawn
        self._next = 0
        self._arch: tuple[object, Mapping[ArchPart, TriangleSurface]] = (None, {})
        self._lock = Lock()
        self._run = secrets.token_hex(4)  #: addresses of another run are not kept by a browser

    def describe(self) -> dict[str, Any]:
        """What the picture shows, with the addresses of its parts; empty without images."""
        case = self._desk.case
        if case is None or not case.folder.has("ct"):
            return {}
        prepared, planned, ct = case.prepared, case.planned, case.ct
        found = scene_of(prepared.anatomy, prepared.level) if prepared else bare_scene(ct)
        found["volume"] = volume_meta(ct, f"/data/ct/{case.folder.hash_of('ct')[:16]}")
        found["meshes"] = []
        if prepared is not None:
            plan = planned.plan if planned is not None else None
            with self._lock:
                found["meshes"] = self._list(case, prepared, plan)
            if planned is not None and plan is not None:
                vertebra = prepared.anatomy.vertebrae[prepared.level]
                found["piece"] = {
                    "key": piece_key(planned.choices.wanted_margin_mm),
                    "faces": piece_faces(plan, vertebra),
                    "opened": opened_places(plan.contamination),
                }
                found["arch"] = arch_marks(planned.choices.arch.parts, plan.bone_fates)
        found["may_change"] = True
        return found

    def _list(
        self, case: OpenCase, prepared: Prepared, plan: ResectionPlan | None
    ) -> list[dict[str, Any]]:
        parts: list[tuple[str, str, object, _Maker]] = [
            (name, kind, surface, partial(_mesh, surface))
            for name, (kind, surface) in scene_meshes(
                prepared.solids, plan.nibbled if plan else None, prepared.strands
            ).items()
        ]
        if plan is not None:
            parts.append(("piece", "piece", plan.piece, partial(case.map_piece, plan)))
            parts += [
                (part.value, "arch", surface, partial(_mesh, surface))
                for part, surface in self._arch_of(prepared).items()
            ]
            parts += [
                (f"opened {place}", "opened", one, partial(_patch, one))
                for place, one in enumerate(plan.contamination)
            ]
        before, self._made = self._made, {}
        listed = []
        for name, kind, owner, make in parts:
            number = self._numbers.get(id(owner), self._next)
            if number not in before or before[number].owner is not owner:
                number, self._next = self._next, self._next + 1
                self._numbers[id(owner)] = number
                before[number] = _Part(owner, make)
            self._made[number] = before[number]
            listed.append({"name": name, "kind": kind, "url": f"/data/mesh/{number}/{self._run}"})
        self._made.update({number: before[number] for number in list(before)[-MOST_KEPT:]})
        return listed

    def _arch_of(self, prepared: Prepared) -> Mapping[ArchPart, TriangleSurface]:
        """The arch's parts, split once for each measured case."""
        if self._arch[0] is not prepared:
            self._arch = (prepared, arch_parts(prepared))
        return self._arch[1]

    async def mesh(self, number: int) -> bytes:
        """A surface by its number.

        Parameters
        ----------
        number : int
            As the scene lists it.

        Returns
        -------
        bytes
            As ``reports.screen_scene.mesh_bytes`` writes it; none if there is no such surface.
        """
        part = self._made.get(number)
        return await part.read() if part is not None else b""

    def images(self, every: int = 1) -> Iterator[bytes]:
        """The images for the graphics card.

        Parameters
        ----------
        every : int
            1: all voxels; 2: every second one along each axis.

        Returns
        -------
        iterator of bytes
            As ``reports.screen_scene.volume_bytes`` writes them.
        """
        case = self._desk.case
        return iter(()) if case is None else volume_bytes(case.ct, every)

    def middle_of(self, level: str) -> list[float]:
        """Where a vertebra's body lies.

        Parameters
        ----------
        level : str
            Such as ``T10``.

        Returns
        -------
        list of float, mm
            Patient LPS; empty if it is not outlined.
        """
        prepared = self._desk.case.prepared if self._desk.case is not None else None
        if prepared is None:
            return []
        levels = scene_of(prepared.anatomy, prepared.level)["levels"]
        return next((one["at"] for one in levels if one["name"] == level), [])
