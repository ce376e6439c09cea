"""The commands: each asks one workflow function and shows what it says."""

from __future__ import annotations

import contextlib
import os
import sys
import webbrowser
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Annotated, NoReturn

import typer
from rich.console import Console
from rich.text import Text

from vertebloc import __version__
from vertebloc.cli.load_ahead import load_ahead
from vertebloc.errors import InputError, VertBlocError

app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Planning aid for taking a diseased vertebra out in one piece. "
    "For qualified teams; not a medical device: verify against the images.",
)
_BAD_INPUT, _REFUSED, _INTERRUPTED = 2, 1, 130


def main() -> None:
    """Run a command; anything wrong with the input is one line and exit code 2."""
    try:
        code = app(standalone_mode=False)  # returns what a command's typer.Exit carries
        sys.stdout.flush()
    except VertBlocError as error:
        _stop(str(error))
    except BrokenPipeError:
        _leave_quietly()
    except OSError as error:
        what = f"{error.filename}: " if error.filename else ""
        _stop(f"{what}the system refuses: {error.strerror or error}")
    except MemoryError:
        _stop("there is not enough memory: close other programs, or crop the images to the spine")
    except (KeyboardInterrupt, typer.Abort):
        code = _INTERRUPTED
    except Exception as error:
        if hasattr(error, "format_message"):  # the command line's own usage errors
            _stop(f"{error.format_message()} (see vertebloc --help)")
        raise
    if code == _INTERRUPTED:
        _stop("stopped by the keyboard; a case holds its last complete state", _INTERRUPTED)
    sys.exit(code if isinstance(code, int) else 0)


def _stop(message: str, code: int = _BAD_INPUT) -> NoReturn:
    line = " ".join(message.split())
    sys.stderr.write(f"vertebloc: {line}\n")
    sys.exit(code)


