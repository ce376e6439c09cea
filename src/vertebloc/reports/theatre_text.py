"""What the pages on depths and on the order of acts say: one catalogue, to be translated."""

from __future__ import annotations

import math
from collections.abc import Sequence

from vertebloc.reports import text

INFORMATION_ONLY = "supine CT, before dissection: information, never room for the blade"
NO_SOURCE = "common practice, no source"
COMMON_PRACTICE = (
    "The order, where one can stop, and what to do in trouble are common practice without a "
    "source, unless one is named. Local protocol decides; no drug is named here."
)

#: Labels of the page on depths.
DEPTH_LABELS = {
    "title": "How deep may the blade go",
    "cut": "half cut",
    "held": "blade",
    "far": "far cortex",
    "stop": "first passes stop",
    "vessel": "beyond, on the blade's line",
    "protector": "protector",
}

#: Labels of the page on acts.
ACT_LABELS = {
    "title": "Order of acts",
    "number": "no.",
    "act": "act",
    "needs": "needs first",
    "stop": "stop, close, come back",
    "trouble": "may go wrong",
    "signals": "signals before and after",
    "bail_outs": "What to do when",
    "warnings": "Against the usual order",
}

#: What each act means, by its word.
ACT_WORDS = {
    "count the level": "Count the level from the agreed end, with a picture.",
    "signal run": "Run the signals; say the result aloud.",
    "mark the tract": "Mark the biopsy tract with its skin, so that the incision goes round it.",
    "incision": "Incision.",
    "bare the arch": "Bare the arch, leaving muscle on the tumour.",
    "screws": "Screws above and below.",
    "ribs left": "Ribs on the left.",
    "ribs right": "Ribs on the right.",
    "temporary rod": "Temporary rod.",
    "open the arch": "Open the arch and nibble away what does not leave with the piece.",
    "cut the arch": "Cut the arch that leaves with the piece.",
    "roots": "Free the roots; tie those that the team gives up (which ones is not computed).",
    "free the sac": "Free the sac from the back wall and the tumour.",
    "front left": "Free the front of the bodies from the left; see and tie what crosses.",
    "front right": "Free the front of the bodies from the right; see and tie what crosses.",
    "first passes cranial": "First passes of the cranial cut, to their stop depth.",
    "first passes caudal": "First passes of the caudal cut, to their stop depth.",
    "protector": "Protector in place in front, seen or felt.",
    "last passes cranial": "Last passes of the cranial cut, on to the protector.",
    "last passes caudal": "Last passes of the caudal cut, on to the protector.",
    "ligaments and disc ring": "Divide what still holds: ligaments, disc ring, bone in front.",
    "turn out": "Turn the piece out around the sac.",
    "rebuild": "Rebuild the front and the rods.",
    "close": "Close.",
}


def down_to_mm(value: float) -> str:
    """A length in whole millimetres, rounded down: never deeper than computed."""
    return f"{math.floor(value + 1e-9)} mm"


def half_cut(side: str, cut: str) -> str:
    """A half cut's title in large letters."""
    which = "cranial" if "cranial" in cut else "caudal"
    return f"{which} cut, patient's {side.upper()}"


def through(passes_through: str) -> str:
    """What a cut passes through, on a picture."""
    return f"through the {passes_through}"


def held(angle_deg: float) -> str:
    """How a blade is held, from the planned direction in the cut's plane."""
    if abs(angle_deg) < 0.05:
        return "as planned"
    return f"{text.degrees_sign(abs(angle_deg))} to the {'midline' if angle_deg > 0 else 'side'}"


def between(low_mm: float, high_mm: float) -> str:
    """A range of lengths, or one length."""
    if text.mm(low_mm) == text.mm(high_mm):
        return text.mm(low_mm)
    return f"{text.mm(low_mm).removesuffix(' mm')} to {text.mm(high_mm)}"


def stop(value_mm: float) -> str:
    """A stop depth; 0 leaves no first pass."""
    return text.mm(value_mm) if value_mm > 0.0 else "no first pass"


