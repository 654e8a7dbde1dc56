"""An application served from a thread: on this computer only, or on the local network by key and QR code."""

import io
import socket
import threading
import time
from dataclasses import dataclass, field
from ipaddress import ip_address
from typing import Self

import segno
import uvicorn
from starlette.types import ASGIApp

from voicelog.errors import DeviceError
from voicelog.showing.guard import KEY_PARAMETER, Guard, Key

LOOPBACK = "127.0.0.1"
START_WITHIN_S = 5.0
STOP_WITHIN_S = 3.0
ELSEWHERE = ("192.0.2.1", 9)  # TEST-NET-1 (RFC 5737): nothing is sent, the system only picks the way out


@dataclass
class Served:
    """A guarded application while it is served. A context manager: on leaving, every connection is closed."""

    app: ASGIApp
    key: Key = field(default_factory=Key)
    network: bool = False  # also on the local network
    port: int = 0  # 0: any free one
    _sockets: list[socket.socket] = field(default_factory=list, init=False)
    _hosts: frozenset[str] = field(default=frozenset(), init=False)

    def __enter__(self) -> Self:
        """Begin to serve. DeviceError when there is no network, the port is taken or the server does not start."""
        self.addresses = (LOOPBACK, network_address()) if self.network else (LOOPBACK,)
        self._bind()
        names = (*self.addresses, "localhost")
        self._hosts = frozenset(f"{name}:{self.port}" for name in names)
        guarded = Guard(self.app, self.key, lambda: self._hosts)
        self._server = uvicorn.Server(
            uvicorn.Config(guarded, log_level="critical", access_log=False, timeout_graceful_shutdown=1, lifespan="off")
        )
        self._thread = threading.Thread(target=self._server.run, args=(self._sockets,), name="page", daemon=True)
        self._thread.start()
        self._wait_until_started()
        return self

    def __exit__(self, *_: object) -> None:
        self._server.should_exit = True
        self._thread.join(STOP_WITHIN_S)
        for bound in self._sockets:
            bound.close()

    @property
    def url(self) -> str:
        """The address to open on this computer, key and all."""
        return self._address(self.addresses[0])

    @property
    def invitation(self) -> str:
        """The address to open on a phone of the local network; empty when it is not served there."""
        return self._address(self.addresses[-1]) if self.network else ""

    def _address(self, host: str) -> str:
        return f"http://{host}:{self.port}/?{KEY_PARAMETER}={self.key.secret}"

    def _bind(self) -> None:
        try:
            for address in self.addresses:
                bound = socket.create_server((address, self.port))
                self._sockets.append(bound)
                self.port = bound.getsockname()[1]
        except OSError as error:
            for bound in self._sockets:
                bound.close()
            where = f"{address}:{self.port}"
            raise DeviceError(f"cannot be served: {error.strerror}.", where=where, do="Choose another port.") from error

    def _wait_until_started(self) -> None:
        end = time.monotonic() + START_WITHIN_S
        while not self._server.started:
            if time.monotonic() > end or not self._thread.is_alive():
                raise DeviceError("the page's server did not start.", do="Try again, or another port.")
            time.sleep(0.01)


def network_address() -> str:
    """This computer's address on the local network. DeviceError when it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(ELSEWHERE)
            address = probe.getsockname()[0]
        except OSError as error:
            raise _no_network() from error
    if ip_address(address).is_loopback or ip_address(address).is_unspecified:
        raise _no_network()
    return address


def _no_network() -> DeviceError:
    return DeviceError(
        "this computer has no address on a local network.", do="Join one, or use the page on this computer only."
    )


def qr_for_terminal(address: str) -> str:
    """The address as a QR code of block characters, to be printed in a terminal."""
    out = io.StringIO()
    segno.make(address, micro=False).terminal(out, compact=True, border=2)
    return out.getvalue()


def qr_for_page(address: str) -> str:
    """The address as a QR code in a ``data:`` URI."""
    return segno.make(address, micro=False).svg_data_uri(scale=5, border=3, light="white")
