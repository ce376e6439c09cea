"""What is typed comes out as one clear answer: exit code, standard output, standard error."""

import errno
import os
import pty
import subprocess
import sys
from types import SimpleNamespace

import pytest
import typer

import vertebloc
import vertebloc.workflow
from vertebloc.case.identity import Identity
from vertebloc.cli import commands, main
from vertebloc.errors import FrameError, InputError, MissingBackendError, NoSolutionError

RUN = [sys.executable, "-c", "from vertebloc.cli import main; main()"]


@pytest.fixture
def run(monkeypatch, capsys):
    """One command in this process: exit code, standard output, standard error."""

    def run(*words):
        monkeypatch.setattr(sys, "argv", ["vertebloc", *map(str, words)])
        with pytest.raises(SystemExit) as stop:
            main()
        said = capsys.readouterr()
        return SimpleNamespace(code=stop.value.code, out=said.out, err=said.err)

    return run


def instead(monkeypatch, name, function):
    monkeypatch.setattr(vertebloc.workflow, name, function)


def failing(error):
    def fail(*_, **__):
        raise error

    return fail


@pytest.mark.parametrize(
    "error",
    [
        InputError("the scan is\ntilted: give   another"),
        FrameError("the scan is tilted: give another"),
        NoSolutionError("the scan is tilted: give another", reasons=("x",)),
        MissingBackendError("the scan is tilted: give another"),
    ],
)
def test_what_cannot_be_done_is_one_line_and_exit_code_2(run, monkeypatch, error):
    instead(monkeypatch, "plan_case", failing(error))
    result = run("plan", "case")
    assert (result.code, result.out) == (2, "")
    assert result.err == "vertebloc: the scan is tilted: give another\n"


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (PermissionError(errno.EACCES, "Permission denied", "/a/ct.nii"), "/a/ct.nii: the system"),
        (OSError(errno.ENOSPC, "No space left on device"), "No space left on device"),
        (MemoryError(), "not enough memory"),
    ],
)
def test_what_the_system_refuses_is_one_line_too(run, monkeypatch, error, words):
    instead(monkeypatch, "import_case", failing(error))
    result = run("import", "scan", "--case", "case")
    assert result.code == 2
    assert words in result.err and result.err.count("\n") == 1


def test_a_mistake_of_ours_is_not_dressed_up_as_bad_input(monkeypatch):
    instead(monkeypatch, "plan_case", failing(ZeroDivisionError()))
    monkeypatch.setattr(sys, "argv", ["vertebloc", "plan", "case"])
    with pytest.raises(ZeroDivisionError):
        main()


def test_the_keyboard_stops_it_with_one_line(run, monkeypatch):
    instead(monkeypatch, "plan_case", failing(KeyboardInterrupt()))
    result = run("plan", "case", "--json")
    assert (result.code, result.out) == (130, "")
    assert result.err.startswith("vertebloc: stopped by the keyboard")
    assert result.err.count("\n") == 1


@pytest.mark.parametrize("how", [KeyboardInterrupt(), typer.Abort()])
def test_the_keyboard_stops_it_outside_a_command_too(run, monkeypatch, how):
    monkeypatch.setattr(commands, "app", failing(how))
    result = run("plan", "case")
    assert result.code == 130
    assert result.err.startswith("vertebloc: stopped by the keyboard")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("plam", "case"), "No such command 'plam'"),
        (("plan",), "Missing argument 'DIR'"),
        (("plan", "case", "--jsom"), "No such option: --jsom"),
        (("import", "scan"), "say where the case shall lie: --case DIR"),
        (("check", "case", "K7QM-3WXK", "more"), "unexpected extra argument"),
    ],
)
def test_mistyped_commands(run, words, said):
    result = run(*words)
    assert (result.code, result.out) == (2, "")
    assert said in result.err and result.err.count("\n") == 1


def test_json_alone_on_standard_output_and_progress_beside_it(run, monkeypatch):
    def plan(_, *, say, **__):
        say("placing the [cuts]")
        return SimpleNamespace(plan_json=b'{"answer": "\xc3\xbc"}\n', copy_without_identity=None)

    instead(monkeypatch, "plan_case", plan)
    result = run("plan", "case", "--json")
    assert (result.code, result.out) == (0, '{"answer": "ü"}\n')
    assert result.err == "... placing the [cuts]\n"


@pytest.mark.parametrize(("is_good", "code"), [(True, 0), (False, 1)])
def test_check_ends_with_its_verdict(run, monkeypatch, is_good, code):
    asked = []

    def check(folder, typed):
        asked.append((str(folder), typed))
        return SimpleNamespace(lines=("first", "second"), is_good=is_good)

    instead(monkeypatch, "check_case", check)
    result = run("check", "case", "K7QM-3WXK")
    assert (result.code, result.out) == (code, "first\nsecond\n")
    assert asked == [("case", "K7QM-3WXK")]


