"""The neurophysiologist's sheet: muscles, controls, runs tied to acts, what is expected to go."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.published.evoked_potentials import CRITERIA, LEVELS_AT_RISK
from vertebloc.reports import role_text, text
from vertebloc.reports.role_sheet import BLANK, Role, RoleSheet, RoleTable, Section
from vertebloc.surgery_day.watch import expected_loss

MUSCLE_HEADINGS = ("root", "muscle", "from", "baseline left", "baseline right", "if given up")
BY_TEAM = "the team"
KEPT, GIVEN_UP = "kept", "given up on the {sides}: expected"
NO_ROOT = (
    "No root is named as given up in choices.toml: any loss is unexpected until the surgeon says "
    "which root was tied."
)
RUN_HEADINGS = ("run", "after", "before", "when", "left", "right")
BASELINE = "(baseline)"
CRITERION_HEADINGS = ("agreed", "a change is", "sensitivity, specificity",
                      "source")  # fmt: skip
CRITERIA_NOTE = (
    "Agree on one before the operation, tick it, sign: none is chosen here. Without a baseline "
    "no loss can be seen."
)
ABSENT = ("absent at baseline (muscle, side)", "sensory responses: baseline",
          "criterion agreed by (names)", "who is told, how")  # fmt: skip
ANSWER = (
    "{runs} runs, each tied to an act; {roots}. Say the result aloud each time: same, weaker, "
    "gone. Silence is not safety."
)
WAY_OUT = (
    "The way out that was chosen gives up {roots}: to be confirmed by the surgeon under "
    "roots_given_up. Expected: {expected}."
)
IN_A_ROW = "With the chosen way out both are lost at {count} neighbouring level(s)."
ARTERIES = (
    "Segmental arteries of {levels} are met on both sides. In dogs the cord was at risk from "
    "{limit} neighbouring levels on ({source}). In people nobody measured it."
)


def neurophysiologist_sheet(document: Mapping[str, Any]) -> RoleSheet:
    """Muscles by root, controls, run schedule, expected losses, absent baselines, criteria.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    RoleSheet
        Muscles are common practice without a source unless the team named its own.
    """
    theatre = document["theatre"]
    lost = [root for root in theatre["roots"] if root["given_up"]]
    roots = tuple(filter(None, (NO_ROOT if not lost else "", _of_way_out(document))))
    return RoleSheet(
        role=Role.NEUROPHYSIOLOGIST,
        title=role_text.TITLES["neurophysiologist"],
        answer=ANSWER.format(
            runs=len(theatre["signal_runs"]),
            roots="roots given up: " + text.listed([_with_sides(root) for root in lost])
            if lost
            else "no root is named as given up",
        ),
        sections=(
            Section(title="Muscles by root", table=_muscles(theatre["roots"], any_lost=bool(lost)),
                    lines=roots, must=bool(roots),
                    note=f"Muscles marked 'practice' are {role_text.NO_SOURCE}; the team changes "
                    "them under [muscles] in choices.toml."),
            Section(title="Controls", lines=(text.sentence(theatre["control"]),
                                             _arteries(document))),
            Section(title="Runs", table=_runs(theatre["signal_runs"])),
            Section(title="When is a change a change", table=_criteria(), note=CRITERIA_NOTE),
            Section(title="Before the incision", fields=ABSENT),
        ),
    )  # fmt: skip


def chosen_way_out(document: Mapping[str, Any]) -> Mapping[str, Any]:
    """The line of the ledger that the way out's answer rests on.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    mapping
        As ``way_out.ledger`` holds it; empty if no way out was computed or none is chosen.
    """
    ledger = (document.get("way_out") or {}).get("ledger", ())
    return next((line for line in ledger if line["chosen"]), {})


def _of_way_out(document: Mapping[str, Any]) -> str:
    """Roots that the chosen way out gives up and the team has not named, with what is expected."""
    said = {
        (root["root"], side) for root in document["theatre"]["roots"] for side in root["given_up"]
    }
    given_up = [
        name
        for name in chosen_way_out(document).get("roots", ())
        if (name.split()[1], name.split()[0]) not in said
    ]
    if not given_up:
        return ""
    expected = dict.fromkeys(expected_loss(name.split()[1]) for name in given_up)
    return WAY_OUT.format(
        roots=text.listed([text.the(name) for name in given_up]),
        expected="; ".join(
            f"{one.what} ({role_text.source_words(one.source)})" for one in expected
        ),
    )


def _with_sides(root: Mapping[str, Any]) -> str:
    return f"{root['root']} {text.listed(root['given_up'])}"


def _muscles(roots: list[dict[str, Any]], *, any_lost: bool) -> RoleTable:
    rows = []
    for root in roots:
        fate = KEPT if any_lost else role_text.NOT_SAID  # nobody said that all are kept
        if root["given_up"]:
            fate = f"{GIVEN_UP.format(sides=text.listed(root['given_up']))} {root['expected']} "
            fate += f"({role_text.source_words(root['expected_source'])})"
        source = BY_TEAM if root["by_team"] else "practice"
        rows.append((root["root"], root["muscle"] or BLANK, source, BLANK, BLANK, fate))
    return RoleTable(
        headings=MUSCLE_HEADINGS, rows=tuple(rows), widths=(0.6, 3.6, 1.0, 1.2, 1.2, 3.2)
    )


def _runs(runs: list[dict[str, Any]]) -> RoleTable:
    return RoleTable(
        headings=RUN_HEADINGS,
        rows=tuple(
            (
                str(run["number"]),
                f"{run['after'] or 'turning'} {BASELINE if run['baseline'] else ''}".strip(),
                run["before"] or "the end",
                BLANK,
                BLANK,
                BLANK,
            )
            for run in runs
        ),
        widths=(0.5, 3.0, 2.6, 1.0, 1.4, 1.4),
    )


def _criteria() -> RoleTable:
    return RoleTable(
        headings=CRITERION_HEADINGS,
        rows=tuple(
            (
                BLANK,
                one.what,
                one.found or "not read",
                role_text.source_words(one.source, known=one.known),
            )
            for one in CRITERIA
        ),
        widths=(0.7, 3.4, 4.0, 1.8),
    )


def _arteries(document: Mapping[str, Any]) -> str:
    said = ARTERIES.format(
        levels=text.listed(document["resection"]["levels"]),
        limit=f"{LEVELS_AT_RISK.value:g}",
        source=LEVELS_AT_RISK.source,
    )
    in_a_row = chosen_way_out(document).get("bilateral_levels_in_a_row", 0)
    return f"{said} {IN_A_ROW.format(count=in_a_row)}" if in_a_row else said
