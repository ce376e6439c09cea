"""One card a cut: where the blade enters, which way, how deep, what protects, what if not."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.reports import role_text, text
from vertebloc.reports.c_arm_document import c_arm_of_cut
from vertebloc.reports.cut_card_picture import card_picture
from vertebloc.reports.role_sheet import Role, RoleSheet, Section, SheetSize

FIELDS = {
    "enter": "Enter",
    "point": "Point",
    "depth": "How deep",
    "protect": "Protector",
    "carm": "C-arm",
    "err": "May err",
    "bail": "If not",
}
MIDLINE = "In the MIDLINE"
NO_LANDMARK = (
    "No landmark on bone that stays lies clear of tumour on this side: find the place with the "
    "C-arm."
)
NOT_PREDICTED = "not predicted yet"
SETTING = "How it is set: the theatre nurse's sheet."
NO_DEPTH = "not measured for this cut: look at the far side while it is cut"
MEASURE_FIRST = "Measure before bone is taken; skin and muscle are not counted."
VESSELS = "Vessels beyond are never room for the blade."
NO_PROTECTOR = "between this cut and the sac, seen or felt"


def cards_of(document: Mapping[str, Any], pictures: Mapping[str, bytes]) -> tuple[RoleSheet, ...]:
    """One card for each cut that is made with a blade.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    pictures : mapping of str to bytes
        The plan's drawings by name.

    Returns
    -------
    tuple of RoleSheet
        Body cuts in the order of the plan, then cuts of the arch.
    """
    resection = document["resection"]
    fans = {fan["cut"]: fan for fan in resection["depths"]}
    entries = {one["cut"]: one for one in document["theatre"]["entries"]}
    faces = {face["name"]: face for face in resection["faces"]}
    cuts = [cut for cut in resection["cuts"] if is_made_with_a_blade(cut, document)]
    cards: list[RoleSheet] = []
    for cut in cuts:
        name = cut["name"]
        number = f"{len(cards) + 1} of {len(cuts)}"
        known = _Known(document, cut, fans.get(name), entries.get(name), faces.get(name))
        cards.append(_card(known, number, pictures))
    return tuple(cards)


def is_made_with_a_blade(cut: Mapping[str, Any], document: Mapping[str, Any]) -> bool:
    """Whether a cut has a card: a pedicle's base that is nibbled has none."""
    kind = str(document["resection"]["kind"])
    return "pedicle" not in cut["name"] or kind.startswith("arch")


class _Known:
    """What is known of one cut."""

    def __init__(
        self,
        document: Mapping[str, Any],
        cut: Mapping[str, Any],
        fan: Mapping[str, Any] | None,
        entry: Mapping[str, Any] | None,
        face: Mapping[str, Any] | None,
    ) -> None:
        self.document, self.cut, self.fan, self.entry, self.face = document, cut, fan, entry, face


def _card(known: _Known, number: str, pictures: Mapping[str, bytes]) -> RoleSheet:
    cut = known.cut
    big = _depth_in_large(known.fan)
    sections = [
        Section(title="", big=big, picture=card_picture(known.document, cut, pictures)),
        _said("enter", *_enter(known)),
        _said("point", _point(known)),
        _said("depth", *_depth(known.fan)),
        _said("protect", _protect(known)),
        _said("carm", carm_words(known.document, str(cut["name"]))),
        _said("err", _may_err(known.face)),
        _said("bail", *_bail(known)),
    ]
    return RoleSheet(
        role=Role.CUT_CARDS,
        title=f"{text.sentence(str(cut['name'])).rstrip('.')}",
        answer=f"Card {number}. {_where(cut)}, through the "
        f"{cut['passes_through']}"
        + (f", {cut['height_in_words']}." if "height_in_words" in cut else "."),
        sections=tuple(sections),
        size=SheetSize.A5,
    )


def _where(cut: Mapping[str, Any]) -> str:
    """The side in large letters; a cut in the midline has none."""
    return MIDLINE if "midline" in cut["name"] else f"Patient's {cut['side'].upper()} side"


def _said(field: str, *lines: str) -> Section:
    return Section(title=FIELDS[field], lines=lines, beside=True)


def _depth_in_large(fan: Mapping[str, Any] | None) -> tuple[tuple[str, str], ...]:
    if fan is None:
        return ()
    held = fan["held_as_planned"]
    stop = f"STOP {int(fan['stop_mm'] + 1e-9)} mm" if fan["stop_mm"] >= 1.0 else "NO FIRST PASS"
    return (
        (stop, "first passes, blade held as planned"),
        (f"{int(held['least_mm'] + 1e-9)} mm", "far cortex, at its nearest"),
    )


def _enter(known: _Known) -> tuple[str, ...]:
    entry = known.entry
    if entry is None or not entry["from"]:
        return (NO_LANDMARK,)
    lines = [
        role_text.from_landmark(
            one["landmark"], one["headward_mm"], one["leftward_mm"], one["deeper_mm"]
        )
        for one in entry["from"][:2]
    ]
    error = 2.0 * float(known.document["theatre"]["outline_error_mm"])
    level = known.document["level"]
    return (
        *(f"({number}) {line}" for number, line in enumerate(lines, start=1)),
        f"By the axes of {level}; each good to {text.mm(error)} by the outlines alone. "
        f"{MEASURE_FIRST}",
    )


