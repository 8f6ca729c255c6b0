"""Certificates and TLS, against real private brokers whose certificates are made here."""

from __future__ import annotations

import logging
import os
import re
import shutil
import socket
import ssl
import subprocess
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from sensors import broker as brokers
from sensors import doctor_broker, secure
from sensors.findings import Level
from sensors.recorder import Recorder
from sensors.replay import Outgoing, Sender
from shared.errors import BadInput
from shared.settings import Settings
from shared.store import Store

PROJECT = Path(__file__).resolve().parent.parent.parent
SHIPPED = PROJECT / "sensors" / "mosquitto.conf"
PATIENCE_S = 60.0


def openssl(*words: str | Path) -> None:
    assert shutil.which("openssl"), "openssl is not installed"
    subprocess.run(["openssl", *map(str, words)], check=True, capture_output=True)


def authority(folder: Path, name: str) -> None:
    """Make a certificate authority: name.crt and name.key."""
    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "30")
    files = ("-keyout", folder / f"{name}.key", "-out", folder / f"{name}.crt")
    openssl("req", "-x509", *curve, *files, "-subj", f"/CN={name}", "-addext", "keyUsage=critical,keyCertSign")


def certificate(folder: Path, name: str, issuer: str, *, alt: str = "", days: int = 30) -> None:
    """Make name.crt and name.key, issued by ``issuer`` for the host names in ``alt``."""
    request, extra = folder / f"{name}.csr", folder / f"{name}.ext"
    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
    openssl("req", "-new", *curve, "-keyout", folder / f"{name}.key", "-out", request, "-subj", f"/CN={name}")
    extra.write_text(f"subjectAltName={alt}\n" if alt else "", encoding="utf-8")
    signed = (
        "-CA",
        folder / f"{issuer}.crt",
        "-CAkey",
        folder / f"{issuer}.key",
        "-CAcreateserial",
        "-days",
        str(days),
    )
    openssl("x509", "-req", "-in", request, *signed, "-extfile", extra, "-out", folder / f"{name}.crt")
    (folder / f"{name}.key").chmod(0o600)


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two authorities and certificates of a broker and two clients."""
    folder = tmp_path_factory.mktemp("papers")
    for name in ("yard-ca", "other-ca"):
        authority(folder, name)
    certificate(folder, "yard", "yard-ca", alt="IP:127.0.0.1,DNS:localhost")
    certificate(folder, "elsewhere", "yard-ca", alt="DNS:elsewhere.example")
    for name in ("recorder", "shed"):
        certificate(folder, name, "yard-ca")
    certificate(folder, "stranger", "other-ca")
    return folder


@pytest.fixture
def run_mosquitto(tmp_path: Path) -> Iterator[Callable[[str], int]]:
    """Run mosquitto under a configuration in which PORT stands for a free port; gives that port."""
    running: list[subprocess.Popen[bytes]] = []

    def run(configuration: str) -> int:
        mosquitto = brokers.find_mosquitto()
        assert mosquitto, "mosquitto is not installed: make setup-test"
        port = brokers.free_port()
        text = configuration.replace("PORT", str(port)) + ("\nuser root\n" if os.geteuid() == 0 else "\n")
        file = tmp_path / f"mosquitto-{port}.conf"
        file.write_text(text, encoding="utf-8")
        process = subprocess.Popen([mosquitto, "-c", str(file)], stderr=subprocess.DEVNULL)
        running.append(process)
        deadline_s = time.monotonic() + PATIENCE_S
        while not listens(port):
            assert process.poll() is None and time.monotonic() < deadline_s, "mosquitto did not start"
            time.sleep(0.05)
        return port

    yield run
    for process in running:
        process.terminate()
        process.wait()


def listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def over_tls(papers: Path, *more: str, certificate: str = "yard") -> str:
    files = (f"certfile {papers / certificate}.crt", f"keyfile {papers / certificate}.key")
    return "\n".join(["listener PORT 127.0.0.1", "allow_anonymous true", *files, *more])


def settings(papers: Path, port: int, **others: object) -> Settings:
    made = replace(Settings(), broker_port=port, broker_tls=True, broker_ca_file=str(papers / "yard-ca.crt"))
    return replace(made, **others)  # type: ignore[arg-type]


def call(chosen: Settings, folder: Path = Path()) -> int | None:
    """Connect as the recorder would; return the broker's answer (0: welcome), None: it hung up."""
    answers: list[int] = []
    ended: list[bool] = []
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5, reconnect_on_failure=False)
    client.on_connect = lambda _client, _data, _flags, reason, _properties: answers.append(reason.value)
    client.on_disconnect = lambda *_: ended.append(True)
    client.enable_logger(logging.getLogger("paho"))
    secure.apply(client, chosen, folder)
    client.connect(chosen.broker_host, chosen.broker_port)
    deadline_s = time.monotonic() + PATIENCE_S
    while not answers and not ended and time.monotonic() < deadline_s:
        client.loop(0.05)
    client.disconnect()
    return answers[0] if answers else None


