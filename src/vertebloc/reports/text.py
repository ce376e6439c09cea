"""Every sentence that sheets, pictures and answers say, in one place: translate here.

The sheet's longest texts stand in ``small_print``.
Plain functions from values to words. Numbers carry their unit; lengths are given to 0.1 mm
on paper, since a cut cannot be placed finer.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from vertebloc.published import Published
from vertebloc.space.frames import Side

#: Everything the answer must say it does not know, at its very end.
NOT_COMPUTED = ("whether the piece can be turned around the sac",)


NAME_UNKNOWN = "name not given"
COPY_WITHOUT_IDENTITY = "copy without identity"
LEVEL_UNCONFIRMED = "UNCONFIRMED"
OUT_OF_DATE = "OUT OF DATE"


def _plain(value: float, digits: int) -> str:
    """A number with fixed digits and never a minus before zero."""
    written = f"{value:.{digits}f}"
    return written.lstrip("-") if float(written) == 0 else written


def _as_saved(value: float) -> float:
    """A length or angle as plan.json holds it: answer, picture and table then never differ."""
    return round(float(value), 2)


def mm(value: float) -> str:
    """A length to 0.1 mm."""
    return f"{_plain(_as_saved(value), 1)} mm"


def printed_mm(value: float) -> float:
    """The number that ``mm`` writes, mm."""
    return float(_plain(_as_saved(value), 1))


def whole_mm(value: float) -> str:
    """A length without decimals."""
    return f"{_plain(value, 0)} mm"


def degrees(value: float) -> str:
    """An angle: whole from 10 degrees on, else to 0.1 degrees, without an idle zero."""
    value = _as_saved(value)
    return f"{_plain(value, 0 if abs(value) >= 9.95 else 1).removesuffix('.0')} degrees"


def degrees_sign(value: float) -> str:
    """An angle for tables and bars."""
    return degrees(value).replace(" degrees", "°")


def ml(value: float) -> str:
    """A volume to 0.1 ml; what is left but would round to nothing is never called zero."""
    if 0 < value < 0.01:
        return "less than 0.01 ml"
    return f"{_plain(value, 2 if value < 0.095 and value > 0 else 1)} ml"


def fine_ml(value: float) -> str:
    """A volume to 0.01 ml, where tenths would hide how little or how much."""
    return ml(value) if value < 0.095 else f"{_plain(value, 2)} ml"


def percent(fraction: float) -> str:
    """A share in whole percent."""
    return f"{_plain(100 * round(float(fraction), 4), 0)} %"  # 4 digits, as plan.json


def bare_percent(fraction: float) -> str:
    """A share in whole percent without its sign, where the sign stands in the legend."""
    return percent(fraction).removesuffix(" %")


def listed(parts: Sequence[str]) -> str:
    """Words joined by commas and one ``and``."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def joined_by_dot(*parts: str) -> str:
    """Words joined by a middle dot, empty ones left out."""
    return " · ".join(part for part in parts if part)


def joined_by_comma(*parts: str) -> str:
    """Words joined by commas, empty ones left out."""
    return ", ".join(part for part in parts if part)


def sentence(words: str) -> str:
    """Words with a capital first letter and one full stop."""
    words = words.strip()
    return words[:1].upper() + words[1:].rstrip(".") + "."


def joined_sentences(*parts: str) -> str:
    """Sentences one after the other, each with capital and full stop; empty ones left out."""
    return " ".join(sentence(part) for part in parts if part.strip())


def the(name: str) -> str:
    """A name with its article."""
    return name if name.startswith(("the ", "both ")) else f"the {name}"


def wrapped(words: str, per_line: int) -> str:
    """Words broken into lines of at most ``per_line`` letters."""
    return "\n".join(textwrap.wrap(words, max(8, per_line)))


# ---- the answer ----------------------------------------------------------------------------


def tumour_left(total_ml: float, by_place: Sequence[tuple[str, float]]) -> str:
    """That tumour stays in the patient, where, and what that means for the margins."""
    if len(by_place) == 1:
        stays = f"{ml(total_ml)} of tumour stays {by_place[0][0]}"
    else:
        places = listed([f"{ml(amount)} {place}" for place, amount in by_place])
        stays = f"{ml(total_ml)} of tumour stays" + (f": {places}" if places else "")
    return f"{sentence(stays)} While it stays, no margin of this plan is clean."


def contamination(cuts: Sequence[tuple[str, float]], nibbled: Sequence[tuple[str, float]],
                  touched: Sequence[str]) -> str:  # fmt: skip
    """That the plan itself opens tumour: where, how much of it."""
    said = [f"{area:.0f} mm² of tumour are cut by the {name}" for name, area in cuts]
    said += [f"{name} holds {fine_ml(amount)} of tumour" for name, amount in nibbled]
    if touched:
        said.append(f"tumour touches {listed(list(touched))}")
    return sentence(f"Planned contamination: {'; '.join(said)}")


