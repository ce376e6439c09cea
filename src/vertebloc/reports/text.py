"""Every sentence that sheets, pictures and answers say, in one place: translate here.

The sheet's longest texts stand in ``small_print``.
Plain functions from values to words. Numbers carry their unit; lengths are given to 0.1 mm
on paper, since a cut cannot be placed finer.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from vertebloc.published import Published
from vertebloc.resection.model import RibFate
from vertebloc.space.frames import Side
from vertebloc.space.views import View

#: Everything the answer must say it does not know, at its very end.
NOT_COMPUTED = (
    "whether the piece can be turned around the sac",
    "whether the front can be reached",
)

#: Names of areas on pictures.
AREA_NAMES = {"tumour": "tumour", "sac": "sac", "aorta": "aorta"}

YOU_STAND_HERE = "you stand here"
NAME_UNKNOWN = "name not given"
COPY_WITHOUT_IDENTITY = "copy without identity"
LEVEL_UNCONFIRMED = "UNCONFIRMED"
OUT_OF_DATE = "OUT OF DATE"


def _plain(value: float, digits: int) -> str:
    """A number with fixed digits and never a minus before zero."""
    written = f"{value:.{digits}f}"
    return written.lstrip("-") if float(written) == 0 else written


def mm(value: float) -> str:
    """A length to 0.1 mm."""
    return f"{_plain(value, 1)} mm"


def whole_mm(value: float) -> str:
    """A length without decimals."""
    return f"{_plain(value, 0)} mm"


def degrees(value: float) -> str:
    """An angle: whole from 10 degrees on, else to 0.1 degrees, without an idle zero."""
    return f"{_plain(value, 0 if abs(value) >= 9.95 else 1).removesuffix('.0')} degrees"


def degrees_sign(value: float) -> str:
    """An angle for tables and bars."""
    return degrees(value).replace(" degrees", "°")


def ml(value: float) -> str:
    """A volume to 0.1 ml; what is left but would round to nothing is never called zero."""
    if 0 < value < 0.01:
        return "less than 0.01 ml"
    return f"{_plain(value, 2 if value < 0.095 and value > 0 else 1)} ml"


def percent(fraction: float) -> str:
    """A share in whole percent."""
    return f"{_plain(100 * fraction, 0)} %"


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


_VIEW_NAMES = {
    View.THEATRE_STANDING_LEFT: "theatre view\nprone,\nfrom behind",
    View.THEATRE_STANDING_RIGHT: "theatre view\nprone,\nfrom behind",
    View.THEATRE_HEAD_UP: "theatre view\nprone,\nfrom behind",
    View.THEATRE_CROSS_SECTION: "theatre view\ncross-section,\nfrom the feet",
    View.RADIOLOGICAL_FRONT: "radiological view\nfrom the front",
    View.RADIOLOGICAL_CROSS_SECTION: "radiological view\ncross-section,\nfrom the feet",
}


def view_name(view: View) -> str:
    """The view's name in short lines, for a picture's corner."""
    return _VIEW_NAMES[view]


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


def no_one_signed() -> str:
    """Why a level is unconfirmed: no name."""
    return "nobody has signed it"


def no_end_named() -> str:
    """Why a level is unconfirmed: no end to count from."""
    return "no end to count from is named"


def end_not_in_view(end: str) -> str:
    """Why a level is unconfirmed: theatre's end is not in the images."""
    return f"the {end}, from which it is counted, is not in the images"


def level_confirmed(level: str, who: str, end: str) -> str:
    """Who confirmed the level, and how theatre counts."""
    return f"{level} confirmed by {who}, counted from the {end}: count from there in theatre."


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
    return f"Still open: {', and '.join(NOT_COMPUTED)}, is not yet computed."


# ---- the sheet -----------------------------------------------------------------------------


def not_printable(count: int) -> str:
    """In place of letters that the sheet's fonts do not have."""
    return f"[{count} character{'' if count == 1 else 's'} this sheet cannot print]"


def name_not_printable() -> str:
    """A caution beside such a name."""
    return "The name cannot be printed whole: match the person by birth date and number."


def born(date: str) -> str:
    """Date of birth."""
    return f"born {date or 'date not given'}"


def number(value: str) -> str:
    """The hospital's number."""
    return f"number {value or 'not given'}"


def nearest_on_picture(margin_mm: float, place: str) -> str:
    """The label at the ring on a picture."""
    if margin_mm < 0:
        return f"cut in tumour, {mm(-margin_mm)} deep: {place}"
    return f"nearest: {mm(margin_mm)}, {place}"


#: Fates of ribs that are not kept, as short labels.
RIB_LABELS = {RibFate.REMOVED: "removed", RibFate.HEAD_ON_PIECE: "head on\npiece"}


def off_slice(offset_mm: float) -> str:
    """How far the ringed place lies from the picture's slice, towards the viewer if positive."""
    if abs(offset_mm) < 0.5:
        return "in this slice"
    return f"{whole_mm(abs(offset_mm))} {'nearer than' if offset_mm > 0 else 'beyond'} this slice"


def or_more(words: str, value: float, searched_to: float) -> str:
    """A value that may be larger: its search ended where it stands."""
    return f"≥ {words}" if value >= searched_to - 0.01 else words


def offset_and_tilt(offset: str, tilt: str) -> str:
    """Both allowances of one cut, for a bar."""
    return f"{offset} or {tilt}"


def in_tumour(margin_mm: float) -> str:
    """In place of an allowance, on a face that lies in tumour."""
    return f"in tumour, {mm(-margin_mm)} deep"


def bars_empty() -> str:
    """Where the plan has no bone cut to draw a bar for."""
    return "no bone cut"


def hand_error(mean: Published) -> str:
    """What the bracket on the allowance bars stands for."""
    cuts = mean.population.split(",")[0]
    return f"bracket: mean free-hand error {mean.value:g}\N{NO-BREAK SPACE}mm ({cuts})"


def cut_in(level: str) -> str:
    """A body cut's label on a picture."""
    return f"cut in {level}"


def arch_opened(side: Side) -> str:
    """Where the ring is opened."""
    return f"ring opened on\npatient's {side.value.upper()}"


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
    return words.replace(" (assumed)", "")


def sectors_involved(sectors: Sequence[str], layers: Sequence[str]) -> str:
    """Which sectors and layers tumour involves."""
    where = listed(list(sectors)) if sectors else "none"
    return f"Involved: {where}. Layers {listed(list(layers)) if layers else 'none'}."


#: Labels of the sheet, by the name the template knows them by.
SHEET_LABELS = {
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