def refusal(chosen: Settings) -> str:
    """Connect to a broker that must not be trusted; return what is said of it."""
    with pytest.raises(OSError) as refused:
        call(chosen)
    return secure.explain(refused.value, chosen)


# --- TLS -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_a_broker_that_proves_itself_is_spoken_to_over_tls(
    host: str, papers: Path, run_mosquitto: Callable[[str], int]
) -> None:
    port = run_mosquitto(over_tls(papers))
    assert call(settings(papers, port, broker_host=host)) == 0


def test_a_broker_of_another_authority_is_refused_in_one_clear_sentence(
    papers: Path, run_mosquitto: Callable[[str], int]
) -> None:
    port = run_mosquitto(over_tls(papers))
    other = str(papers / "other-ca.crt")
    told = refusal(settings(papers, port, broker_ca_file=other))
    assert told == (
        f"the broker at 127.0.0.1:{port} could not prove who it is: its certificate was not issued by {other}"
    )
    told = refusal(settings(papers, port, broker_ca_file=""))
    assert told.endswith("not issued by the authorities that this machine trusts (broker_ca_file is not set)")
    (finding,) = doctor_broker.examine_broker(settings(papers, port, broker_ca_file=other))
    assert finding.level is Level.WRONG and "could not prove who it is" in finding.sentence
    assert "broker_ca_file" in finding.remedy


def test_a_broker_whose_certificate_is_for_another_name_is_refused(
    papers: Path, run_mosquitto: Callable[[str], int]
) -> None:
    port = run_mosquitto(over_tls(papers, certificate="elsewhere"))
    for host in ("127.0.0.1", "localhost"):
        told = refusal(settings(papers, port, broker_host=host))
        assert told.endswith(f"could not prove who it is: its certificate is not for the name {host}")


def test_an_expired_certificate_is_refused(papers: Path, run_mosquitto: Callable[[str], int]) -> None:
    certificate(papers, "expired", "yard-ca", alt="IP:127.0.0.1", days=0)
    time.sleep(1.1)  # a certificate of no days ends in the second in which it was made
    port = run_mosquitto(over_tls(papers, certificate="expired"))
    assert "its certificate has expired, or this machine's clock is wrong" in refusal(settings(papers, port))


def test_a_port_without_tls_is_told_from_a_broker_that_is_not_there(
    papers: Path, run_mosquitto: Callable[[str], int]
) -> None:
    port = run_mosquitto("listener PORT 127.0.0.1\nallow_anonymous true")
    told = refusal(settings(papers, port))  # as it answers with something else, or with nothing
    assert "does not speak TLS" in told or "may not speak it" in told
    nobody = settings(papers, brokers.free_port())
    assert refusal(nobody) == f"there is no broker at 127.0.0.1:{nobody.broker_port} (Connection refused)"


