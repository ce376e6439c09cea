"""A measurement that broke off: the reason stands in its place, and planning goes on."""

from __future__ import annotations

from dataclasses import dataclass

from vertebloc.errors import VertBlocError

#: What a measurement may break off with. A defect of this program is among them: whoever plans
#: a resection shall not lose the plan because the ring could not be unrolled.
BREAKS_OFF = (VertBlocError, ArithmeticError, LookupError, ValueError)


@dataclass(frozen=True, slots=True)
class Unmeasured:
    """Stands for what could not be measured."""

    reason: str  #: in words

    @classmethod
    def because(cls, error: Exception) -> Unmeasured:
        """Put an error in words.

        Parameters
        ----------
        error : Exception
            One of ``BREAKS_OFF``.

        Returns
        -------
        Unmeasured
            An error of ours says itself why; any other one is a defect, and is called one.
        """
        if isinstance(error, VertBlocError):
            return cls(f"could not be measured: {error}")
        said = f"{type(error).__name__}: {error}".strip(": ")
        return cls(f"the measurement broke off, a defect of this program ({said})")
