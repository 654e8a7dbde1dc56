"""Many viewers of one live page: how long until the last of them has what was published."""

import socket
import statistics
import threading
import time
from urllib.parse import urlsplit

from voicelog.model import Noun
from voicelog.showing.live_state import LiveState
from voicelog.showing.live_view import LiveView
from voicelog.showing.serving import Served

CROWDS = (1, 10, 50)
STATES = 40  # published to each crowd
WITHIN_S = 30.0  # a viewer that has nothing after so long was left out


class Crowd(Noun):
    """So many viewers at once."""

    viewers: int
    states: int  # published
    left_out: int  # states that a viewer did not get
    first_ms: float  # from publishing to the first viewer that has it, median
    last_ms: float  # to the last, median
    slowest_ms: float  # to the last, the slowest of all


def measured_crowd(viewers: int, states: int = STATES) -> Crowd:
    """Over this computer's own network, each viewer a connection of its own."""
    view = LiveView("LOAD", lambda tap: None)
    view.publish(LiveState(job="LOAD"))
    with Served(view.app) as served:
        crowd = [_Viewer(served.url, states + 1) for _ in range(viewers)]
        for one in crowd:
            one.wait(1)
        waits = [_published(view, crowd, number) for number in range(2, states + 2)]
        view.close()
    arrived = [wait for wait in waits if len(wait) == viewers]
    return Crowd(
        viewers=viewers,
        states=states,
        left_out=sum(viewers - len(wait) for wait in waits),
        first_ms=round(1e3 * statistics.median(min(wait) for wait in arrived), 2),
        last_ms=round(1e3 * statistics.median(max(wait) for wait in arrived), 2),
        slowest_ms=round(1e3 * max(max(wait) for wait in arrived), 2),
    )


def _published(view: LiveView, crowd: "list[_Viewer]", number: int) -> list[float]:
    """Seconds until each viewer that got it had it."""
    began = time.perf_counter()
    view.publish(LiveState(job="LOAD", notice=f"state {number}"))
    return [one.arrived[number - 1] - began for one in crowd if one.wait(number)]


class _Viewer:
    """Reads the event stream, and remembers when each state came."""

    def __init__(self, url: str, states: int) -> None:
        self.arrived: list[float] = []
        self._states, self._news = states, threading.Condition()
        address = urlsplit(url)
        self._connection = socket.create_connection((address.hostname, address.port), timeout=WITHIN_S)
        request = f"GET /events?{address.query} HTTP/1.1\r\nHost: {address.netloc}\r\n\r\n"
        self._connection.sendall(request.encode())
        threading.Thread(target=self._read, daemon=True).start()

    def wait(self, number: int) -> bool:
        """Until state ``number`` has come, or it is too late."""
        with self._news:
            return self._news.wait_for(lambda: len(self.arrived) >= number, WITHIN_S)

    def _read(self) -> None:
        with self._connection, self._connection.makefile("rb") as lines:
            for line in lines:
                if line.startswith(b"data: "):
                    with self._news:
                        self.arrived.append(time.perf_counter())
                        self._news.notify_all()
                    if len(self.arrived) == self._states:
                        return
