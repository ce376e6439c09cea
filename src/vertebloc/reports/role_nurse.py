"""The theatre nurse's sheet: what lies ready for each act, pots, ink, and the C-arm's side."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.reports import role_text, text, theatre_text
from vertebloc.reports.c_arm_document import c_arm_of_cut
from vertebloc.reports.c_arm_text import strip_setting
from vertebloc.reports.role_sheet import BLANK, Role, RoleSheet, RoleTable, Section

HEADINGS = ("no.", "act", "ready on the table", "of this plan", "counted")
#: What lies ready, by act. Common practice, no source; the team strikes out and adds.
READY: Mapping[str, str] = {
    "count the level": "C-arm, marker, pen",
    "mark the tract": "pen, suture for the skin ellipse",
    "incision": "knife, own set for the tract",
    "bare the arch": "elevators, retractors",
    "screws": "screws and drivers, C-arm",
    "ribs left": "rib elevator, rib cutter, pot for each rib",
    "ribs right": "rib elevator, rib cutter, pot for each rib",
    "temporary rod": "rod, nuts, holder",
    "open the arch": "punches, burr, pot for nibbled bone",
    "cut the arch": "saw or wire, protector for the sac",
    "roots": "ties, clips, small hooks",
    "free the sac": "dissectors, what stops veins of the canal",
    "front left": "long dissectors, ties, clips, vessel set open",
    "front right": "long dissectors, ties, clips, vessel set open",
    "first passes cranial": "blade with its stop set",
    "first passes caudal": "blade with its stop set",
    "protector": "protectors, both sides, C-arm",
    "last passes cranial": "blade, protector in place said aloud",
    "last passes caudal": "blade, protector in place said aloud",
    "ligaments and disc ring": "long knife, punches",
    "turn out": "two hands free, bowl, cover",
    "rebuild": "cage, graft, rods, new gloves and instruments",
    "close": "drains, count",
}
STOPS_SET = "stop {stop}: {cut}"
NO_STOP = "no first pass: {cut}"
POT_HEADINGS = ("pot", "what", "label written", "to whom")
PIECE = "the piece, turned as the surgeon says, thread at its head end"
NIBBLED = "bone nibbled from {parts}"
NOT_GRAFT = "no graft until the surgeon says it is clear of tumour"
INK = "Ink colours: as on the pathologist's sheet; filled in by hand, the same on both."
CARM = "Views are not predicted yet. "
CARM_SIDE = "Side it comes in from, and where its screen stands:"
ANSWER = "{comes}. The surgeon stands {standing}; piece out {delivery}. {fill}"
STANDING = {
    "left": "at the patient's left",
    "right": "at the patient's right",
    "head up": "at the head end's side, not said which",
}
STOP_BAND = "Blade stops of this plan"


def nurse_sheet(document: Mapping[str, Any]) -> RoleSheet:
    """What lies ready by act, blade stops, pots and labels, C-arm.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    RoleSheet
        What lies ready is common practice; stops and pots are of this plan.
    """
    resection = document["resection"]
    stops = tuple(
        (
            _stop(fan["stop_mm"]),
            f"{fan['side'].upper()}, {'cranial' if 'cranial' in fan['cut'] else 'caudal'} cut"
            if "cranial" in fan["cut"] or "caudal" in fan["cut"]
            else str(fan["cut"]),
        )
        for fan in resection["depths"]
    )
    return RoleSheet(
        role=Role.NURSE,
        title=role_text.TITLES["theatre nurse"],
        answer=ANSWER.format(
            comes=role_text.plan_in_short(resection["kind"], resection["levels"]),
            standing=STANDING[document["theatre"]["standing"]],
            delivery=_delivery(resection),
            fill=role_text.TO_FILL,
        ),
        sections=(
            *([Section(title=STOP_BAND, big=stops)] if stops else []),
            Section(
                title="Act by act",
                table=_acts(resection),
                note=f"What lies ready is {role_text.NO_SOURCE}: strike out and add. "
                f"{theatre_text.ACT_LABELS['signals'].capitalize()}: quiet while they run.",
            ),
            Section(title="Pots and labels", table=_pots(resection), note=INK),
            Section(title="C-arm", lines=_c_arm(document), fields=("side", "screen")),
        ),
    )


def _c_arm(document: Mapping[str, Any]) -> tuple[str, ...]:
    """How the C-arm is set for each cut through a body, once that is predicted."""
    body = {fan["cut"] for fan in document["resection"]["depths"]}
    cuts = [one for one in document.get("c_arm", {}).get("cuts", ()) if one["cut"] in body]
    by_how: dict[str, list[str]] = {}
    for one in cuts:
        by_how.setdefault(c_arm_of_cut(document, one["cut"]).how, []).append(one["cut"])
    lines = tuple(
        f"{text.sentence(text.listed(names))[:-1]}: {how}" for how, names in by_how.items() if how
    )
    if "c_arm" in document:
        lines = (strip_setting(document["c_arm"], document["level"]), *lines)
    return (*lines, CARM_SIDE) if lines else (f"{CARM}{CARM_SIDE}",)


def _stop(stop_mm: float) -> str:
    return f"{int(stop_mm + 1e-9)} mm" if stop_mm >= 1.0 else "none"


def _delivery(resection: Mapping[str, Any]) -> str:
    """To which side the piece goes, as the acts say it."""
    for one in resection["acts"]["order"]:
        if one["act"] == "turn out":
            return ", ".join(one["parts"]) or "side not said"
    return "side not said"


def _acts(resection: Mapping[str, Any]) -> RoleTable:
    fans = {fan["cut"]: fan for fan in resection["depths"]}
    rows = []
    for one in resection["acts"]["order"]:
        if one["act"] not in READY:
            continue
        own = [_own(part, one["act"], fans) for part in one["parts"]]
        if one["act"] == "protector" or one["act"].startswith("last"):
            own = []  # its place is a sentence a cut: it stands on the cut cards
        if one["act"] == "open the arch":
            own = own[:1]  # the side; what is nibbled away stands with its pot
        rows.append((str(one["number"]), one["act"], READY[one["act"]], "; ".join(own), BLANK))
    return RoleTable(headings=HEADINGS, rows=tuple(rows), widths=(0.6, 2.2, 3.5, 4.1, 1.3))


def _own(part: str, act: str, fans: Mapping[str, Mapping[str, Any]]) -> str:
    fan = fans.get(part)
    if fan is None or not act.startswith("first"):
        return part
    half = text.sentence(f"{fan['side']} half")[:-1].lower()
    return STOPS_SET.format(stop=_stop(fan["stop_mm"]), cut=half)


def _pots(resection: Mapping[str, Any]) -> RoleTable:
    rows = [("1", PIECE, BLANK, BLANK)]
    ribs = [rib for rib in resection["rib_fates"] if rib["fate"].startswith("removed")]
    rows += [
        (str(place), f"{rib['rib']}, with its head", BLANK, BLANK)
        for place, rib in enumerate(ribs, start=2)
    ]
    nibbled = [one["part"] for one in resection["bone_fates"] if one["fate"] == "piecemeal"]
    if nibbled:
        said = f"{NIBBLED.format(parts=text.listed(nibbled))}: {NOT_GRAFT}"
        rows.append((str(len(rows) + 1), said, BLANK, BLANK))
    return RoleTable(headings=POT_HEADINGS, rows=tuple(rows), widths=(0.5, 7.0, 1.6, 1.6))
