"""The whole chain on the lead made-up patient at coarse resolution, through the commands."""

import json
import re
import shutil
import subprocess
import sys

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.exchange.names_file import NamesFile, write_names_file
from vertebloc.exchange.nifti import write_nifti
from vertebloc.space.grids import Grid, Volume
from vertebloc.workflow.demo import SCANNED_AT

pytestmark = pytest.mark.slow


def run(*words):
    """One command in a process of its own, as a person runs it."""
    code = "from vertebloc.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, words)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


def is_one_clear_line(result):
    lines = [line for line in result.stderr.splitlines() if not line.startswith("...")]
    return result.returncode == 2 and len(lines) == 1 and "Traceback" not in result.stderr


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    """DICOM folder, label map and names of the patient on 1 x 1 x 1 mm."""
    folder = tmp_path_factory.mktemp("scan")
    patient = made_up.lead_patient()
    fine = made_up.default_grid(patient)
    matrix = np.array(fine.lps_from_ijk.matrix)
    matrix[:3, 3] += 0.5 * (matrix[:3, 0] + matrix[:3, 1])
    matrix[:3, :2] *= 2.0
    grid = Grid.from_matrix((fine.shape[0] // 2, fine.shape[1] // 2, fine.shape[2]), matrix)
    ct = made_up.hounsfield_volume(patient, grid, np.random.default_rng(1))
    settings = SeriesSettings(seed_text="t", made_at=SCANNED_AT, description="made up")
    write_dicom_series(folder / "ct", ct, patient.identity, settings)
    labels = made_up.label_map(patient, grid)
    write_nifti(folder / "labels.nii.gz", labels.volume)
    write_names_file(folder / "names.json", NamesFile(about="made up", labels=dict(labels.names)))
    return folder


@pytest.fixture(scope="module")
def planned(scan, tmp_path_factory):
    case = tmp_path_factory.mktemp("cases") / "case"
    done = run(
        "import", scan / "ct", "--case", case, "--labels", scan / "labels.nii.gz",
        "--names", scan / "names.json",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    plan = run("plan", case, "--json")
    assert plan.returncode == 0, plan.stderr
    return case, plan


def test_plan_json_alone_on_standard_output(planned):
    case, plan = planned
    document = json.loads(plan.stdout)
    assert plan.stdout.encode() == (case / "plan.json").read_bytes()
    assert document["level"] == "T10"
    assert document["tumour"]["side"] == "left"
    assert document["stale"] == []
    assert document["answer"].endswith("is not yet computed.")
    assert "MADE-UP" not in plan.stdout  # identity never stands in plan.json
    assert {face["kind"] for face in document["resection"]["faces"]} == {"bone", "soft"}


def test_plan_json_keeps_to_the_published_schema(planned):
    from pathlib import Path

    import jsonschema

    schema = json.loads((Path(__file__).parents[3] / "docs" / "plan.schema.json").read_text())
    jsonschema.validate(json.loads(planned[1].stdout), schema)


def test_sheet_names_the_person_on_every_page_and_carries_the_code(planned):
    import pypdf

    case, plan = planned
    code = json.loads(plan.stdout)["code"]
    for page in pypdf.PdfReader(case / "planning-sheet.pdf").pages:
        text = page.extract_text()
        assert "MADE-UP" in text
        assert "UNCONFIRMED" in text
        assert code in text


def test_check_confirms_the_code_then_refuses_after_a_choice_changed(planned, tmp_path):
    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    code = json.loads(planned[1].stdout)["code"]
    good = run("check", case, code)
    assert good.returncode == 0, good.stderr
    choices = case / "choices.toml"
    choices.write_text(
        choices.read_text().replace("wanted_margin_mm = 5.0", "wanted_margin_mm = 8.0")
    )
    bad = run("check", case, code)
    assert bad.returncode == 1
    assert "choices were changed" in bad.stdout
    document = json.loads((case / "plan.json").read_text())
    assert document["stale"]
    import pypdf

    text = pypdf.PdfReader(case / "planning-sheet.pdf").pages[0].extract_text()
    assert "OUT OF DATE" in text
    again = run("plan", case, "--json")
    assert json.loads(again.stdout)["stale"] == []
    assert json.loads(again.stdout)["code"] != code


def test_changed_contours_mark_the_plan_at_once(scan, planned, tmp_path):
    """Import, not a later check, marks plan, sheet and the copy that names nobody."""
    import nibabel
    import pypdf

    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    code = json.loads(planned[1].stdout)["code"]
    assert run("plan", case, "--without-identity").returncode == 0
    image = nibabel.load(scan / "labels.nii.gz")
    values = np.asarray(image.dataobj).copy()
    values[np.unravel_index(int(np.argmax(values > 0)), values.shape)] = 0  # one voxel
    nibabel.save(nibabel.Nifti1Image(values, image.affine, image.header), tmp_path / "b.nii.gz")
    words = ("--labels", tmp_path / "b.nii.gz", "--names", scan / "names.json")
    done = run("import", scan / "ct", "--case", case, *words)
    assert done.returncode == 0, done.stderr
    assert "plan OUT OF DATE: the contours were changed" in done.stdout
    assert json.loads((case / "plan.json").read_text())["stale"]
    for name in ("planning-sheet.pdf", "planning-sheet-without-identity.pdf"):
        assert "OUT OF DATE" in pypdf.PdfReader(case / name).pages[0].extract_text(), name
    refused = run("check", case, code)
    assert refused.returncode == 1
    assert "out of date" in refused.stdout
    back = ("--labels", scan / "labels.nii.gz", "--names", scan / "names.json")
    assert run("import", scan / "ct", "--case", case, *back).returncode == 0
    assert run("check", case, code).returncode == 0
    for name in ("planning-sheet.pdf", "planning-sheet-without-identity.pdf"):
        assert "OUT OF DATE" not in pypdf.PdfReader(case / name).pages[0].extract_text(), name


def test_check_answers_even_if_the_mark_cannot_be_written(planned, tmp_path):
    """Somebody else writes in the case: the sheet is refused all the same."""
    from vertebloc.exchange.atomic import only_writer

    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    code = json.loads(planned[1].stdout)["code"]
    choices = case / "choices.toml"
    choices.write_text(choices.read_text().replace("kerf_mm = 1.0", "kerf_mm = 1.5"))
    with only_writer(case):
        refused = run("check", case, code)
    assert refused.returncode == 1, refused.stderr
    assert "choices were changed" in refused.stdout
    assert "NOT WRITTEN" in refused.stdout
    assert json.loads((case / "plan.json").read_text())["stale"] == []


def test_a_damaged_file_is_named_and_the_code_refused(planned, tmp_path):
    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    code = json.loads(planned[1].stdout)["code"]
    (labels,) = (case / "contours").glob("labels-*.nii.gz")
    labels.write_bytes(labels.read_bytes()[:-1] + b"x")
    for words in (("check", case), ("check", case, code)):
        refused = run(*words)
        assert refused.returncode == 1
        assert f"DAMAGED: contours/{labels.name}" in refused.stdout


def test_an_altered_plan_json_is_put_right_and_said(planned, tmp_path):
    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    plan = case / "plan.json"
    saved = plan.read_bytes()
    plan.write_bytes(saved.replace(b'"margin_mm"', b'"margin_cm"', 1))
    done = run("check", case)
    assert done.returncode == 0
    assert "put right: plan.json was not the last one saved" in done.stdout
    assert plan.read_bytes() == saved


def test_choices_give_the_share_that_chose_the_level(planned):
    text = (planned[0] / "choices.toml").read_text()
    assert 'diseased = "T10"' in text
    # the made-up tumour lies at T10 but for the rim of its paravertebral ball
    share = re.search(r"# This value: (\d+) % of the outlined tumour lies at T10", text)
    assert share is not None and 90 <= int(share[1]) <= 100


def test_surfaces_do_as_well_as_a_label_map(scan, planned, tmp_path):
    from vertebloc.anatomy.structures import Structure
    from vertebloc.exchange.surface_files import write_ply
    from vertebloc.made_up.surfaces import surface_of

    patient, named = made_up.lead_patient(), []
    folder = tmp_path / "surfaces"
    folder.mkdir()
    wanted = (Structure.VERTEBRA, Structure.RIB, Structure.TUMOUR, Structure.SAC, Structure.AORTA,
              Structure.TRACT)  # fmt: skip
    for structure in wanted:
        for contour, solid in patient.of(structure).items():
            file = f"{structure.name.lower()} {len(named)}.ply"
            write_ply(folder / file, surface_of(solid, 1.5))
            named.append((file, contour))
    write_names_file(folder / "names.json", NamesFile(surfaces=tuple(named)))
    case = tmp_path / "case"
    words = ("--labels", folder, "--names", folder / "names.json")
    done = run("import", scan / "ct", "--case", case, *words)
    assert done.returncode == 0, done.stderr
    plan = run("plan", case, "--json")
    assert plan.returncode == 0, plan.stderr
    document = json.loads(plan.stdout)
    assert (document["level"], document["tumour"]["side"]) == ("T10", "left")
    by_labels = json.loads(planned[1].stdout)["resection"]
    for same in ("bone_fates", "rib_fates", "arch_opened_on"):
        assert document["resection"][same] == by_labels[same], same
    assert "surfaces" in document["inputs"] and "labels" not in document["inputs"]


def test_remarks_in_the_choices_do_not_make_it_stale(planned, tmp_path):
    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    choices = case / "choices.toml"
    choices.write_text("# seen by the team\n" + choices.read_text())
    assert run("check", case).returncode == 0


def test_a_copy_without_identity(planned, tmp_path):
    import pypdf

    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    assert run("plan", case, "--without-identity").returncode == 0
    pages = pypdf.PdfReader(case / "planning-sheet-without-identity.pdf").pages
    text = " ".join(page.extract_text() for page in pages)
    assert "MADE-UP" not in text
    assert "VB-LEAD" not in text


@pytest.mark.parametrize(
    "words",
    [
        ("import", "nowhere", "--case", "c"),
        ("plan", "nowhere"),
        ("check", "nowhere"),
        ("plan",),
        ("import", "x", "--cas", "y"),
        ("import", "x", "--case", "y", "--labels", "z"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2(tmp_path, words):
    result = subprocess.run(
        [sys.executable, "-c", "from vertebloc.cli import main; main()", *words],
        capture_output=True, text=True, cwd=tmp_path, timeout=100, check=False,
    )  # fmt: skip
    assert is_one_clear_line(result), result.stderr
    assert list(tmp_path.iterdir()) == []  # nothing half-written


def test_another_persons_images_are_refused_and_the_case_stays(planned, tmp_path):
    from vertebloc.case.identity import Identity
    from vertebloc.space.grids import Volume

    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    before = (case / "case.json").read_bytes()
    grid = Grid.from_matrix((16, 16, 4), np.eye(4))
    small = Volume(grid, np.zeros(grid.shape, dtype=np.int16))
    settings = SeriesSettings(seed_text="other", made_at=SCANNED_AT, description="made up")
    write_dicom_series(
        tmp_path / "b", small, Identity("OTHER, MADE-UP", "1980-02-02", "VB-9"), settings
    )
    result = run("import", tmp_path / "b", "--case", case)
    assert is_one_clear_line(result), result.stderr
    assert "another person" in result.stderr
    assert (case / "case.json").read_bytes() == before


def test_new_images_on_another_grid_need_their_own_contours(planned, tmp_path):
    from vertebloc import made_up
    from vertebloc.space.grids import Volume

    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    grid = Grid.from_matrix((16, 16, 4), np.eye(4))
    small = Volume(grid, np.zeros(grid.shape, dtype=np.int16))
    settings = SeriesSettings(seed_text="same", made_at=SCANNED_AT, description="made up")
    write_dicom_series(tmp_path / "b", small, made_up.lead_patient().identity, settings)
    result = run("import", tmp_path / "b", "--case", case)
    assert is_one_clear_line(result), result.stderr
    assert "another CT grid" in result.stderr


def test_a_mistake_in_the_choices_names_its_line(planned, tmp_path):
    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    before = (case / "plan.json").read_bytes()
    choices = case / "choices.toml"
    choices.write_text(choices.read_text().replace('diseased = "T10"', 'diseased = "T55"'))
    result = run("plan", case)
    assert is_one_clear_line(result), result.stderr
    assert "line" in result.stderr
    assert (case / "plan.json").read_bytes() == before


def test_a_mistyped_code_is_told_from_a_strangers(planned):
    case, plan = planned
    code = json.loads(plan.stdout)["code"]
    typo = ("2" if code[0] != "2" else "3") + code[1:]
    assert is_one_clear_line(run("check", case, typo))


def test_an_image_mirrored_without_its_header_is_refused(scan, tmp_path):
    """Voxels flipped from left to right, header kept: named ribs and aorta give it away."""
    import nibabel

    for name in ("labels.nii.gz",):
        image = nibabel.load(scan / name)
        flipped = np.asarray(image.dataobj)[::-1].copy()
        nibabel.save(nibabel.Nifti1Image(flipped, image.affine, image.header), tmp_path / name)
    case = tmp_path / "case"
    done = run(
        "import", scan / "ct", "--case", case, "--labels", tmp_path / "labels.nii.gz",
        "--names", scan / "names.json",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    result = run("plan", case)
    assert is_one_clear_line(result), result.stderr
    assert "CONTRADICT" in result.stderr
    assert "[sides]" in result.stderr
    assert not (case / "plan.json").exists()
    choices = case / "choices.toml"
    before, heading, after = choices.read_text().partition("[sides]")
    after = after.replace('confirmed_by = ""', 'confirmed_by = "Dr Example"')
    choices.write_text(before + heading + after)
    half = run("plan", case)
    assert is_one_clear_line(half), half.stderr
    assert "reason is empty" in half.stderr
    after = after.replace('reason = ""', 'reason = "marker on the skin"')
    choices.write_text(before + heading + after)
    document = json.loads(run("plan", case, "--json").stdout)
    assert document["tumour"]["side"] == "right"
    (line,) = [a for a in document["assumptions"] if "Dr Example" in a]
    assert line.endswith("Dr Example answers for them: marker on the skin")


def test_help_shows_an_example():
    for command in ("import", "plan", "check", "demo"):
        result = run(command, "--help")
        assert result.returncode == 0
        assert "Example: vertebloc " in result.stdout


def texts_of(folder):
    import pypdf

    return {
        path.name: [page.extract_text() for page in pypdf.PdfReader(path).pages]
        for path in sorted(folder.glob("*.pdf"))
    }


def test_one_command_writes_everybody_s_sheet_and_an_old_one_says_so(planned, tmp_path):
    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    code = json.loads(planned[1].stdout)["code"]
    done = run("sheets", case)
    assert done.returncode == 0, done.stderr
    assert f"code: {code}" in done.stdout
    pages = texts_of(case / "role-sheets")
    assert len(pages) == 11
    assert len(pages.pop("01-cut-cards.pdf")) == 6  # four half cuts, the arch beside and behind
    assert all(len(each) == 1 for each in pages.values())
    for name, (page,) in pages.items():
        for wanted in ("MADE-UP, LEAD", "T10", code, "UNCONFIRMED"):
            assert wanted in page.replace("NOT YET CONFIRMED", "UNCONFIRMED"), name
    choices = case / "choices.toml"
    choices.write_text(
        choices.read_text().replace("wanted_margin_mm = 5.0", "wanted_margin_mm = 8.0")
    )
    assert run("check", case).returncode == 1
    for name, each in texts_of(case / "role-sheets").items():
        assert all("OUT OF DATE" in page for page in each), name
    assert "OUT OF DATE" in (case / "role-sheets" / "operation-note-DRAFT.txt").read_text()


@pytest.mark.full
def test_sheets_without_identity_name_nobody(planned, tmp_path):
    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    assert run("sheets", case, "--without-identity").returncode == 0
    folder = case / "role-sheets" / "without-identity"
    said = "".join(page for each in texts_of(folder).values() for page in each)
    said += (folder / "operation-note-DRAFT.txt").read_text()
    assert "MADE-UP" not in said and "VB-LEAD" not in said
    assert "copy without identity" in said


def test_sheets_of_what_is_no_plan_are_one_clear_line(planned, tmp_path):
    assert is_one_clear_line(run("sheets", tmp_path))
    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    words = tmp_path / "famille.toml"
    words.write_text('title = "Votre opération"\n', encoding="utf-8")
    wrong = run("sheets", case, "--family", words)
    assert is_one_clear_line(wrong)
    assert "is missing" in wrong.stderr


def test_another_scan_makes_the_plan_out_of_date_and_the_next_plan_tells_of_it(planned, tmp_path):
    """A coarse file beside the CT: it names no kind, and it does not lie on the CT yet."""
    case = tmp_path / "case"
    shutil.copytree(planned[0], case)
    grid = Grid.from_matrix((8, 8, 8), np.diag([4.0, 4.0, 4.0, 1.0]))
    write_nifti(tmp_path / "s.nii", Volume(grid, np.arange(512, dtype=np.int16).reshape(8, 8, 8)))
    beside = run("import", tmp_path / "s.nii", "--case", case, "--beside")
    assert beside.returncode == 0, beside.stderr
    stale = json.loads((case / "plan.json").read_text())["stale"]
    assert stale == ["the other scan was added after this plan was computed"]
    again = run("plan", case, "--json")
    document = json.loads(again.stdout)
    assert document["other_scan"]["answer"] == "not_laid" and document["stale"] == []
    assert "The other scan of this case does not lie on the CT yet." in document["answer"]
    assert "second" in document["inputs"] and "second_place" not in document["inputs"]
