"""The review page of a job, served on this computer until it is left."""

import getpass
import time
from pathlib import Path

from rich.console import Console

from voicelog.keeping.record import fold
from voicelog.model import Reading, Verdict
from voicelog.showing.review_desk import ReviewDesk
from voicelog.showing.review_view import ReviewView
from voicelog.showing.serving import Served
from voicelog.visit import Visit, judging, open_visit


def serve(folder: Path, port: int, console: Console) -> None:
    """Serve the page until interrupted. Raises JournalLocked while a visit writes, DeviceError for a taken port."""
    visit = open_visit(folder)
    with visit.job.journal() as journal:
        desk = ReviewDesk(visit.sheet, journal.entries(), journal.append, _reviewer(), _judge(visit))
        view = ReviewView(desk, visit.job.clips if visit.job.clips.is_dir() else None)
        with Served(view.app, port=port) as served:
            console.print(f"The review page: {served.url}\nLeave it with Ctrl-C.", markup=False)
            while True:
                time.sleep(1)


def _judge(visit: Visit):
    """Limits applied in the light of what stands in the journal now."""
    judged = judging(visit.sheet, visit.edition)

    def judge(reading: Reading) -> Verdict:
        return judged(reading, fold(visit.job.entries()))

    return judge


def _reviewer() -> str:
    """Who is at this computer, as the system knows them."""
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "reviewer"
