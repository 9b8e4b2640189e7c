"""Write the report and its companions into a folder."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import clearturn
from clearturn import progress as _progress
from clearturn.errors import Cancelled, ClearturnError, InputError
from clearturn.progress import Progress
from clearturn.report.blocks import Context, SectionMaker
from clearturn.report.content import build_report
from clearturn.report.exchange import gaps_csv, json_bytes, result_json
from clearturn.report.names import shown_pairs
from clearturn.report.pages import make_pdf, paper_named, report_data
from clearturn.report.pictures import PictureMaker, Pictures
from clearturn.report.sections.pairs import picture_file
from clearturn.report.sections.section_figure import FILE as SECTION_FILE
from clearturn.report.sections.sums import figure_files
from clearturn.report.workshop import workshop_files
from clearturn.result import CheckResult

PICTURE_PX = (1040, 780)
NO_MAKER = "Pictures are left out: this report was made without a picture maker."


@dataclass(frozen=True, slots=True)
class ReportFiles:
    """What was written.

    Attributes
    ----------
    pictures : tuple of Path
        The turn section, the plots of the sums and the bracket as SVG, and the pictures of pairs.
    workshop : tuple of Path
        The bracket's plan as DXF and SVG at 1 : 1 and the dummy to print as STL, if the job's sums
        hold a bracket.
    pictures_missing : str or None
        Why pictures are missing, as the report says it.
    """

    folder: Path
    pdf: Path
    json: Path
    csv: Path
    pictures: tuple[Path, ...]
    pictures_missing: str | None
    workshop: tuple[Path, ...] = ()


def write_report(
    result: CheckResult,
    out_dir: str | Path,
    *,
    picture_maker: PictureMaker | None = None,
    paper: str = "a4",
    written_at: datetime | None = None,
    more_sections: Sequence[SectionMaker] = (),
    progress: Progress | None = None,
) -> ReportFiles:
    """Write ``report.pdf``, ``result.json``, ``gaps.csv``, pictures and what the workshop takes.

    Parameters
    ----------
    result : CheckResult
    out_dir : path
        Made if it is not there; files of the same names in it are replaced.
    picture_maker : PictureMaker, optional
        Makes the 3D pictures.  Without one the report says that they are missing.
    paper : {"a4", "letter"}
    written_at : datetime, optional
        Date of the report.  The same result and date give the same bytes.  Default: the
        environment's SOURCE_DATE_EPOCH (seconds, a common convention for repeatable files), else
        now.
    more_sections : sequence of SectionMaker
        Further sections, set before what the job declares.
    progress : Progress, optional

    Raises
    ------
    InputError
        If the paper is not known or the folder cannot be written.
    Cancelled
        If the user stopped the work; nothing half-written stays.
    """
    sheet = paper_named(paper)
    folder = _folder(Path(out_dir))
    moment = _moment(written_at)
    _progress.report(progress, 0.0, "pictures")
    pictures = _pictures(result, picture_maker, _progress.part(progress, 0.0, 0.8))
    _progress.report(progress, 0.8, "pages")
    data = json_bytes(result_json(result))
    files = {picture_file(index): picture.png for index, picture in pictures.made.items()}
    section = _section_svg(result)
    if section is not None:
        files[SECTION_FILE] = section.encode()
    files |= figure_files(result)
    context = Context(result, pictures, sheet.text_width_mm, sheet.text_height_mm)
    report = build_report(context, more_sections)
    body = report_data(report, sheet, moment, f"Clearturn {clearturn.__version__}")
    pdf = make_pdf(body, {**files, "result.json": data}, moment)
    _progress.report(progress, 0.95, "files")
    workshop = workshop_files(result.job)
    written = {"report.pdf": pdf, "result.json": data, "gaps.csv": gaps_csv(result), **files}
    written |= workshop
    for name, content in written.items():
        write_whole(folder / name, content)
    _progress.report(progress, 1.0, "report written")
    return ReportFiles(
        folder=folder,
        pdf=folder / "report.pdf",
        json=folder / "result.json",
        csv=folder / "gaps.csv",
        pictures=tuple(folder / name for name in files),
        pictures_missing=pictures.missing,
        workshop=tuple(folder / name for name in workshop),
    )


def _pictures(
    result: CheckResult, maker: PictureMaker | None, progress: Progress | None
) -> Pictures:
    shown = shown_pairs(result)
    if not shown:
        return Pictures()
    if maker is None:
        return Pictures(missing=NO_MAKER)
    try:
        return maker(result, shown, size_px=PICTURE_PX, progress=progress)
    except Cancelled:
        raise
    except ClearturnError as error:
        return Pictures(missing=f"Pictures are left out: {error}.")


def _section_svg(result: CheckResult) -> str | None:
    if result.turn_section is None:
        return None
    from clearturn.drawing import to_svg

    return to_svg(result.turn_section, paper=False)


def _moment(written_at: datetime | None) -> datetime:
    if written_at is not None:
        return written_at.astimezone(UTC)
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if epoch.isascii() and epoch.isdigit():
        return datetime.fromtimestamp(int(epoch), UTC)
    return datetime.now(UTC).replace(microsecond=0)


def _folder(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            "the folder for the report cannot be made",
            file=folder,
            found=error.strerror or str(error),
            mend="choose another folder",
        ) from error
    return folder


def write_whole(path: Path, content: bytes) -> None:
    """Write beside the target and rename, so that no reader ever sees half a file.

    Raises
    ------
    InputError
        If it cannot be written; the file that was there stays.
    """
    # Not a file of `tempfile`: those are readable by their owner alone, whatever the umask says.
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        with temporary.open("xb") as file:
            file.write(content)
        temporary.replace(path)
    except OSError as error:
        raise InputError(
            "this file cannot be written",
            file=path,
            found=error.strerror or str(error),
            mend="choose another folder or close the program that holds the file",
        ) from error
    finally:
        # Gone already if all went well; else also when the user stops the work just here.
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