def test_tls_older_than_1_2_is_not_spoken(papers: Path) -> None:
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        server.minimum_version, server.maximum_version = ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1
    server.set_ciphers("ALL:@SECLEVEL=0")
    server.load_cert_chain(papers / "yard.crt", papers / "yard.key")
    with closing(socket.create_server(("127.0.0.1", 0))) as listening:

        def serve() -> None:
            taken, _ = listening.accept()
            with taken, pytest.raises(OSError):
                server.wrap_socket(taken, server_side=True)

        old = threading.Thread(target=serve)
        old.start()
        told = refusal(settings(papers, listening.getsockname()[1]))
        old.join(PATIENCE_S)
    assert "could not agree on TLS" in told
    context = secure.tls_context(settings(papers, 1))
    assert context is not None and context.minimum_version is ssl.TLSVersion.TLSv1_2
    assert context.check_hostname and context.verify_mode is ssl.CERT_REQUIRED


def test_settings_without_tls_ask_for_none() -> None:
    assert secure.tls_context(Settings()) is None


# --- client certificates ---------------------------------------------------------------------------


def only_known_clients(papers: Path) -> str:
    return over_tls(papers, f"cafile {papers / 'yard-ca.crt'}", "require_certificate true")


def test_a_client_certificate_opens_a_broker_that_wants_one(papers: Path, run_mosquitto: Callable[[str], int]) -> None:
    port = run_mosquitto(only_known_clients(papers))
    ours = {"broker_cert_file": "recorder.crt", "broker_key_file": "recorder.key"}
    assert call(settings(papers, port, **ours), papers) == 0  # names beside the settings file
    theirs = {"broker_cert_file": "stranger.crt", "broker_key_file": "stranger.key"}
    for chosen in (settings(papers, port), settings(papers, port, **theirs)):
        try:
            assert call(chosen, papers) is None
        except OSError as error:  # sooner or later in the handshake, as the version of TLS has it
            assert "TLS" in secure.explain(error, chosen) or "no broker" in secure.explain(error, chosen)


def test_the_recorder_stores_over_tls_and_what_tls_has_already_decrypted_does_not_wait(
    papers: Path, run_mosquitto: Callable[[str], int], store: Store, connected: Callable[[Recorder], None]
) -> None:
    port = run_mosquitto(only_known_clients(papers) + "\nmax_queued_messages 5000")
    ours = {"broker_cert_file": "recorder.crt", "broker_key_file": "recorder.key"}
    chosen = settings(papers, port, commit_every_s=0.05, **ours)
    recorder = Recorder(chosen, store, folder=papers)
    connected(recorder)
    sent = Sender("127.0.0.1", port, prepare=lambda client: secure.apply(client, chosen, papers))
    start_ms = time.time_ns() // 1_000_000 - 300_000
    messages = [
        Outgoing("workshop/shed/t", f'{{"temperature_c": 12.5, "time": {start_ms + i}}}', 1) for i in range(400)
    ]
    thread = threading.Thread(target=sent.send, args=(messages,))
    thread.start()
    deadline_s = time.monotonic() + PATIENCE_S
    while recorder.stored < 400 and time.monotonic() < deadline_s:
        recorder.step(wait_s=5.0)  # a wait as long as this shows a message that stays behind in the TLS layer
    thread.join(PATIENCE_S)
    assert recorder.stored == 400
    recorder.run(lambda: True)


def test_the_doctor_names_a_client_certificate_that_may_be_missing(
    papers: Path, run_mosquitto: Callable[[str], int]
) -> None:
    port = run_mosquitto(only_known_clients(papers))
    (finding,) = doctor_broker.examine_broker(settings(papers, port))
    assert finding.level is Level.WRONG and "broker_cert_file" in finding.remedy


def test_a_certificate_with_its_key_behind_it_in_one_file_will_do(
    papers: Path, run_mosquitto: Callable[[str], int]
) -> None:
    both = papers / "both.pem"
    both.write_bytes((papers / "recorder.crt").read_bytes() + (papers / "recorder.key").read_bytes())
    both.chmod(0o600)
    port = run_mosquitto(only_known_clients(papers))
    assert call(settings(papers, port, broker_cert_file=str(both))) == 0


