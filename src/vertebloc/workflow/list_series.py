"""Which series does the scanner's folder hold? With a small picture of each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from vertebloc.errors import InputError, VertBlocError
from vertebloc.exchange import series_list
from vertebloc.reports.series_picture import draw_series_picture


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesLine:
    """One series of the list."""

    number: int  #: what --series takes
    words: str  #: the line for people
    can_be_planned_on: bool
    picture: bytes  #: PNG; empty if it has no image or none was asked for


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesReport:
    """All series of a folder."""

    series: tuple[SeriesLine, ...]
    notes: tuple[str, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """The list for people."""
        return (*(line.words for line in self.series), *(f"noted: {n}" for n in self.notes))


def list_series(source: Path, *, pictures: bool = False) -> SeriesReport:
    """List a folder's series.

    Parameters
    ----------
    source : Path
        Folder with DICOM files.
    pictures : bool
        Also draw the middle image of each.

    Returns
    -------
    SeriesReport
        Number, kind, size, date and description of each, and what else lies there.

    Raises
    ------
    InputError
        If there is no such folder, no DICOM file in it, or a damaged one.
    """
    if source.exists() and not source.is_dir():
        raise InputError(f"{source} is one file: it holds one volume; a list is of a folder")
    listed, notes = series_list.list_series(source)
    lines, more = [], list(notes)
    for series in listed:
        picture = b""
        if pictures:
            try:
                picture = _picture(series)
            except VertBlocError as error:  # the list stays useful without that picture
                more.append(f"series {series.number}: no picture: {error}")
        lines.append(
            SeriesLine(
                number=series.number,
                words=series.words,
                can_be_planned_on=not series.why_not,
                picture=picture,
            )
        )
    return SeriesReport(series=tuple(lines), notes=tuple(more))


def _picture(series: series_list.ListedSeries) -> bytes:
    found = series_list.read_middle_image(series)
    if found is None:
        return b""
    values, tall = found
    return draw_series_picture(values, tall, is_ct=series.kind == "CT")
