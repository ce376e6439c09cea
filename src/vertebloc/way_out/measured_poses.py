"""Fine poses and what was measured at them, kept for all scenarios: most ask of the same ones."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out.closer_look import CloserLook
from vertebloc.way_out.poses import Extents, extents, moves_of

#: Of places along x, y and turns in a pose's number: each may lie a million steps either way.
STRIDES = np.array([1 << 42, 1 << 21, 1], dtype=np.int64)
_MIDDLE = 1 << 20


def keys_of(places: NDArray[np.int64]) -> NDArray[np.int64]:
    """Numbers of places on a lattice.

    Parameters
    ----------
    places : (n, 3) int64
        Steps along x, y and turns.

    Returns
    -------
    (n,) int64
        A step along an axis adds its stride.
    """
    return np.asarray((places + _MIDDLE) @ STRIDES)


def places_of(keys: NDArray[np.int64]) -> NDArray[np.int64]:
    """Places on a lattice by their numbers.

    Parameters
    ----------
    keys : (n,) int64
        From ``keys_of``.

    Returns
    -------
    (n, 3) int64
        Steps along x, y and turns.
    """
    rest, k = np.divmod(keys, STRIDES[1])
    i, j = np.divmod(rest, STRIDES[0] // STRIDES[1])
    return np.column_stack((i, j, k)) - _MIDDLE


@dataclass(slots=True, eq=False)
class MeasuredPoses:
    """Poses of one lattice: each is measured once against each obstacle."""

    look: CloserLook
    steps: NDArray[np.float64]  #: (3,) mm, mm, radians
    _keys: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    _rows: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    _extents: NDArray[np.float64] = field(default_factory=lambda: np.empty((4, 0)))
    _clearance: dict[str, NDArray[np.float64]] = field(default_factory=dict)

    def rows(self, keys: NDArray[np.int64]) -> NDArray[np.int64]:
        """Rows of poses by their numbers; new ones are added.

        Parameters
        ----------
        keys : (n,) int64
            Sorted, no two alike.

        Returns
        -------
        (n,) int64
            To be given to the other methods.
        """
        at = np.searchsorted(self._keys, keys)
        known = np.zeros(len(keys), dtype=np.bool_)
        within = at < len(self._keys)
        known[within] = self._keys[at[within]] == keys[within]
        new = keys[~known]
        if len(new):
            count = len(self._keys)
            moves = moves_of(places_of(new) * self.steps)
            far = extents(moves, self.look.ground.body.samples.corners)
            more = np.stack((far.gone_mm, far.least_y_mm, far.least_x_mm, far.most_x_mm))
            self._extents = np.concatenate((self._extents, more), axis=1)
            for name, measured in self._clearance.items():
                fresh = np.full(len(new), np.nan)
                self._clearance[name] = np.concatenate((measured, fresh))
            joined = np.concatenate((self._keys, new))
            order = np.argsort(joined, kind="stable")
            self._keys = joined[order]
            self._rows = np.concatenate((self._rows, count + np.arange(len(new))))[order]
            at = np.searchsorted(self._keys, keys)
        return np.asarray(self._rows[at])

    def extents(self, rows: NDArray[np.int64]) -> Extents:
        """How far the piece has gone and reaches at poses."""
        return Extents(*self._extents[:, rows])

    def clearance_mm(
        self, name: str, keys: NDArray[np.int64], rows: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """What the clearance to an obstacle is at least at poses, by number and row."""
        count = self._extents.shape[1]
        measured = self._clearance.setdefault(name, np.full(count, np.nan))
        todo = np.isnan(measured[rows])
        if todo.any():
            moves = moves_of(places_of(keys[todo]) * self.steps)
            measured[rows[todo]] = self.look.clearance_mm(name, moves)
        return np.asarray(measured[rows])