def test_under_the_shipped_lines_for_tls_a_certificate_s_name_is_the_name_in_the_rules(
    papers: Path, tmp_path: Path, run_mosquitto: Callable[[str], int]
) -> None:
    text = SHIPPED.read_text(encoding="utf-8")
    rules = re.findall(r"^#\s+((?:user|topic|pattern) .*)$", text, re.M)
    (tmp_path / "benchdry.acl").write_text("\n".join(rules) + "\n", encoding="utf-8")
    (tmp_path / "benchdry.passwd").touch(mode=0o600)
    tls = r"^#((?:listener|certfile|keyfile|tls_version|cafile|require_certificate|use_identity_as_username) .*)$"
    text = re.sub(tls, r"\1", text, flags=re.M).replace("/etc/mosquitto/certs/", f"{papers}/")
    text = text.replace("/etc/mosquitto/", f"{tmp_path}/").replace("/var/lib/mosquitto/", f"{tmp_path}/")
    text = text.replace("listener 1883", f"listener {brokers.free_port()}").replace(
        "listener 8883", "listener PORT 127.0.0.1"
    )
    port = run_mosquitto(text.replace("log_dest syslog", "log_dest none"))
    heard: list[str] = []
    clients = {}
    for name in ("recorder", "shed"):
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        chosen = settings(papers, port, broker_cert_file=f"{name}.crt", broker_key_file=f"{name}.key")
        secure.apply(client, chosen, papers)
        client.connect("127.0.0.1", port)
        clients[name] = client
    clients["recorder"].on_message = lambda _client, _data, message: heard.append(message.topic)
    clients["recorder"].on_connect = lambda client, *_: client.subscribe("workshop/#", qos=1)
    subscribed: list[bool] = []
    clients["recorder"].on_subscribe = lambda *_: subscribed.append(True)
    deadline_s = time.monotonic() + PATIENCE_S
    while not (subscribed and clients["shed"].is_connected()):
        assert time.monotonic() < deadline_s
        for client in clients.values():
            client.loop(0.05)
    for topic in ("workshop/loft/air", "workshop/shed/air"):
        clients["shed"].publish(topic, "18.5", qos=1)
    while "workshop/shed/air" not in heard:
        assert time.monotonic() < deadline_s
        for client in clients.values():
            client.loop(0.05)
    assert heard == ["workshop/shed/air"]


# --- files ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("others", "told"),
    [
        ({"broker_tls": False}, "setting broker_tls is false; accepted: true, since broker_ca_file is set"),
        ({"broker_ca_file": "none.crt"}, r"broker_ca_file is .*none\.crt \(No such file or directory\)"),
        ({"broker_ca_file": "yard.key"}, "broker_ca_file is .*; accepted: a certificate in a PEM file"),
        ({"broker_key_file": "recorder.key"}, "setting broker_cert_file is empty; accepted: the certificate that"),
        ({"broker_cert_file": "none.crt"}, r"broker_cert_file is .*none\.crt \(No such file"),
        ({"broker_cert_file": "recorder.crt", "broker_key_file": "shed.key"}, "broker_key_file is .*the key of that"),
        (
            {"broker_cert_file": "recorder.crt", "broker_key_file": "open.key"},
            "nobody else can read: chmod 600 .*open.key",
        ),
        ({"broker_cert_file": "recorder.crt", "broker_key_file": "locked.key"}, "without a passphrase"),
    ],
)
def test_files_and_settings_that_do_not_fit_are_named(others: dict[str, object], told: str, papers: Path) -> None:
    shutil.copy(papers / "recorder.key", papers / "open.key")
    (papers / "open.key").chmod(0o644)
    openssl("ec", "-in", papers / "recorder.key", "-aes256", "-passout", "pass:x", "-out", papers / "locked.key")
    (papers / "locked.key").chmod(0o600)
    with pytest.raises(BadInput, match=told):
        secure.tls_context(settings(papers, 1, **others), papers)
