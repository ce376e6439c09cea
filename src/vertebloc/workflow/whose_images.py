"""Whose images come in: what they say, what was typed, and what the case knows already."""

from __future__ import annotations

from dataclasses import asdict

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError


def settle_identity(
    *, read: Identity, known: Identity, typed: Identity
) -> tuple[Identity, tuple[str, ...]]:
    """Say who the person is, or refuse to mix two people.

    Parameters
    ----------
    read : Identity
        What the images say; blank for NIfTI.
    known : Identity
        What the case says; blank for a new case.
    typed : Identity
        What was given by hand; may only fill what the others leave empty.

    Returns
    -------
    identity : Identity
        The person.
    notes : tuple of str
        What could not be checked, in words.

    Raises
    ------
    InputError
        If images, case and hand contradict each other.
    """
    if not known.is_blank and not read.is_blank and known != read:
        raise InputError(
            f"the case is another person's: it is of {known.words}; these images are of "
            f"{read.words}; import them into a case of their own"
        )
    base = known if read.is_blank else read
    notes: tuple[str, ...] = ()
    if read.is_blank and not known.is_blank:
        notes = (
            f"these images do not say whose they are; the case stays that of {known.words}: make "
            "sure that they are of the same person",
        )
    return _filled(base, typed, "the case says" if read.is_blank else "the images say"), notes


def _filled(base: Identity, typed: Identity, who_says: str) -> Identity:
    merged = asdict(base)
    for field, value in asdict(typed).items():
        if value and merged[field] not in ("", value):
            raise InputError(
                f"{who_says} {field.replace('_', ' ')} {merged[field]!r}, {value!r} was given: "
                "leave it out, or import into a case of its own"
            )
        merged[field] = value or merged[field]
    return Identity(**merged)
