"""The page for the person and their family: plain words from a file that can be exchanged."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from importlib import resources
from typing import Any

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.published.blood import OPERATION_HOURS
from vertebloc.reports import text
from vertebloc.reports.role_sheet import Role, RoleSheet, Section

Words = Mapping[str, Any]
_ABOUT_ONE = 0.8  #: of a tablespoon; less is less (assumed)
_SPOON_ML = 15.0  #: a tablespoon: how people picture a volume


def english() -> Words:
    """The words as they come with the program."""
    words = (resources.files("vertebloc.reports") / "family_en.toml").read_text(encoding="utf-8")
    return tomllib.loads(words)


def read_family_words(written: str) -> Words:
    """Read a translation of the family's words.

    Parameters
    ----------
    written : str
        TOML with the same keys as the English words.

    Returns
    -------
    mapping
        The words.

    Raises
    ------
    InputError
        If it is no TOML, a key is missing or unknown, or what stands in braces differs.
    """
    try:
        found = tomllib.loads(written.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"the family's words are no TOML: {error}") from error
    model = english()
    wrong = sorted(set(model) ^ set(found))
    if wrong:
        missing = "is missing" if wrong[0] in model else "is not known"
        raise InputError(
            f"the family's words: {wrong[0]!r} {missing}; keep the English file's keys"
        )
    for key, said in model.items():
        if type(found[key]) is not type(said) or not found[key]:
            raise InputError(f"the family's words: {key!r} needs {type(said).__name__} with words")
        if _braces(found[key]) != _braces(said):
            raise InputError(
                f"the family's words: {key!r} needs {', '.join(sorted(_braces(said))) or 'no'} "
                "braces as in the English file"
            )
    return found


def _braces(said: object) -> set[str]:
    return set(re.findall(r"\{(\w+)\}", str(said)))


def family_sheet(
    document: Mapping[str, Any], identity: Identity | None, words: Words
) -> RoleSheet:
    """What is planned, how it goes, what nobody can promise, what to ask.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    identity : Identity or None
        For the head of the page in the same language; None: without identity.
    words : mapping
        From ``english`` or ``read_family_words``.

    Returns
    -------
    RoleSheet
        Head and foot are in the family's words too.
    """
    resection = document["resection"]
    levels = ", ".join(resection["levels"])
    return RoleSheet(
        role=Role.FAMILY,
        title=words["title"],
        answer=words["answer"],
        plain=True,
        labels=_labels(document, identity, words),
        sections=(
            Section(title=words["what_title"], lines=_what(document, words, levels)),
            Section(
                title=words["how_title"],
                lines=(words["how_lying"], words["how_watched"],
                       _how_long(words), words["how_blood"], words["how_stop"]),
            ),
            Section(title=words["sure_title"], lines=_not_promised(document, words)),
            Section(title=words["ask_title"], lines=tuple(f"· {asked}" for asked in words["ask"])),
            Section(title=words["fields_title"], fields=tuple(words["fields"])),
        ),
    )  # fmt: skip


def _how_long(words: Words) -> str:
    """Hours of the operation in a published series."""
    hours = OPERATION_HOURS
    people = hours.population.partition(" ")[0]
    return str(
        words["how_long"].format(count=people, low=f"{hours.low:.1f}", high=f"{hours.high:.1f}")
    )


def _what(document: Mapping[str, Any], words: Words, levels: str) -> tuple[str, ...]:
    resection, tumour = document["resection"], document["tumour"]
    kinds = {"whole": "what_whole", "half ": "what_half", "arch ": "what_arch"}
    kind = next(key for start, key in kinds.items() if resection["kind"].startswith(start.strip()))
    said = _spoons(tumour["volume_ml"] / _SPOON_ML, words)
    side = tumour["side"]
    at = words["on_both"] if side == "both" else words["on_side"].format(side=words[side])
    ribs = [
        words["what_rib_one"].format(
            side=words[rib["rib"].partition(" ")[0]], level=rib["rib"].rpartition(" ")[2]
        )
        for rib in resection["rib_fates"]
        if rib["fate"] != "kept"
    ]
    return (
        words[kind].format(levels=levels),
        words["what_size"].format(volume=f"{tumour['volume_ml']:.0f}", spoons=said, side=at),
        words["what_rebuild"],
        words["what_rib"].format(ribs=", ".join(ribs)) if ribs else words["what_no_rib"],
    )


def _spoons(count: float, words: Words) -> str:
    """A volume as people picture it; nobody calls two thirds of a spoon a spoon."""
    if count < _ABOUT_ONE:
        return str(words["spoon_less"])
    whole = round(count)
    return str(words["spoon_one"]) if whole < 2 else words["spoons"].format(count=whole)


def _not_promised(document: Mapping[str, Any], words: Words) -> tuple[str, ...]:
    resection = document["resection"]
    lines = [words["sure_margin"]]
    if resection["tumour_left_ml"] > 0.0:
        lines.append(words["sure_left"])
    if any(text.printed_mm(face["margin_mm"]) <= 0.0 for face in resection["faces"]):
        lines.append(words["sure_bare"])
    lost = [root for root in document["theatre"]["roots"] if root["given_up"]]
    named = ", ".join(
        f"{root['root']} ({', '.join(words[side] for side in root['given_up'])})" for root in lost
    )
    lines.append(words["roots_some"].format(roots=named) if lost else words["roots_none"])
    return (*lines, words["sure_change"])


def _labels(
    document: Mapping[str, Any], identity: Identity | None, words: Words
) -> dict[str, Any]:
    """Head and foot in the family's language."""
    side = document["tumour"]["side"]
    at = words["tumour_both"] if side == "both" else words["tumour_side"].format(side=words[side])
    confirmed = document["level_confirmation"]["confirmed"]
    drafts = any(part["about"] == "outlines" for part in document["answer_parts"])
    made: dict[str, Any] = {
        "language": words["language"],
        "labels": {"code": words["code"], "made": words["made"]},
        "side": at,
        "unconfirmed": "" if confirmed else words["unconfirmed"],
        "cautions": words["cautions"],
        "page_of": words["page_of"],
        "open": [words["open"]] if drafts or not confirmed else [],
        "stale": words["stale"] if document["stale"] else "",
        "stale_word": words["stale_word"],
    }
    if identity is not None and not identity.is_blank:
        rest = [f"{words['born']} {identity.birth_date}" if identity.birth_date else "",
                f"{words['number']} {identity.number}" if identity.number else ""]  # fmt: skip
        made["person"] = {"name": identity.name, "rest": " · ".join(filter(None, rest)),
                          "caution": ""}  # fmt: skip
    return made
