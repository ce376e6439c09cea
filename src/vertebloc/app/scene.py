"""The data behind the picture, with an address for each part."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from typing import Any

from vertebloc.app.desk import Desk
from vertebloc.reports.screen_scene import (
    bare_scene,
    mesh_bytes,
    scene_meshes,
    scene_of,
    volume_bytes,
    volume_meta,
)
from vertebloc.space.surfaces import TriangleSurface


class SceneData:
    """Gives every image and surface of a desk an address that stands for its content."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._surfaces: list[TriangleSurface] = []
        self._numbers: dict[int, int] = {}
        self._run = secrets.token_hex(4)  #: addresses of another run are not kept by a browser

    def describe(self) -> dict[str, Any]:
        """What the picture shows, with the addresses of its parts; empty without images."""
        case = self._desk.case
        if case is None or not case.folder.has("ct"):
            return {}
        prepared, ct = case.prepared, case.ct
        found = scene_of(prepared.anatomy, prepared.level) if prepared else bare_scene(ct)
        found["volume"] = volume_meta(ct, f"/data/ct/{case.folder.hash_of('ct')[:16]}")
        found["meshes"] = self._list()
        found["may_change"] = True
        return found

    def _list(self) -> list[dict[str, str]]:
        case = self._desk.case
        if case is None or case.prepared is None:
            return []
        plan = case.planned.plan if case.planned is not None else None
        drawn = scene_meshes(
            case.prepared.solids,
            plan.piece if plan else None,
            plan.nibbled if plan else None,
            case.prepared.strands,
        )
        listed = []
        for name, (kind, surface) in drawn.items():
            if id(surface) not in self._numbers:
                self._numbers[id(surface)] = len(self._surfaces)
                self._surfaces.append(surface)
            address = f"/data/mesh/{self._numbers[id(surface)]}/{self._run}"
            listed.append({"name": name, "kind": kind, "url": address})
        return listed

    def mesh(self, number: int) -> bytes:
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
        if not 0 <= number < len(self._surfaces):
            return b""
        return mesh_bytes(self._surfaces[number])

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
