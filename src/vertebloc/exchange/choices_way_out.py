"""Entries of the choices file about the way out: place, what is allowed, meaning, why."""

from __future__ import annotations

from vertebloc.case.way_out_choice import FrontBridge, RootsKept, Spared
from vertebloc.exchange.choices_allowed import ListOf, Number, OneOf

_ASSUMED = "assumed, nobody measured it: set your own"

#: In the order of the file; each is what an ``Entry`` is made of.
WAY_OUT_LINES: tuple[
    tuple[
        tuple[str, str],
        Number | OneOf[FrontBridge] | OneOf[RootsKept] | ListOf[Spared],
        str,
        str,
    ],
    ...,
] = (
    *(
        (("way_out", name), Number(name), what, _ASSUMED)
        for name, what in (
            (
                "least_mm",
                "Room wanted between piece and sac once the piece is clear of its seat, mm",
            ),
            ("clear_after_mm", "The piece is clear of its seat after moving so far, mm"),
            ("tolerance_mm", "Bone, ribs and what touched at rest may be pressed by so much, mm"),
            ("sac_motion_mm", "The sac may lie so far from where it is outlined, either way, mm"),
        )
    ),
    (
        ("way_out", "distraction_mm"),
        Number("distraction_mm"),
        "How far the team means to pull the spine apart at the sac, mm; it can harm the cord",
        "none unless the team sets it; the program never proposes it",
    ),
    (
        ("way_out", "front_bridge"),
        OneOf(FrontBridge),
        "If it is pulled apart: whether the bone in front still holds, so that both parts tip",
        "with nothing pulled apart it does not count",
    ),
    (
        ("way_out", "roots"),
        OneOf(RootsKept),
        "Roots that no plan may give up",
        "those that move arms and legs are kept",
    ),
    (
        ("way_out", "spare_first"),
        ListOf(Spared, empty="not said: nothing is put before anything else"),
        "What you would rather not give up, the dearest first; puts the ledger in that order",
        "the program prices nothing",
    ),
)