def vessel_beyond(vessel: str, gap_mm: float) -> str:
    """The first vessel on a line."""
    if gap_mm <= 0.0:
        return f"{vessel} touches the cortex"
    return f"{vessel} {text.mm(gap_mm)} beyond"


def no_vessel(outlined: Sequence[str], looked_to_mm: float) -> str:
    """That no vessel was met; says which were looked for."""
    if not outlined:
        return "no vessel is outlined: nothing is known"
    return f"no outlined vessel on this line within {text.whole_mm(looked_to_mm)}"


def depth_sentence(halves: Sequence[tuple[str, float]], short_mm: float, error_mm: float) -> str:
    """The answer: where first passes stop, why so early, and what nobody may read into it."""
    stops = [
        f"after {text.mm(stop_mm)} ({name})" if stop_mm > 0.0 else f"before bone ({name})"
        for name, stop_mm in halves
    ]
    return (
        f"With the blade held as planned, first passes stop {text.listed(stops)}. "
        f"That is {text.mm(short_mm)} (assumed) short of the far cortex, and earlier still since "
        f"each end of the line may lie {text.mm(error_mm)} further in. A blade held otherwise "
        "stops elsewhere: see the table. "
        f"Vessels: {INFORMATION_ONLY}."
    )


LEFT_AGAIN = "bone is left and entered again on the way: the last bone counts"
PICTURE_FOOT = (
    "Depths from where the blade meets bone,",
    "blade held as planned, rounded down.",
    "Vessels: supine CT, before dissection:",
    "information, never room for the blade.",
)
PICTURE_ALT = (
    "depth of each half cut as a ruler, with the stop depth; the numbers are in the table"
)
STOP_WORD, NO_FIRST_PASS = "STOP", "NO FIRST PASS"
BACK, SEEN_FROM = "BACK", "seen from the feet"
LEFT, RIGHT = "L", "R"


def picture_stop(value_mm: float) -> str:
    """The stop on the picture."""
    if math.floor(value_mm + 1e-9) < 1:
        return NO_FIRST_PASS
    return f"{STOP_WORD} {down_to_mm(value_mm)}"


def picture_far(low_mm: float, high_mm: float) -> str:
    """The far cortex on the picture."""
    low, high = down_to_mm(low_mm), down_to_mm(high_mm)
    return f"far cortex {low}" if low == high else f"far cortex {low[:-3]} to {high}"


def picture_vessel(vessel: str, gap_mm: float) -> str:
    """The first vessel on the picture."""
    if math.floor(gap_mm + 1e-9) < 1:
        return f"{vessel} at the cortex"
    return f"{vessel} {down_to_mm(gap_mm)} beyond"


def picture_no_vessel(outlined: Sequence[str], looked_to_mm: float) -> str:
    """No vessel on the picture."""
    if not outlined:
        return "no vessel outlined"
    return f"no outlined vessel in {text.whole_mm(looked_to_mm)}"


# ---- the order of acts ---------------------------------------------------------------------


def acts_sentence(count: int, *, by_rule: bool, open_warnings: int, last_stop: str) -> str:
    """The answer of the page on acts."""
    order = "in the usual order" if by_rule else "in the team's own order"
    words = f"{count} acts, {order}"
    if open_warnings:
        many = "preconditions are" if open_warnings > 1 else "precondition is"
        words += f"; {open_warnings} {many} broken and wants a name and a reason"
    words = words.replace("broken and wants", "broken and want") if open_warnings > 1 else words
    if last_stop:
        words += f"; from no. {last_stop} on one cannot stop until the column is rebuilt"
    return text.sentence(words)


def stop_words(answer: str, with_what: str) -> str:
    """Whether one can stop, and with what."""
    return f"{answer}: {with_what}"


def warning_open(words: str) -> str:
    """A broken precondition that nobody has answered for."""
    return f"Order of acts: {words}. It wants a name and a reason."


def warning_set_aside(words: str, who: str, reason: str) -> str:
    """A broken precondition that a person answers for."""
    return f"Order of acts: {words}. Set aside by {who}: {reason}."
