"""What pages, sheets and commands say of the way out: part of the one catalogue."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from vertebloc.anatomy.levels import Level
from vertebloc.case.way_out_choice import WayOutChoice
from vertebloc.errors import InputError
from vertebloc.published import way_out as published
from vertebloc.published.acts import Practice
from vertebloc.published.source import Published
from vertebloc.reports import text
from vertebloc.way_out.clearances import CLIP_MM

NOT_YET = (
    "Which way the piece comes out, and what is given up for it, is not computed yet. Compute it "
    "on this page; it takes a minute or two, and all else can be used meanwhile."
)
OLD = (
    "The way out was computed before cuts, outlines, fates or settings were changed, or by "
    "another vertebloc: it is OUT OF DATE and not shown. Compute it again."
)
COMPUTE, AGAIN, STOP = "compute the way out", "compute it again", "stop"
STOPPED = "stopped: the last way out and the case are as they were"
BEGINNING = "way out: beginning"
CHANGED_MEANWHILE = (
    "the case was changed while the way out was computed: it is not kept, compute it again"
)
LEDGER = "Ledger: given up, and gained"
ROOM = "Room at the sac, once clear of its seat"
SETTINGS = "Settings, all assumed until you set them"
SHOWN, AT_BEST = "shown to be possible", "no way in the plane betters"
WITH_ERRORS, BEST_WITH_ERRORS = "shown, with all errors against it", "at best, all in its favour"
FLIPS = "yes as long as no more is wanted than"
NO_YES = "none"
NOT_CHECKED = (
    "This way was NOT CHECKED by an independent library: the one that the search chose was."
)
GIVEN_UP, GAINED = "given up", "gained"
EVERYTHING = "every root and rib in reach that may be given up"
NOTHING_MORE = "nothing more"
CHOSEN, BEST_FOUND = "chosen", "best found"
CONSEQUENCES = "what is published on it"
ARTERIES = "segmental arteries in a row"
CORD_ARTERY = "great artery of the cord"
FAMILY = "A no is proven for"
UNRANKED = (
    "Nothing is priced here. Say what you would spare first, and the ledger takes that order."
)
SPARE = "spare first"
NOT_SAID = "not said"
ASSUMED = "assumed"
SET_BY_TEAM = "set by the team"
ANSWERS = {"yes": "YES", "no": "NO", "cannot_tell": "CANNOT TELL"}
FIELDS = {
    "least_mm": "room wanted at the sac, mm",
    "clear_after_mm": "clear of its seat after moving, mm",
    "tolerance_mm": "bone and ribs may be pressed by, mm",
    "sac_motion_mm": "sac may lie off by, mm",
    "distraction_mm": "distraction, mm",
}
DISTRACTION = "Distraction set by the team"
ROOTS_KEPT = "roots that no plan may give up"
FRONT_BRIDGE = "bridge of bone in front, when it is pulled apart"
LEDGER_HEADINGS = ("side", "answer", "shown / at best", "with errors", "given up")
LEDGER_NOTE = (
    "Each plan gives up as little as was found to do on its side. Room: shown to be possible, and "
    "what no way betters, outlines taken as they are: the method's own uncertainty. With errors: "
    "the same with outlines and sac off by the stated lengths, all against it / all in its "
    "favour: the input's uncertainty. At best, and that none exists, hold for moves in the plane; "
    "a proven NO alone holds for tilts and lifts too. Room is measured up to 8 mm."
)
CONSEQUENCES_TITLE = "What is published on what is given up"
CONSEQUENCES_NOTE = (
    "Of the people or animals that were studied: no forecast for this person. Local protocols "
    "and the responsible surgeon decide."
)
CONSEQUENCES_HEADINGS = ("given up", "source", "what was found")
NOT_RANKED = "The team has not said what it would spare first; nothing is priced here."


def mm_or_word(end: float | str) -> str:
    """One end of a bracket."""
    if isinstance(end, str):
        return end
    if end < 0.0:
        return f"none, {text.mm(-end)} into the sac"
    return f"{text.mm(end)} or more" if end >= CLIP_MM else text.mm(end)


def flips_at(line: Mapping[str, Any]) -> str:
    """Up to which wanted room the answer stays yes; in words where it never is.

    Parameters
    ----------
    line : mapping
        With ``with_errors_mm``.

    Returns
    -------
    str
        A length, rounded down.
    """
    lower = line["with_errors_mm"][0]
    if isinstance(lower, str) or lower < 0.0:
        return NO_YES
    return f"{int(lower * 10.0 + 1e-9) / 10.0:.1f} mm"


def flips_sentence(way_out: Mapping[str, Any]) -> str:
    """At which wanted room the answer flips.

    Parameters
    ----------
    way_out : mapping
        ``way_out`` of plan.json.

    Returns
    -------
    str
        One sentence; empty for a kind that is not computed.
    """
    if "with_errors_mm" not in way_out:
        return ""
    at = flips_at(way_out)
    if at == NO_YES:
        return (
            "With these errors no way was shown to keep room at the sac, however little is wanted."
        )
    if way_out["answer"] == "yes":
        return f"It stays a yes as long as no more than {at} is wanted at the sac."
    return f"It would be a yes if no more than {at} were wanted at the sac."


def rib_words(ribs_mm: Mapping[str, float | str]) -> list[str]:
    """What is taken of ribs, such as ``35 mm of the left rib of T10``."""
    return [
        f"the {rib}, {length}" if isinstance(length, str) else f"{length:.0f} mm of the {rib}"
        for rib, length in ribs_mm.items()
    ]


def given_up_words(line: Mapping[str, Any]) -> tuple[str, ...]:
    """Everything that a line of the ledger gives up, dearest kinds first.

    Parameters
    ----------
    line : mapping
        Of the ledger.

    Returns
    -------
    tuple of str
        Roots, ribs, distraction, then segmental arteries.
    """
    pulled = []
    if line["distraction_mm"] > 0.0:
        pulled = [f"DISTRACTION of {text.mm(line['distraction_mm'])}"]
    if line.get("asks_for"):
        kept = text.listed([f"the {root}" for root in line["asks_for"]])
        return (*pulled, f"asked whether {kept} can be kept, all else that may be given up")
    if _is_long(line):
        return (*pulled, EVERYTHING)
    found = [f"the {root}" for root in line["roots"]] + rib_words(line["ribs_mm"]) + pulled
    in_a_row = line["bilateral_levels_in_a_row"]
    if line["arteries"]:
        row = f"; both sides lost at {in_a_row} level{'s' if in_a_row > 1 else ''} in a row"
        listed = text.listed(list(line["arteries"]))
        found.append(f"segmental arteries {listed}{row if in_a_row else ''}")
    return tuple(found) or (NOTHING_MORE,)


def _is_long(line: Mapping[str, Any]) -> bool:
    """Whether all is given up that may be, and is too much to be named one by one."""
    return bool(line.get("all_given_up")) and len(line["roots"]) + len(line["ribs_mm"]) > 4


def gained_words(line: Mapping[str, Any]) -> str:
    """What a line of the ledger brings: both brackets, or what stands in the way."""
    low, high = line["clearance_bracket_mm"]
    worse, better = line["with_errors_mm"]
    said = (
        f"room {mm_or_word(low)}, at best {mm_or_word(high)}; with all errors against it "
        f"{mm_or_word(worse)}, with all in its favour at best {mm_or_word(better)}"
    )
    if line["answer"] == "no":
        return f"{said}; shut by {text.listed(list(line['blocking']))}"
    if line["answer"] == "cannot_tell" and line.get("decided_by"):
        return f"{said}; decided by {' or '.join(line['decided_by'])}"
    return said


def root_consequence(root: str) -> tuple[str, str]:
    """What is published on giving up a root.

    Parameters
    ----------
    root : str
        Such as ``left T10 root``.

    Returns
    -------
    tuple of (str, str)
        The consequence, and its source; where nothing is known here, that.
    """
    known = _published_on(root)
    if known is None:
        return "nothing published on it is known here", "no source"
    return sourced(known)


def sourced(known: Published | Practice) -> tuple[str, str]:
    """A published thing in words, and its source with place and how it is known."""
    where = f"{known.source}, {known.place}; {known.known}"
    if isinstance(known, Practice):
        return known.what, where
    spread = f" ({known.low:g}-{known.high:g})" if known.low is not None else ""
    value = f"{known.value:g} {known.unit}{spread}"
    return f"{known.what}: {value}; {known.population}", where


def _published_on(root: str) -> Published | Practice | None:
    found = None
    for word in root.split():
        try:
            found = Level.parse(word)
        except InputError:
            continue
    if found is None:
        return None
    special: dict[str, Published | Practice] = {"T2": published.T2_ROOTS, "L2": published.L2_ROOTS,
               "L1": published.FIRST_LUMBAR_ROOT, "T1": published.MOTOR_ROOTS_LASTING}  # fmt: skip
    if found.name in special:
        return special[found.name]
    if found.region == "T":
        return published.THORACIC_ROOTS
    if found.region == "C" and found.number < 5:
        return None
    return published.MOTOR_ROOTS_LASTING


def distraction_words(distraction_mm: float) -> tuple[str, ...]:
    """What must stand beside a distraction the team set; nothing if none is set."""
    if distraction_mm <= 0.0:
        return ()
    return (
        f"HARM LINE: {text.mm(distraction_mm)} of distraction was set by the team, not proposed "
        f"here: {published.DISTRACTION_HARM.what} (common practice, no source).",
        f"HOLD POINT: {published.DISTRACTION_HOLD.what} (common practice, no source).",
    )


def distraction_said(way_out: Mapping[str, Any]) -> tuple[str, ...]:
    """What a distraction that the team set gains, beside none; nothing if none is set."""
    return (way_out["distraction"]["words"],) if "distraction" in way_out else ()


def way_out_lines(way_out: Mapping[str, Any]) -> list[str]:
    """The answer and the ledger for a terminal.

    Parameters
    ----------
    way_out : mapping
        ``way_out`` of plan.json.

    Returns
    -------
    list of str
        The answer first.
    """
    lines = [way_out["words"], flips_sentence(way_out), *distraction_said(way_out)]
    for line in way_out.get("ledger", ()):
        mark = f" ({rests_on(line['answer'])})" if line.get("chosen") else ""
        lines.append(
            f"{line['side'].upper()} {ANSWERS[line['answer']]}{mark}: {GIVEN_UP}: "
            f"{'; '.join(given_up_words(line))}. {GAINED}: {gained_words(line)}."
        )
    return [line for line in lines if line]


def spared_words(order: Sequence[str]) -> str:
    """The surgeon's order in words."""
    return ", then ".join(order) if order else NOT_SAID


