"""The anaesthetist's sheet: position, blood, pressure, and what the signals need."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.errors import InputError
from vertebloc.published import blood as published
from vertebloc.reports import role_text, text
from vertebloc.reports.role_sheet import BLANK, Role, RoleSheet, RoleTable, Section
from vertebloc.surgery_day import (
    Sex,
    allowable_loss_by_mean_ml,
    allowable_loss_exact_ml,
    allowable_loss_plain_ml,
    blood_volume_ml,
)

POSITION = (
    "Prone; belly free, so that the veins of the canal do not fill; face, eyes, arms, breasts, "
    "knees and toes checked after turning; arms so that the C-arm goes all round; warm before the "
    "incision; signals run once after turning (baseline).",
)
SERIES_HEADINGS = ("series", "n", "loss, ml", "spread, ml", "units", "source")
SERIES_NOTE = (
    "Whole operations; no series read here reports blood by act. {low:.0f} % of guesses in "
    "theatre were too low, by {by:.0f} % on average (smith2022, 21 operations): weigh and measure."
)
ACT_HEADINGS = ("no.", "act", "what may bleed", "mean pressure agreed", "blood ready",
                "lost so far, ml")  # fmt: skip
BLEEDS = {
    "bare the arch": "muscle, all the way",
    "ribs left": "vessel under the rib",
    "ribs right": "vessel under the rib",
    "open the arch": "veins of the canal",
    "free the sac": "veins of the canal",
    "front left": "segmental vessels, great vessels",
    "front right": "segmental vessels, great vessels",
    "first passes cranial": "bone",
    "first passes caudal": "bone",
    "last passes cranial": "bone, great vessels in front",
    "last passes caudal": "bone, great vessels in front",
    "ligaments and disc ring": "great vessels in front",
    "turn out": "veins of the canal, all cut bone",
    "rebuild": "all cut bone",
}
SIGNALS = (
    "Muscle responses need: no relaxant at work (train of four shown to the neurophysiologist), "
    "an even depth, and a word before anything is changed.",
    "If all signals fade at once, hands too: look at pressure, temperature, gases, haematocrit, "
    "what was given - before the surgeon's last act is blamed.",
    "Bite guard placed and checked: stimulation moves the jaw and the body. Say it aloud.",
)
PRESSURE_NOTE = (
    "Set targets by local protocol. For orientation: {cord} ({cord_source}); after a loss of "
    "signals or an injury of the cord {after} ({after_source})."
)
VOLUME_FIELDS = ("height, m", "weight, kg", "blood volume, ml", "haematocrit before",
                 "least haematocrit allowed", "allowable loss, ml")  # fmt: skip
RESERVE_FIELDS = ("red cells, units", "plasma, units", "platelets, units",
                  "blood salvage: yes / no, who agreed (tumour)",
                  "massive bleeding: who calls")  # fmt: skip
FORMULAS = (
    "Blood volume V, adults over 35 kg, l: {male} (man); {female} (woman); h height in m, w "
    "weight in kg.",
    "Allowable loss, volume kept up: V (H0 - H1) / ((H0 + H1) / 2); exactly V ln(H0 / H1); "
    "soonest V (H0 - H1) / H0. H0 haematocrit before, H1 the least allowed.",
)
FORMULA_NOTE = (
    "nadler1962 as quoted elsewhere; gross1983; bourke1974. Not for children; salvage not counted."
)
NOT_GIVEN = "Not said in choices.toml: fill in by hand."
LONG_TIME = "Published operations took {low:.1f} to {high:.1f} hours ({source}, {who})."


def anaesthetist_sheet(document: Mapping[str, Any]) -> RoleSheet:
    """Position, blood by act, volumes and allowable loss, pressure by act, limits for signals.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    RoleSheet
        What nobody said is an empty field; no drug and no dose is named.
    """
    resection = document["resection"]
    comes = role_text.plan_in_short(resection["kind"], resection["levels"])
    return RoleSheet(
        role=Role.ANAESTHETIST,
        title=role_text.TITLES["anaesthetist"],
        answer=f"{comes}, prone; {_loss_in_short()}. {_long_time()} {role_text.NO_DRUG}",
        sections=(
            Section(title="Position", lines=POSITION, note=f"{role_text.NO_SOURCE}."),
            Section(title="Blood lost in published series", table=_series(), note=_series_note()),
            Section(title="Act by act", table=_acts(document), note=_pressure_note()),
            Section(title="Volume and allowable loss", **_volume(document["theatre"]["blood"])),
            Section(title="To reserve, by local protocol", fields=RESERVE_FIELDS, half=True,
                    note=_massive()),
            Section(title="Limits for the signals", lines=SIGNALS, half=True,
                    note=f"{role_text.NO_SOURCE}."),
        ),
    )  # fmt: skip


def _loss_in_short() -> str:
    series = published.LOSS_SERIES
    means = [one.loss_ml for one in series]
    least = min(one.least_ml for one in series if one.most_ml)
    most = max(one.most_ml for one in series)
    return (
        f"published averages run from {min(means):.0f} to {max(means):.0f} ml, single people from "
        f"{least:.0f} to {most:.0f} ml"
    )


def _long_time() -> str:
    hours = published.OPERATION_HOURS
    return LONG_TIME.format(
        low=hours.low, high=hours.high, source=hours.source, who=hours.population
    )


def _series() -> RoleTable:
    return RoleTable(
        widths=(4.6, 0.7, 1.9, 1.5, 1.4, 1.8),
        headings=SERIES_HEADINGS,
        rows=tuple(
            (
                one.what,
                str(one.count) if one.count else role_text.NOT_SAID,
                f"{one.loss_ml:.0f}, {one.loss_is}",
                one.spread or "not read",
                one.units or "not read",
                role_text.source_words(one.source, known=one.known),
            )
            for one in published.LOSS_SERIES
        ),
    )


def _series_note() -> str:
    return SERIES_NOTE.format(low=published.GUESSED_TOO_LOW.value, by=published.TOO_LOW_BY.value)


def _acts(document: Mapping[str, Any]) -> RoleTable:
    rows = [
        (str(one["number"]), one["act"], BLEEDS[one["act"]], BLANK, BLANK, BLANK)
        for one in document["resection"]["acts"]["order"]
        if one["act"] in BLEEDS
    ]
    return RoleTable(
        headings=ACT_HEADINGS, rows=tuple(rows), widths=(0.5, 2.4, 2.8, 1.9, 1.5, 1.6)
    )


def _pressure_note() -> str:
    cord, after = published.PRESSURE_CORD_AT_RISK, published.PRESSURE_AFTER_LOSS
    return PRESSURE_NOTE.format(
        cord=f"{cord.what} {cord.in_words}",
        cord_source=role_text.source_words(cord.source),
        after=after.in_words,
        after_source=role_text.source_words(after.source, known=after.known),
    )


def _massive() -> str:
    rate, half, units = (
        published.MASSIVE_BY_RATE, published.MASSIVE_IN_4_H, published.MASSIVE_UNITS,
    )  # fmt: skip
    return (
        f"Massive: more than {rate.in_words}, {half.value:g} % of the volume in 4 h, or about "
        f"{units.in_words} in 24 h ({rate.source})."
    )


def _volume(said: Mapping[str, Any]) -> dict[str, Any]:
    """The formulas, with this person's numbers where the team said them."""
    male, female = (
        f"{a.value:g} h³ + {b.value:g} w + {c.value:g}"
        for a, b, c in (published.BLOOD_VOLUME[sex] for sex in ("male", "female"))
    )
    lines = [FORMULAS[0].format(male=male, female=female), FORMULAS[1]]
    computed = volume_words(said)
    if computed:
        return {"lines": (*lines, *computed), "note": FORMULA_NOTE}
    return {"lines": tuple(lines), "fields": VOLUME_FIELDS, "note": f"{NOT_GIVEN} {FORMULA_NOTE}"}


