"""The three processes of a running yard, and the one that keeps them running.

recorder  messages to the store          `benchdry record`
watch     projections kept fresh         `benchdry watch`
pages     what people look at            `benchdry serve`

``run`` starts all three, starts one again that has fallen over, and ends them all when it ends: each
child reads its standard input and leaves when that closes, so none outlives its parent however it died.
"""

from __future__ import annotations

import logging
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from dashboards.terminal.home import Home, now_ms
from shared.errors import BadInput, Refused

CHILD = "BENCHDRY_CHILD"
AGAIN_AFTER_S = 2.0
WAITS_ITS_TURN = 5  # how far the watch stands back, of 19
REFUSED_WITHIN_S = 10.0  # later than this a refusal of one process must not end the others
END_WITHIN_S = 8.0
log = logging.getLogger("benchdry")


def stop_signal() -> Callable[[], bool]:
    """Return a question that becomes true when this process is asked to end."""
    asked = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: asked.set())
    if os.environ.get(CHILD):
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent ends us in order
        threading.Thread(target=_leave_with_parent, args=(asked,), daemon=True).start()
    else:
        signal.signal(signal.SIGINT, lambda *_: asked.set())
    return asked.is_set


def _leave_with_parent(asked: threading.Event) -> None:
    while os.read(0, 1024):
        pass
    asked.set()


def record(home: Home) -> None:
    """Record until asked to end; only one recorder may write to a store."""
    from sensors.client import check_topics
    from sensors.recorder import Recorder

    check_topics(home.settings)
    store = home.store()
    with _only_one(home.store_path.with_suffix(".recorder-lock")):
        Recorder(home.settings, store, folder=home.folder).run(stop_signal())


class _only_one:  # noqa: N801 - reads as a phrase where it is used
    """Hold a lock file while inside; raises Refused when another process holds it."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> None:
        import fcntl

        self._file = self._path.open("a")
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise Refused(f"A recorder is already writing to the store beside {self._path}; one is enough.") from None

    def __exit__(self, *_: object) -> None:
        self._file.close()


def watch(home: Home) -> None:
    """Keep projections fresh until asked to end."""
    from dashboards.watch import Watch

    if hasattr(os, "nice"):
        os.nice(WAITS_ITS_TURN)  # it may use every processor: recorder and pages come first
    Watch(home.store(), home.settings, now_ms).run(stop_signal())


def serve(home: Home) -> None:
    """Serve the pages until asked to end."""
    import uvicorn

    from dashboards import auth
    from dashboards.app import create_app
    from dashboards.yard_now import SHARED_BY_SERVER_MS

    asked = stop_signal()
    auth.require_binding_allowed(home.settings, auth.Secrets(home.secrets_path).has_password)
    require_port(home)
    require_certificate(home)
    app = create_app(
        home.store(),
        home.settings,
        home.secrets_path,
        now_ms,
        demo=home.demo_path.exists(),
        share_ms=SHARED_BY_SERVER_MS,
        sources=home.sources,
    )
    config = uvicorn.Config(
        app,
        host=home.settings.web_host,
        port=home.settings.web_port,
        log_level="warning",
        timeout_graceful_shutdown=1,
        server_header=False,
        proxy_headers=False,
        ssl_certfile=_beside(home, home.settings.web_cert_file),
        ssl_keyfile=_beside(home, home.settings.web_key_file),
    )
    server = uvicorn.Server(config)
    server.install_signal_handlers = lambda: None  # type: ignore[method-assign]

    def end_when_asked() -> None:
        while not asked():
            time.sleep(0.1)
        app.state.closing.set()  # ends the live streams, for which the server would wait
        server.should_exit = True

    threading.Thread(target=end_when_asked, daemon=True).start()
    server.run()


def address(home: Home) -> str:
    """Return where the pages are, as a browser on this machine opens them."""
    scheme = "https" if home.settings.web_cert_file else "http"
    return f"{scheme}://{home.settings.web_host}:{home.settings.web_port}"


def require_certificate(home: Home) -> None:
    """Raise BadInput when the pages are to answer over HTTPS and cannot."""
    import ssl

    from sensors import secure

    certificate, key = (_beside(home, one) for one in (home.settings.web_cert_file, home.settings.web_key_file))
    if certificate is not None:
        secure.show(ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER), "web", certificate, key)
    elif key is not None:
        raise BadInput("setting web_cert_file", "", "the certificate that belongs to web_key_file")


def _beside(home: Home, name: str) -> Path | None:
    """Return a file that the settings name: beside them, unless it is absolute; None: none is named."""
    return home.folder / name if name else None


def require_port(home: Home) -> None:
    """Raise Refused when the pages' port is taken."""
    host, port = home.settings.web_host, home.settings.web_port
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise Refused(
                f"Port {port} on {host} cannot be used ({error.strerror}); "
                "end what uses it, or set web_port to another (BENCHDRY_WEB_PORT=8322)."
            ) from error


@dataclass
class Child:
    """One process that we keep."""

    name: str
    process: subprocess.Popen[bytes]
    started_s: float = field(default_factory=time.monotonic)


class Supervisor:
    """Starts the processes, starts fallen ones again, ends all."""

    def __init__(self, home: Home) -> None:
        """Prepare for one yard."""
        self._home = home
        self._children: dict[str, Child] = {}

    def start(self, name: str) -> None:
        """Start one of record, watch and serve."""
        settings = {
            f"BENCHDRY_{source.name.upper()}": str(source.value)
            for source in self._home.sources
            if source.origin == "command line"
        }
        command = [sys.executable, "-m", "dashboards.terminal", name, "--folder", str(self._home.folder)]
        process = subprocess.Popen(command, stdin=subprocess.PIPE, env={**os.environ, **settings, CHILD: "1"})
        self._children[name] = Child(name, process)

    def tend(self) -> None:
        """Start again what has fallen over; a process that falls over at once ends us all."""
        for child in list(self._children.values()):
            code = child.process.poll()
            if code is None:
                continue
            lived_s = time.monotonic() - child.started_s
            if lived_s < AGAIN_AFTER_S or (code == 2 and lived_s < REFUSED_WITHIN_S):
                raise Refused(f"`benchdry {child.name}` ended with code {code}; what it said stands above.")
            log.warning("%s ended with code %s and is started again", child.name, code)
            self.start(child.name)

    def run(self, stop: Callable[[], bool]) -> None:
        """Tend until asked to end."""
        while not stop():
            self.tend()
            time.sleep(0.2)

    def wait_until_served(self, stop: Callable[[], bool]) -> None:
        """Wait until the pages answer, so that an address is only told once it works."""
        settings = self._home.settings
        while not stop():
            self.tend()
            try:
                socket.create_connection((settings.web_host, settings.web_port), timeout=1).close()
                return
            except OSError:
                time.sleep(0.1)

    def end(self) -> None:
        """End all, gently first."""
        for child in self._children.values():
            if child.process.stdin:
                child.process.stdin.close()
        deadline_s = time.monotonic() + END_WITHIN_S
        for child in self._children.values():
            try:
                child.process.wait(max(0.1, deadline_s - time.monotonic()))
            except subprocess.TimeoutExpired:
                child.process.kill()
                child.process.wait()