def stale(reasons: Sequence[str]) -> str:
    """That the plan was made from something that has changed since."""
    return f"{OUT_OF_DATE}: {listed(list(reasons))}. Compute again before use."


def stale_band(reasons: Sequence[str]) -> str:
    """The band across a sheet that is out of date."""
    return f"{OUT_OF_DATE}: {listed(list(reasons))}"


def tumour_words(volume_ml: float, side: str) -> str:
    """Volume and side of the tumour."""
    return f"{ml(volume_ml)}, {'both sides' if side == 'both' else f'on the {side}'}"


def unconfirmed(level: str, reasons: Sequence[str]) -> str:
    """That nobody may rely on the level's name yet."""
    return f"Level {level} is UNCONFIRMED: {listed(list(reasons))}."


def more_is_open(count: int) -> str:
    """How many more things a level's confirmation lacks."""
    return f"{count} more things are open in its count"


def no_one_signed() -> str:
    """Why a level is unconfirmed: no name."""
    return "nobody has signed it"


def no_end_named() -> str:
    """Why a level is unconfirmed: no end to count from."""
    return "no end to count from is named"


def end_not_in_view(end: str) -> str:
    """Why a level is unconfirmed: theatre's end is not in the images."""
    return f"the {end}, from which it is counted, is not in the images"


def level_confirmed(
    level: str, who: str, end: str, when: str = "", number: int = 0, towards: str = ""
) -> str:
    """Who confirmed the level, when, and how theatre counts."""
    on = f" on {when.replace('T', ' ')}" if when else ""
    said = f" as number {number}" if number else ""
    way = f" towards the {towards}" if number and towards else ""
    how = f"counted{said} from the {end}{way}: count from there in theatre."
    return f"{level} confirmed by {who}{on}, {how}"


#: What the answers about ribs and transitional vertebrae mean for theatre; usual ones say nothing.
RIB_PAIRS_WORDS = {
    "11 pairs": "11 pairs of ribs: in theatre say end and number, never the name alone.",
    "13 pairs": "13 pairs of ribs: in theatre say end and number, never the name alone.",
    "cannot be seen": (
        "How many pairs of ribs there are cannot be seen in these images: in theatre say end and "
        "number, never the name alone."
    ),
}
TRANSITIONAL_WORDS = {
    "between chest and loin": "A transitional vertebra between chest and loin was seen.",
    "between loin and sacrum": "A transitional vertebra between loin and sacrum was seen.",
    "cannot be seen": "Whether there is a transitional vertebra cannot be seen in these images.",
}


def cut_height(level: str, heights_mm: Sequence[float], above_lower: bool) -> str:
    """Where a body is cut: one height, or two if the half cuts differ."""
    low, high = min(heights_mm), max(heights_mm)
    amount = mm(low) if mm(low) == mm(high) else f"{_plain(low, 1)} to {mm(high)}"
    where = "above its lower endplate" if above_lower else "below its upper endplate"
    return f"{level} {amount} {where}"


def both(part: str) -> str:
    """A part of the arch on both sides, such as ``both pedicles``."""
    if part.endswith("s"):
        return f"{part} on both sides" if not part.endswith("process") else f"both {part}es"
    return f"both {part}s" if not part.endswith("lamina") else "both laminae"


def behind_the_arch_cut(side: Side) -> str:
    """Bone of a half of the arch that the arch cut splits, as far as it is nibbled away."""
    return f"bone behind the {side.value} arch cut"


def acts(level: str, bodies: Sequence[str], side: Side, nibbled: Sequence[str]) -> str:
    """What is cut and what is nibbled away."""
    through = f"Cut through {listed(list(bodies))}" if bodies else f"Cut around {level}"
    opened = f"open the arch of {level} on the {side.value}"
    if nibbled:
        opened += f" and nibble away {listed([the(part) for part in nibbled])}"
    return f"{through}; {opened}."


def half_taken(level: str, side: Side, x_mm: float) -> str:
    """Which half of a body is taken, and where it is cut lengthwise."""
    place = "in its mid-plane"
    if abs(x_mm) >= 0.05:
        place = f"{mm(abs(x_mm))} {'left' if x_mm > 0 else 'right'} of its mid-plane"
    return f"Take the {side.value} half of {level}, cut lengthwise {place}."


def arch_taken(level: str, nibbled: Sequence[str]) -> str:
    """That the arch alone is taken."""
    said = f"Cut both pedicles of {level} and take its arch out to the back"
    if nibbled:
        said += f"; nibble away {listed([the(part) for part in nibbled])}"
    return sentence(said)


