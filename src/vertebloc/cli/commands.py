"""The commands: each asks one workflow function and shows what it says."""

from __future__ import annotations

import os
import sys
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from vertebloc import __version__
from vertebloc.errors import VertBlocError

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Planning aid for taking a diseased vertebra out in one piece. "
    "For qualified teams; not a medical device: verify against the images.",
)
_BAD_INPUT, _REFUSED = 2, 1


def main() -> None:
    """Run a command; anything wrong with the input is one line and exit code 2."""
    try:
        code = app(standalone_mode=False)  # returns what a command's typer.Exit carries
    except VertBlocError as error:
        _stop(str(error))
    except typer.Abort:
        _stop("stopped by the keyboard; nothing half-written is left")
    except KeyboardInterrupt:
        _stop("stopped by the keyboard; nothing half-written is left")
    except Exception as error:
        if hasattr(error, "format_message"):  # the command line's own usage errors
            _stop(error.format_message())
        raise
    sys.exit(code if isinstance(code, int) else 0)


def _stop(message: str) -> None:
    line = " ".join(message.split())
    sys.stderr.write(f"vertebloc: {line}\n")
    sys.exit(_BAD_INPUT)


def _say() -> Callable[[str], None]:
    """Progress on standard error, so that standard output stays clean."""
    console = Console(stderr=True, highlight=False)

    def say(line: str) -> None:
        console.print(f"... {line}", style="dim", markup=False)

    return say


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"vertebloc {__version__}")
        raise typer.Exit


@app.callback()
def start(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show it.")
    ] = False,
) -> None:
    """Planning aid for taking a diseased vertebra out in one piece."""
    del version


@app.command("import", epilog="Example: vertebloc import scan/ --case case/ "
             "--labels contours.nii.gz --names contours.json")  # fmt: skip
def bring_in(
    source: Annotated[Path, typer.Argument(help="DICOM folder, or a .nii/.nii.gz file.")],
    case: Annotated[Path, typer.Option(help="Case folder; made if it is not there.")],
    labels: Annotated[
        Path | None, typer.Option(help="Label map on the CT's grid, or a folder of surfaces.")
    ] = None,
    names: Annotated[Path | None, typer.Option(help="JSON file that names the labels.")] = None,
    series: Annotated[str | None, typer.Option(help="Series UID, if there are several.")] = None,
) -> None:
    """Bring a CT and its contours into a case folder."""
    from vertebloc.workflow import import_case

    report = import_case(source, case, labels=labels, names=names, series_uid=series, say=_say())
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
    from vertebloc.reports import answer_lines
    from vertebloc.workflow import plan_case

    report = plan_case(folder, without_identity=without_identity, say=_say())
    if json:
        typer.echo(report.plan_json.decode("utf-8"), nl=False)
        return
    typer.echo(answer_lines(report.document))
    typer.echo(f"\nsheet: {report.sheet}\nplan: {report.plan_path}")
    if report.copy_without_identity is not None:
        typer.echo(f"copy without identity: {report.copy_without_identity}")


@app.command(epilog="Example: vertebloc check case/ K7QM-3WXE")
def check(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Case folder.")],
    code: Annotated[str | None, typer.Argument(help="Short code printed on a sheet.")] = None,
) -> None:
    """Say whether a case is whole, its plan current, and a sheet's code still good."""
    from vertebloc.workflow import check_case

    report = check_case(folder, code)
    typer.echo("\n".join(report.lines))
    if not report.is_good:
        raise typer.Exit(_REFUSED)


@app.command(epilog="Example: vertebloc demo --dir demo --no-open")
def demo(
    folder: Annotated[Path, typer.Option("--dir", help="Where to put it.")] = Path("demo"),
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open the sheet.")] = False,
    twin: Annotated[bool, typer.Option("--twin", help="The mirror twin instead.")] = False,
) -> None:
    """Make the lead made-up patient, plan it, and show where the sheet lies."""
    from vertebloc.reports import answer_lines
    from vertebloc.workflow import make_demo

    report = make_demo(folder, twin=twin, say=_say())
    typer.echo(answer_lines(report.planned.document))
    typer.echo(f"\nsheet: {report.planned.sheet}\nplan: {report.planned.plan_path}")
    if not no_open and (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        webbrowser.open(report.planned.sheet.resolve().as_uri())
