"""Prompts in line: said in order, ended at once, all said before the end."""

import math
import threading

from voicelog.talking.speaking import Speaking
from voicelog.talking.voice import SilentMouth


class SlowMouth(SilentMouth):
    """Says each prompt until it is let go."""

    def __init__(self):
        super().__init__()
        self.let_go, self.begun, self.stopped = threading.Semaphore(0), threading.Semaphore(0), 0

    def say(self, text, tone=None):
        self.begun.release()
        self.let_go.acquire()
        return super().say(text, tone)

    def stop(self):
        self.stopped += 1
        self.let_go.release()


def test_prompts_are_said_in_order_and_all_before_the_end():
    mouth = SilentMouth()
    speaking = Speaking(mouth)
    for text in ("one", "two", "three"):
        speaking.say(text)
    speaking.close()
    assert [spoken.text for spoken in mouth.said] == ["one", "two", "three"]


def test_it_is_busy_until_the_last_prompt_is_said():
    mouth = SlowMouth()
    speaking = Speaking(mouth)
    speaking.say("one")
    mouth.begun.acquire()
    assert speaking.busy
    assert speaking.busy_until == math.inf
    mouth.let_go.release()
    speaking.close()
    assert not speaking.busy
    assert speaking.busy_until == 0.0


def test_stop_ends_the_prompt_and_drops_those_behind_it():
    mouth = SlowMouth()
    speaking = Speaking(mouth)
    for text in ("one", "two", "three"):
        speaking.say(text)
    mouth.begun.acquire()
    speaking.stop()
    speaking.close()
    assert [spoken.text for spoken in mouth.said] == ["one"]
    assert mouth.stopped == 1