def _leave_quietly() -> NoReturn:
    """Whoever read standard output has gone: say nothing more there, not even at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(_REFUSED)


@contextlib.contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """Say long steps on standard error: one moving line in a terminal, else plain lines."""
    console = Console(stderr=True, highlight=False)
    if not console.is_terminal:
        yield lambda line: console.print(f"... {line}", markup=False, soft_wrap=True)
        return
    with console.status("starting") as status:
        yield lambda line: status.update(Text(line))


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"vertebloc {__version__}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def start(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show it.")
    ] = False,
) -> None:
    """Planning aid for taking a diseased vertebra out in one piece."""
    del version
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command("import", epilog="Example: vertebloc import scan/ --case case/ "
             "--labels contours.nii.gz --names contours.json")  # fmt: skip
def bring_in(  # noqa: PLR0913  (one argument an option)
    source: Annotated[Path, typer.Argument(help="DICOM folder, or a NIfTI or NRRD file.")],
    case: Annotated[
        Path | None, typer.Option(help="Case folder; made if it is not there.")
    ] = None,
    labels: Annotated[
        Path | None,
        typer.Option(
            help="Label map on the CT's grid (NIfTI, NRRD), DICOM segmentation or structure set, "
            "or a folder of surfaces."
        ),
    ] = None,
    names: Annotated[
        Path | None, typer.Option(help="JSON file that names the labels; not for DICOM.")
    ] = None,
    series: Annotated[
        str | None, typer.Option(help="Number in the list, or UID, if there are several series.")
    ] = None,
    list_only: Annotated[
        bool, typer.Option("--list", help="Only list the folder's series; no case is made.")
    ] = False,
    name: Annotated[str, typer.Option(help="The person, if the images do not say.")] = "",
    birth_date: Annotated[str, typer.Option(help="Likewise, as YYYY-MM-DD.")] = "",
    number: Annotated[str, typer.Option(help="Likewise, the hospital's number.")] = "",
    beside: Annotated[
        bool,
        typer.Option(
            "--beside",
            help="Lay it beside the case's CT: an older CT, or an MR that is no DICOM. A DICOM MR "
            "needs no such word.",
        ),
    ] = False,
) -> None:
    """Bring a CT and its contours into a case folder, or a second scan beside its CT."""
    if list_only:
        with _progress():
            from vertebloc.workflow.list_series import list_series

            listed = list_series(source)
        typer.echo("\n".join(listed.lines))
        return
    if case is None:
        raise InputError("say where the case shall lie: --case DIR (or --list to see the series)")
    with _progress() as say:
        from vertebloc.case import Identity
        from vertebloc.workflow import ImportSettings, import_case

        typed = Identity(name.strip(), birth_date.strip(), number.strip())
        settings = ImportSettings(series_uid=series, identity=typed, beside=beside)
        report = import_case(source, case, labels=labels, names=names, settings=settings, say=say)
    typer.echo("\n".join(report.lines))


@app.command(epilog="Example: vertebloc plan case/ --json")
def plan(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Case folder.")],
    json: Annotated[bool, typer.Option("--json", help="plan.json on standard output.")] = False,
    without_identity: Annotated[
        bool, typer.Option(help="Also write a copy of the sheet that does not name the person.")
    ] = False,
) -> None:
    """Plan the piece; write plan.json and the planning sheet."""
    with _progress() as say:
        from vertebloc.reports import answer_lines
        from vertebloc.workflow import plan_case

        report = plan_case(folder, without_identity=without_identity, say=say)
    if json:
        typer.echo(report.plan_json.decode("utf-8"), nl=False)
        return
    typer.echo(answer_lines(report.document))
    typer.echo(f"\nsheet: {report.sheet}\nplan: {report.plan_path}")
    if report.copy_without_identity is not None:
        typer.echo(f"copy without identity: {report.copy_without_identity}")


@app.command("way-out", epilog="Example: vertebloc way-out case/ --json")
def way_out(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Case folder.")],
    json: Annotated[bool, typer.Option("--json", help="plan.json on standard output.")] = False,
) -> None:
    """Compute which way the piece comes out and what is given up; write plan and sheet anew."""
    with _progress() as say:
        from vertebloc.reports.way_out_text import way_out_lines
        from vertebloc.workflow.way_out_case import way_out_case

        report = way_out_case(folder, say=say)
    if json:
        typer.echo(report.plan_json.decode("utf-8"), nl=False)
        return
    typer.echo("\n".join(way_out_lines(report.document["way_out"])))
    typer.echo(f"\nsheet: {report.sheet}\nplan: {report.plan_path}")


@app.command(epilog="Example: vertebloc lay case/ --points pairs.csv")
def lay(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Case folder.")],
    points: Annotated[
        Path | None,
        typer.Option(
            help="Pairs of points: a line each, ct_x,ct_y,ct_z,second_x,second_y,second_z, mm, "
            "patient LPS; that line of names first."
        ),
    ] = None,
    confirm: Annotated[
        str, typer.Option(help="Name of who looked at it and stands behind what was found.")
    ] = "",
    reason: Annotated[
        str, typer.Option(help="Why it is used though the answer is not a plain yes.")
    ] = "",
) -> None:
    """Lay the second scan (MR or older CT) on the CT around the tumour; say how good that is."""
    with _progress() as say:
        from vertebloc.reports.second_words import second_lines
        from vertebloc.workflow.lay_second import confirm_second, lay_second

        if confirm and points is None:
            found = confirm_second(folder, confirm, reason)
        else:
            found = lay_second(folder, points=points, say=say)
            if confirm:
                found = confirm_second(folder, confirm, reason)
    typer.echo("\n".join(second_lines(found.facts, found.place, found.out_of_date)))


@app.command(epilog="Example: vertebloc check case/ K7QM-3WXE")
def check(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Case folder.")],
    code: Annotated[str | None, typer.Argument(help="Short code printed on a sheet.")] = None,
) -> None:
    """Say whether a case is whole, its plan current, and a sheet's code still good."""
    with _progress():
        from vertebloc.workflow import check_case

        report = check_case(folder, code)
    typer.echo("\n".join(report.lines))
    if not report.is_good:
        raise typer.Exit(_REFUSED)


@app.command(epilog="Example: vertebloc demo --dir demo --no-open")
def demo(
    folder: Annotated[Path, typer.Option("--dir", help="Where to put it.")] = Path("demo"),
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open its pages.")] = False,
    twin: Annotated[bool, typer.Option("--twin", help="The mirror twin instead.")] = False,
    patient: Annotated[
        str,
        typer.Option(
            help="lead, lumbar, both-pedicles, arch, before or after (a drug), thirteen-ribs, "
            "scoliosis, bright-discs."
        ),
    ] = "lead",
    with_mr: Annotated[
        bool, typer.Option("--with-mr", help="Also an MR of the patient, beside the CT.")
    ] = False,
) -> None:
    """Make a made-up patient, plan it, and show where the sheet lies."""
    with _progress() as say:
        from vertebloc.reports import answer_lines
        from vertebloc.workflow import make_demo

        report = make_demo(folder, name=patient, twin=twin, with_mr=with_mr, say=say)
    typer.echo(answer_lines(report.planned.document))
    typer.echo(f"\nsheet: {report.planned.sheet}\nplan: {report.planned.plan_path}")
    if not no_open and (_has_screen() or sys.stdin.isatty()):
        _serve(report.imported.case, port=0, browse=True)
    else:
        typer.echo(f"to open its pages: vertebloc open {report.imported.case}")


