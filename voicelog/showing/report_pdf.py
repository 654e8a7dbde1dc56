"""The report as PDF: words and pictures on upright pages, the schedule on wide ones.

Typeset by Typst from ``pages/report.typ``. Every text goes in as data and is never read as markup. The
file is tagged for screen readers (PDF/UA-1), the pictures described in words.
"""

import json

import typst

from voicelog.errors import VoicelogError
from voicelog.showing.pages import asset
from voicelog.showing.report import Report


def to_pdf(report: Report) -> bytes:
    """The PDF's bytes. VoicelogError when the typesetter refuses."""
    told = report.model_dump(mode="json", exclude={"schedule"})
    told["written"] = f"{report.written_at:%Y-%m-%d %H:%M %Z}"
    try:
        return typst.compile(
            asset("report.typ").encode(),
            format="pdf",
            sys_inputs={"report": json.dumps(told, ensure_ascii=False)},
            timestamp=int(report.written_at.timestamp()),
            pdf_standards="ua-1",
        )
    except (typst.TypstError, RuntimeError) as error:
        do = "Choose another format, or take what it names out of the job."
        raise VoicelogError(f"the PDF could not be set: {error}.", do=do) from error
