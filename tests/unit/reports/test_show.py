"""The terminal's words are the document's words."""

from typing import Any

from vertebloc.anatomy.model import LevelConfirmation
from vertebloc.reports import answer_lines, faces_table


def test_answer_lines_hold_every_sentence_and_mark_the_grave_ones(made_up: Any) -> None:
    made_up.confirmation = LevelConfirmation()
    document = made_up.document()
    lines = answer_lines(document)
    assert lines.startswith("T10 UNCONFIRMED · code K7QM-2R · made 2026-03-14T15:09:26+00:00\n")
    said = " ".join(lines.replace("! ", "").split())
    assert said.endswith(document["answer"])
    assert "\n! Level T10 is UNCONFIRMED" in lines
    assert "\n! Against the sac the tumour is bare" in lines
    assert max(map(len, lines.splitlines())) <= 96


def test_faces_table_by_hand(made_up: Any) -> None:
    assert faces_table(made_up.document()).splitlines() == [
        "                            margin  may err",
        "Bone faces (cut)",
        "  caudal cut, left half     4.2 mm  4.2 mm or 9 degrees",
        "  right pedicle base        6.1 mm  6.1 mm or 12 degrees",
        "  cranial cut, left half    7.9 mm  7.9 mm or 14 degrees",
        "  caudal cut, right half    8.0 mm  8.0 mm or 15 degrees",
        "  cranial cut, right half  11.2 mm  11.2 mm or 19 degrees",
        "Soft faces (dissected)",
        "  sac                       0.0 mm",
        "  left side                 3.0 mm",
        "  front                     5.2 mm",
    ]