@app.command("open", epilog="Example: vertebloc open case/ --no-browser")
def open_case(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Case folder; may be new.")],
    port: Annotated[int, typer.Option(help="Port on this machine; 0: any free.")] = 0,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Only print the address.")
    ] = False,
) -> None:
    """Open a case in the browser of this machine. Stop with Ctrl-C."""
    _serve(folder, port=port, browse=not no_browser)


def _has_screen() -> bool:
    """Whether a browser could show something; elsewhere than on Linux it always can."""
    if sys.platform != "linux":
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _serve(folder: Path, *, port: int, browse: bool) -> None:
    """Serve a case until Ctrl-C; the browser opens if there is a screen to show it on."""
    load_ahead()
    from vertebloc.app import serve_case

    def opened(address: str) -> None:
        typer.echo(f"open in the browser of this machine (the key works once): {address}")
        typer.echo("press Enter for another address, Ctrl-C to stop; all changes are saved")
        sys.stdout.flush()
        if browse and _has_screen():
            webbrowser.open(address)

    serve_case(folder, port=port, opened=opened)


@app.command(epilog="Example: vertebloc pack case/ for-a-colleague.zip")
def pack(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Case folder.")],
    target: Annotated[Path, typer.Argument(metavar="ZIP", help="File to make.")],
) -> None:
    """Pack a case for a colleague, with identity removed."""
    with _progress() as say:
        from vertebloc.workflow import pack_case

        say("packing")
        report = pack_case(folder, target)
    typer.echo("\n".join(f"removed: {line}" for line in report.removed))
    typer.echo(f"CAUTION: {report.not_guaranteed}\npacked: {report.path}")


@app.command(epilog="Example: vertebloc export case/ to-print/ --as solids")
def export(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Case folder.")],
    target: Annotated[Path, typer.Argument(metavar="FOLDER", help="New folder to make.")],
    form: Annotated[
        str,
        typer.Option(
            "--as",
            help="Outlines: seg or rtstruct (both DICOM), or nifti. The plan: solids (STL and "
            "3MF, to print); planned (DICOM: regions and sheet, into the study); teaching or "
            "consent (one file that plays it in a browser, offline).",
        ),
    ] = "seg",
    with_identity: Annotated[
        bool, typer.Option("--with-identity", help="Name the person; teaching and consent only.")
    ] = False,
) -> None:
    """Write a case's outlines or its plan for other programs, for printers and for people."""
    with _progress() as say:
        from vertebloc.workflow.export_case import export_case

        report = export_case(folder, target, form, with_identity=with_identity, say=say)
    typer.echo("\n".join(report.lines))


@app.command(epilog='Example: vertebloc draft case/ "vertebra of T8" --at 250,280,60')
def draft(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Case folder.")],
    what: Annotated[
        str,
        typer.Argument(
            help='Such as "vertebra of T8", "left rib of T8", aorta, "spinal canal", '
            '"other, bone", "left lung", skin.'
        ),
    ],
    at: Annotated[
        list[str], typer.Option(help="Voxel i,j,k of the CT, from 0; twice for the aorta.")
    ],
    by: Annotated[str, typer.Option(help="Who points.")] = "",
) -> None:
    """Make a first draft of an outline from a place or two; a person confirms it."""
    with _progress() as say:
        from vertebloc.workflow.draft_case import draft_case

        report = draft_case(folder, what, at, by=by, say=say)
    typer.echo("\n".join(report.lines))


@app.command(epilog="Example: vertebloc sheets case/")
def sheets(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Case folder.")],
    family: Annotated[
        Path | None,
        typer.Option(help="Words of the family's page in another language (TOML)."),
    ] = None,
    without_identity: Annotated[
        bool, typer.Option(help="Sheets that name nobody, in a folder of their own.")
    ] = False,
    regions: Annotated[
        bool, typer.Option("--regions", help="Also the close faces, as a DICOM structure set.")
    ] = False,
) -> None:
    """Write the sheets for everybody in theatre: cut cards, roles, draft note."""
    with _progress() as say:
        from vertebloc.workflow.role_sheets import write_role_sheets

        report = write_role_sheets(
            folder, family=family, without_identity=without_identity, say=say
        )
        files = list(report.files)
        if regions:
            from vertebloc.workflow.close_regions import write_close_regions

            files.append(write_close_regions(folder, say=say))
    typer.echo("\n".join(str(path) for path in files))
    if report.stale:
        typer.echo(f"OUT OF DATE: {'; '.join(report.stale)}; plan again: vertebloc plan DIR")
    typer.echo(f"code: {report.code}")