def ribs(words_by_fate: Sequence[tuple[str, Sequence[str]]]) -> str:
    """What happens to ribs that are not kept."""
    return sentence("; ".join(f"{listed(list(names))}: {fate}" for fate, names in words_by_fate))


def through_tumour(face: str, deep_mm: float, crossed_mm2: float, place: str) -> str:
    """A bone cut that lies in tumour."""
    area = f" over {_plain(crossed_mm2, 0)} mm²" if crossed_mm2 >= 0.5 else ""
    return sentence(
        f"{the(face)}: the cut passes through tumour{area}, up to {mm(deep_mm)} deep, {place}"
    )


def nearest_face(face: str, margin_mm: float, place: str) -> str:
    """The bone cut that comes closest to tumour."""
    return f"The bone cut nearest to tumour is {the(face)}, {mm(margin_mm)} away, {place}"


def may_err(offset: str, tilt: str, keeps_mm: float) -> str:
    """How far the nearest cut may err: one or the other, never both."""
    until = (
        f"before it comes nearer than {mm(keeps_mm)} to tumour"
        if keeps_mm > 0
        else "before it touches tumour"
    )
    return f"it may err {offset}, or {tilt}, not both, {until}"


def may_not_err() -> str:
    """A cut that has no room left."""
    return "so it has no room to err"


def short_of_wanted(wanted_mm: float) -> str:
    """A margin under the one the team wants."""
    return f"short of the wanted {mm(wanted_mm)}"


def at_least(words: str) -> str:
    """An allowance that reached the end of its search."""
    return f"at least {words}"


def bare(faces: Sequence[str]) -> str:
    """Soft faces on which tumour lies bare."""
    return f"Against {listed([the(face) for face in faces])} the tumour is bare: no margin there."


def soft_crossed(face: str, deep_mm: float) -> str:
    """A soft face that tumour reaches through."""
    return f"At {the(face)} tumour reaches {mm(deep_mm)} through the face."


def still_open() -> str:
    """What is not computed; always the answer's end."""
    return f"Still open: {', and '.join(NOT_COMPUTED)} is not yet computed."


# ---- the sheet -----------------------------------------------------------------------------


def or_more(words: str, value: float, searched_to: float) -> str:
    """A value that may be larger: its search ended where it stands, at a round number."""
    return f"≥ {words.replace('.0 ', ' ')}" if value >= searched_to - 0.01 else words


def offset_and_tilt(offset: str, tilt: str) -> str:
    """Both allowances of one cut, for a bar."""
    return f"{offset} or {tilt}"


def hand_error(mean: Published) -> str:
    """What the bracket on the allowance bars stands for."""
    cuts = mean.population.split(",")[0]
    return f"bracket: mean free-hand error {mean.value:g}\N{NO-BREAK SPACE}mm ({cuts})"


def sector_words(words: str, fraction: float) -> str:
    """One sector with its share of tumour."""
    return f"{words} {percent(fraction)}"


def flips(words: str, flips_after_mm: float, involved: bool) -> str:
    """How near a sector is to being judged the other way."""
    now, change = ("involved", "smaller") if involved else ("free", "larger")
    return (
        f"nearest to flipping: {words}, {now}, flips if the outline is {mm(flips_after_mm)} "
        f"{change}"
    )


def assumed(words: str) -> str:
    """An assumption under a title that already says so."""
    return words.replace(" (assumed)", "").replace("(assumed default)", "(default)")


def sectors_involved(sectors: Sequence[str], layers: Sequence[str]) -> str:
    """Which sectors and layers tumour involves."""
    where = listed(list(sectors)) if sectors else "none"
    return f"Involved: {where}. Layers {listed(list(layers)) if layers else 'none'}."


#: Labels of the sheet, by the name the template knows them by.
SHEET_LABELS = {
    "place_from": "(mm from midline, wall, mid-body)",
    "continued": "continued",
    "bars": "How far may each bone cut err",
    "title": "Planning sheet",
    "margin": "margin",
    "may_err": "may err",
    "not_both": "not both",
    "weakest": "weakest place",
    "bone": "Bone faces (cut)",
    "soft": "Soft faces (dissected)",
    "left": "Tumour left outside the piece",
    "piece": "Piece",
    "tumour": "Tumour",
    "staging": "Sectors, % filled",
    "spread": "Spread",
    "assumptions": "Assumed",
    "warnings": "Warnings",
    "sources": "Sources",
    "inputs": "Made from",
    "sides": "Left and right",
    "rule": "Cuts",
    "pictures": "Pictures",
    "level": "Counting",
    "code": "code",
    "made": "made",
    "keystone": "Keystone",
}
