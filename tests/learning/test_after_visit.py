"""After a visit: only the voices that may, only from what was affirmed since, and a thin visit changes nothing."""

import io

import pytest
from rich.console import Console

from tests.learning.test_from_job import Work
from tests.learning.test_profiles import MODEL, about
from voicelog import lessons
from voicelog.learning import profiles as room
from voicelog.learning.profiles import Profiles


@pytest.fixture
def profiles(tmp_path, monkeypatch):
    monkeypatch.setattr(room, "default_root", lambda: tmp_path / "voices")
    found = Profiles()
    found.keep(about("Kit"), MODEL)
    return found


def told(job, *crew) -> str:
    screen = io.StringIO()
    lessons.after_visit(job, crew, Console(file=screen, width=200))
    return screen.getvalue()


def visited(folder):
    folder.mkdir()
    work = Work(folder)
    work.answer(work.call(speaker="Kit"))
    work.journal.close()
    return folder


def test_a_voice_learns_by_itself_only_when_its_owner_allowed_it(profiles, tmp_path):
    job = visited(tmp_path / "job")
    assert told(job, "Kit") == ""
    profiles.let_learn_after_visits("Kit", True)
    assert "too few affirmed readings" in told(job, "kit")
    assert profiles.profile("Kit").version == 1
    profiles.let_learn_after_visits("Kit", False)
    assert told(job, "Kit") == ""


def test_each_of_a_crew_learns_what_is_new(profiles, tmp_path, monkeypatch):
    profiles.keep(about("Robin"), MODEL)
    profiles.let_learn_after_visits("Robin", True)
    asked = []

    def from_a_job(lesson, job, console, since):
        asked.append((lesson.name, since))
        return type("Outcome", (), {"sentence": "Learnt."})

    monkeypatch.setattr(lessons, "from_a_job", from_a_job)
    assert told(tmp_path, "Kit", "Robin") == "Learnt.\n"
    assert asked == [("Robin", profiles.profile("Robin").about.learnt_at)]


def test_leave_is_not_carried_to_another_computer(profiles, tmp_path):
    profiles.let_learn_after_visits("Kit", True)
    profiles.export("Kit", tmp_path / "kit.zip")
    assert not profiles.learns_after_visits(profiles.import_(tmp_path / "kit.zip", "Kit two").name)