def test_import_hands_on_who_it_is(run, monkeypatch):
    asked = {}

    def take(source, case, **more):
        asked.update(more, source=str(source), case=str(case))
        return SimpleNamespace(lines=("done",))

    instead(monkeypatch, "import_case", take)
    words = ("import", "ct.nii", "--case", "c", "--name", " A, B ", "--birth-date", "1950-02-01")
    assert run(*words, "--number", "7", "--series", "1.2").out == "done\n"
    assert (asked["source"], asked["case"], asked["labels"]) == ("ct.nii", "c", None)
    assert asked["settings"].identity == Identity("A, B", "1950-02-01", "7")
    assert asked["settings"].series_uid == "1.2"


def test_a_birth_date_is_written_as_a_date(run):
    result = run("import", "ct.nii", "--case", "c", "--name", "A", "--birth-date", "1.2.1950")
    assert result.code == 2
    assert "YYYY-MM-DD" in result.err


@pytest.mark.parametrize(
    ("words", "display", "opened"),
    [(("demo",), ":0", 1), (("demo", "--no-open"), ":0", 0), (("demo",), "", 0)],
)
def test_demo_opens_its_pages_only_where_there_is_a_display(
    run, monkeypatch, tmp_path, words, display, opened
):
    planned = SimpleNamespace(document=DOCUMENT, sheet=tmp_path / "a.pdf", plan_path="p")
    report = SimpleNamespace(planned=planned, imported=SimpleNamespace(case=tmp_path / "case"))
    instead(monkeypatch, "make_demo", lambda *_, **__: report)
    served, seen = [], []

    def serve(folder, *, port, opened):
        served.append((folder, port))
        opened("http://127.0.0.1:1/?key=x")

    monkeypatch.setattr("vertebloc.app.serve_case", serve)
    monkeypatch.setattr("webbrowser.open", seen.append)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setenv("DISPLAY", display)
    result = run(*words)
    assert result.code == 0
    assert f"sheet: {tmp_path / 'a.pdf'}" in result.out
    assert len(seen) == opened
    assert served == [(tmp_path / "case", 0)] * opened
    assert ("to open its pages: vertebloc open" in result.out) == (not opened)


DOCUMENT = {
    "level": "T10",
    "level_confirmation": {"confirmed": False},
    "code": "K7QM-3WXK",
    "made_at": "2026-01-05T09:30:00+00:00",
    "answer_parts": [{"words": "One sentence.", "must_not_be_overlooked": False}],
}


def test_version(run):
    result = run("--version")
    assert (result.code, result.out) == (0, f"vertebloc {vertebloc.__version__}\n")


def test_without_a_command_the_commands_are_listed(run):
    result = run()
    assert (result.code, result.err) == (0, "")
    assert all(command in result.out for command in ("import", "plan", "check", "demo"))
    assert "not a medical device" in result.out


def test_the_command_line_imports_nothing_heavy():
    """Typing a command must not feel slow: numbers and pictures load inside the commands."""
    code = (
        "import sys, vertebloc.cli.commands\n"
        "heavy = {'numpy', 'scipy', 'numba', 'matplotlib', 'pydicom', 'SimpleITK', 'typst'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout == "[]\n"


def test_stopped_by_the_keyboard_while_it_loads_is_one_line_and_130(tmp_path):
    """As if Ctrl-C came in the middle of loading: a library that stops so when it is read."""
    (tmp_path / "typer.py").write_text("raise KeyboardInterrupt\n")
    paths = os.pathsep.join((str(tmp_path), *sys.path))
    done = subprocess.run(
        [*RUN, "check", "case"],
        capture_output=True, text=True, timeout=60, check=False,
        env={**os.environ, "PYTHONPATH": paths},
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (130, "")
    assert (
        done.stderr == "vertebloc: stopped by the keyboard; a case holds its last complete state\n"
    )


def test_a_reader_who_leaves_early_gets_no_traceback():
    pipe = subprocess.Popen(
        [*RUN, "--help"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    pipe.stdout.close()
    assert pipe.stderr.read() == ""
    pipe.stderr.close()
    assert pipe.wait(timeout=60) in (0, 1)


@pytest.mark.slow
def test_in_a_terminal_progress_is_one_line_that_moves(tmp_path):
    """Read through a pseudo-terminal, as a person would see it."""
    ours, theirs = pty.openpty()
    code = (
        "import vertebloc.workflow as w, types, time\n"
        "def plan(folder, *, without_identity, say):\n"
        "    say('placing the [cuts]'); time.sleep(0.4)\n"
        "    return types.SimpleNamespace(plan_json=b'{}', copy_without_identity=None)\n"
        "w.plan_case = plan\n"
        "from vertebloc.cli import main; main()"
    )
    environment = {**os.environ, "TERM": "xterm"}
    done = subprocess.run(
        [sys.executable, "-c", code, "plan", str(tmp_path), "--json"],
        stdout=subprocess.PIPE, stderr=theirs, timeout=60, check=False, env=environment,
    )  # fmt: skip
    os.close(theirs)
    seen = b""
    while True:
        try:
            piece = os.read(ours, 4096)
        except OSError:
            break
        if not piece:
            break
        seen += piece
    os.close(ours)
    assert (done.returncode, done.stdout) == (0, b"{}")
    assert b"placing the [cuts]" in seen
    assert b"... placing" not in seen
    assert seen.rstrip().endswith((b"\x1b[?25h", b"\x1b[2K"))  # cursor back, line wiped