def setting_changed(part: str) -> str:
    """A change of the way out's settings, for the journal."""
    own = {"front_bridge": FRONT_BRIDGE, "roots": ROOTS_KEPT}
    return f"way out: {FIELDS.get(part, own.get(part, SPARE))}"


def wanted(least_mm: float) -> str:
    """Label of the room that is wanted: assumed while it stands at its default."""
    state = ASSUMED if least_mm == WayOutChoice().least_mm else SET_BY_TEAM
    return f"wanted ({state})"


def ordered(order: Sequence[str]) -> str:
    """That the ledger is in the surgeon's order."""
    return f"In your order: spare {spared_words(order)}."


def side_words(side: str) -> str:
    """A side of delivery as a heading."""
    return f"out to the patient's {side.upper()}"


def doing(step: str, count: int, so_far: str = "") -> str:
    """How far a computation is, with the best bracket so far; its length is not known before."""
    said = f"way out, step {count}: {step} …" if count else f"{step} …"
    return f"{said} ({so_far})" if so_far else said


SPARE_TITLE = "What would you spare first?"


def spare_label(place: int) -> str:
    """A place in the surgeon's order."""
    return ("dearest of all", "then", "then", "then")[place]


def plan_label(line: Mapping[str, Any]) -> str:
    """One plan of the ledger, short: its side, its answer, and what it costs."""
    before = f"{line['side'].upper()}, {ANSWERS[line['answer']]}: "
    if line["distraction_mm"] > 0.0:
        before += f"DISTRACTION of {text.mm(line['distraction_mm'])}; "
    if line.get("asks_for"):
        return f"{before}{text.listed(list(line['asks_for']))} kept, all else given up"
    if _is_long(line):
        return f"{before}everything that may be given up"
    costs = [*line["roots"], *(one.removeprefix("the ") for one in rib_words(line["ribs_mm"]))]
    said = "; ".join(costs) or NOTHING_MORE
    return f"{before}{said}"