def volume_words(said: Mapping[str, Any]) -> tuple[str, ...]:
    """The person's blood volume and allowable loss, as far as the team said what it needs.

    Parameters
    ----------
    said : mapping
        ``theatre.blood`` of plan.json.

    Returns
    -------
    tuple of str
        Empty if sex, height or weight is not said.
    """
    if not (said["sex"] and said["height_cm"] and said["weight_kg"]):
        return ()
    try:
        volume = blood_volume_ml(
            Sex(said["sex"]), height_cm=said["height_cm"], weight_kg=said["weight_kg"]
        )
    except InputError as error:
        return (text.sentence(str(error)),)
    lines = [
        f"{said['height_cm']:g} cm, {said['weight_kg']:g} kg, {said['sex']}: blood volume "
        f"{volume:.0f} ml."
    ]
    before, least = said["haematocrit_percent"], said["haematocrit_least_percent"]
    if before and least:
        losses = [
            formula(volume, before=before / 100.0, least=least / 100.0)
            for formula in (
                allowable_loss_plain_ml, allowable_loss_by_mean_ml, allowable_loss_exact_ml,
            )
        ]  # fmt: skip
        soonest, mean, exact = losses
        lines.append(
            f"From haematocrit {before:g} % to {least:g} %: allowable loss {mean:.0f} ml; soonest "
            f"{soonest:.0f} ml, exactly {exact:.0f} ml while volume is kept up."
        )
    return tuple(lines)