def _point(known: _Known) -> str:
    if known.entry is None:
        return role_text.NOT_SAID
    side = str(known.cut["side"])
    own, scanned = (
        role_text.direction(one["forward"], one["leftward"], one["headward"], side)
        for one in (known.entry["blade"], known.entry["blade_as_scanned"])
    )
    level = known.document["level"]
    said = f"{text.sentence(own)[:-1]}, by the axes of {level}."
    if scanned != own:
        said += f" As scanned, against the table: {scanned}."
    return said


def _depth(fan: Mapping[str, Any] | None) -> tuple[str, ...]:
    if fan is None:
        return (text.sentence(NO_DEPTH),)
    held = fan["held_as_planned"]
    lines = [
        f"From where the blade meets bone: far cortex after {text.mm(held['least_mm'])} to "
        f"{text.mm(held['most_mm'])} along the entry edge. Held otherwise it stops elsewhere: "
        f"{_other_angles(fan)}."
    ]
    if "vessel" in held:
        lines.append(f"{text.sentence(held['vessel'])[:-1]} on this line. {VESSELS}")
    return tuple(lines)


def _other_angles(fan: Mapping[str, Any]) -> str:
    """Stops of a blade turned by ten degrees either way."""
    said = []
    for one in fan["by_angle"]:
        if abs(abs(one["angle_deg"]) - 10.0) < 0.05:
            to = "the midline" if one["angle_deg"] > 0 else "the side"
            stop = f"{int(one['stop_mm'])} mm" if one["stop_mm"] >= 1.0 else "no first pass"
            said.append(f"10° to {to}: {stop}")
    return "; ".join(said) or "see the table of depths"


def _protect(known: _Known) -> str:
    if known.fan is None:
        return text.sentence(NO_PROTECTOR)
    return text.sentence(known.fan["protector_in_words"])


def carm_words(document: Mapping[str, Any], cut_name: str) -> str:
    """What the C-arm shows of a cut, once it is predicted.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    cut_name : str
        Which cut.

    Returns
    -------
    str
        The prediction's words, or that there is none yet.
    """
    known = {one["cut"] for one in document.get("c_arm", {}).get("cuts", ())}
    if cut_name not in known:
        return text.sentence(f"{NOT_PREDICTED}: agree the view in which this cut is a line")
    said = c_arm_of_cut(document, cut_name)
    return f"{said.words} {SETTING}" if said.how else said.words


def _may_err(face: Mapping[str, Any] | None) -> str:
    if face is None or "allowance_offset_mm" not in face:
        return text.sentence("no face of the piece is measured along this cut")
    if face["margin_mm"] <= 0.0:
        return f"Nothing: tumour is met along this cut ({text.mm(face['margin_mm'])})."
    offset = text.or_more(
        text.mm(max(face["allowance_offset_mm"], 0.0)),
        face["allowance_offset_mm"],
        face["allowance_searched_to_mm"],
    )
    tilt = text.or_more(
        text.degrees_sign(max(face["allowance_tilt_deg"], 0.0)),
        face["allowance_tilt_deg"],
        face["allowance_searched_to_deg"],
    )
    at_3, at_6 = (
        text.or_more(text.mm(max(value, 0.0)), value, face["allowance_searched_to_mm"])
        for value in (face[f"allowance_offset_at_{n}_deg_mm"] for n in (3, 6))
    )
    return (
        f"Tumour {text.mm(face['margin_mm'])} away, {face['weakest_in_words']}. It may err "
        f"{offset} towards it, or {tilt}, not both; tilted by 3° still {at_3}, by 6° "
        f"{at_6}. That is no target."
    )


def _bail(known: _Known) -> tuple[str, ...]:
    """First step of each way out of trouble, and whether one can stop after this cut."""
    acts = known.document["resection"]["acts"]
    name = str(known.cut["name"])
    mine = [one for one in acts["order"] if name in one["parts"]]
    wanted = dict.fromkeys(trouble for one in mine for trouble in one["troubles"])
    steps = {one["trouble"]: one["steps"] for one in acts["bail_outs"]}
    first = [
        f"{text.sentence(trouble)[:-1]}: {steps[trouble][0]['words']}."
        for trouble in wanted
        if steps.get(trouble)
    ]
    lines = [" ".join(first)] if first else []
    if mine:
        lines.append(" ".join(map(_stop, mine)))
    return tuple(lines) or (text.sentence("see the sheet on what to do when"),)


def _stop(act: Mapping[str, Any]) -> str:
    """Whether one can stop, close and come back after an act, and with what."""
    after = f"After no. {act['number']}"
    if act["stop"] == "only with":
        return f"{after}: stop only with {act['stop_in_words']}."
    return f"{after}: {'one can stop' if act['stop'] == 'yes' else 'NO stopping'}."