def rests_on(answer: str) -> str:
    """The line of the ledger that the answer rests on."""
    return CHOSEN if answer == "yes" else BEST_FOUND


def bracket_words(bracket: Sequence[float | str]) -> str:
    """Both ends of a bracket, short."""
    return f"{mm_or_word(bracket[0])} / {mm_or_word(bracket[1])}"


def settings_sentence(way_out: Mapping[str, Any]) -> str:
    """The lengths it was computed with, each with whether it is assumed."""
    used, usual = way_out.get("settings"), WayOutChoice()
    if not used:
        return ""
    said = [
        f"{label.removesuffix(', mm')} {text.mm(used[name])} "
        f"({ASSUMED if used[name] == getattr(usual, name) else SET_BY_TEAM})"
        for name, label in FIELDS.items()
        if name in used
    ]
    return text.sentence(f"Settings: {'; '.join(said)}")


def exact_sentence(way_out: Mapping[str, Any]) -> str:
    """What exact distances of an independent library say of the way; empty if none were taken.

    Parameters
    ----------
    way_out : mapping
        ``way_out`` of plan.json.

    Returns
    -------
    str
        One sentence.
    """
    exact = way_out.get("exact")
    if exact is None:
        return NOT_CHECKED if way_out.get("answer") == "yes" else ""
    said = (
        f"{exact['distances_measured']} exact distances between meshes, by an independent "
        f"library at {exact['poses']} poses of the way"
    )
    off = f"{exact['most_off_mm']:.2f} mm"
    if exact["agrees"]:
        return f"Checked by {said}: ours are never off by more than {off}."
    return f"NOT CONFIRMED by {said}: ours are off by up to {off}; do not rely on this way."


def is_doubted(way_out: Mapping[str, Any]) -> bool:
    """Whether the independent library contradicts."""
    return not way_out.get("exact", {}).get("agrees", True)


def no_from_sentence(way_out: Mapping[str, Any]) -> str:
    """From which wanted room on the answer is a no; empty where that was not looked at."""
    if "no_from_mm" not in way_out:
        return ""
    at = text.mm(way_out["no_from_mm"])
    return f"It is a no, for the family of moves named, if more than {at} is wanted."
