"""Values that travel between processes, or to the cache and back; nothing else comes back."""

from __future__ import annotations

import copyreg
import io
import pickle
from dataclasses import is_dataclass
from enum import Enum
from types import MappingProxyType
from typing import Any

#: rooms whose values may come back
_ROOMS = (
    "access",
    "anatomy",
    "case",
    "fluoroscopy",
    "resection",
    "space",
    "staging",
    "workflow",
)
#: makers of arrays and of the canal's curve; they run nothing that the bytes could name
_MAKERS = frozenset({
    ("numpy", "dtype"),
    ("numpy", "ndarray"),
    ("numpy._core.multiarray", "_reconstruct"),
    ("numpy._core.multiarray", "scalar"),
    ("numpy._core.numeric", "_frombuffer"),
    ("scipy._lib.array_api_compat.numpy._aliases", "asarray"),
    ("scipy.interpolate._cubic", "CubicSpline"),
})  # fmt: skip


class CannotComeBackError(Exception):
    """Bytes that are no value of ours."""


def frozen(mapping: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    """A mapping that cannot be changed."""
    return MappingProxyType(mapping)


#: frozen mappings travel as what they hold
copyreg.pickle(MappingProxyType, lambda mapping: (frozen, (dict(mapping),)))


def to_bytes(value: object) -> bytes:
    """Write a value down.

    Parameters
    ----------
    value : object
        Made of our own immutable values, arrays, text and numbers.

    Returns
    -------
    bytes
        For ``from_bytes``.
    """
    return pickle.dumps(value, protocol=5)


def from_bytes(data: bytes) -> Any:
    """Read a value back.

    Parameters
    ----------
    data : bytes
        As ``to_bytes`` wrote it.

    Returns
    -------
    object
        The value.

    Raises
    ------
    CannotComeBackError
        If the bytes hold anything else. A case folder may come from somebody else: nothing that
        they name is run, unless it makes an array or a value of ours.
    """
    try:
        return _OursOnly(io.BytesIO(data)).load()
    except CannotComeBackError:
        raise
    except Exception as error:  # damaged bytes may fail in any way
        raise CannotComeBackError(f"{type(error).__name__}: {error}") from error


class _OursOnly(pickle.Unpickler):
    def find_class(self, module: str, name: str) -> Any:
        is_ours = module.startswith(tuple(f"vertebloc.{room}." for room in _ROOMS))
        if not is_ours and (module, name) not in _MAKERS:
            raise CannotComeBackError(f"{module}.{name} is no value of ours")
        found = super().find_class(module, name)
        is_value = isinstance(found, type) and (is_dataclass(found) or issubclass(found, Enum))
        if is_ours and found is not frozen and not is_value:
            raise CannotComeBackError(f"{module}.{name} is no value of ours")
        return found
