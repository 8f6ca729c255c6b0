"""The pages over HTTPS: a real certificate, a real server, and what is told when the files are not right."""

from __future__ import annotations

import os
import shutil
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import replace

import pytest

from dashboards.terminal import home, services
from sensors.broker import free_port
from shared.errors import BadInput

PATIENCE_S = 60.0


@pytest.fixture
def papers(tmp_path):
    """A certificate for localhost that vouches for itself, and its key."""
    assert shutil.which("openssl"), "openssl is not installed"
    key, certificate = tmp_path / "pages.key", tmp_path / "pages.crt"
    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2")
    files = ("-keyout", key, "-out", certificate, "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost")
    subprocess.run(["openssl", "req", "-x509", *curve, *files], check=True, capture_output=True)
    key.chmod(0o600)
    return tmp_path


def with_files(folder, **named):
    here = home.make(folder)
    return replace(here, settings=replace(here.settings, **named))


def test_the_pages_answer_over_https_alone_and_their_cookie_says_so(papers):
    home.make(papers)
    port = free_port()
    files = {
        "BENCHDRY_WEB_CERT_FILE": "pages.crt",
        "BENCHDRY_WEB_KEY_FILE": "pages.key",
        "BENCHDRY_WEB_PORT": str(port),
    }
    command = [sys.executable, "-m", "dashboards.terminal", "serve", "--folder", str(papers)]
    process = subprocess.Popen(command, env={**os.environ, **files})
    trusting = ssl.create_default_context(cafile=papers / "pages.crt")
    try:
        deadline_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                answer = urllib.request.urlopen(f"https://localhost:{port}/weigh", context=trusting)
                break
            except urllib.error.URLError:
                assert process.poll() is None and time.monotonic() < deadline_s
                time.sleep(0.2)
        assert answer.status == 200
        # RFC 6265 section 4.1.2.5: a cookie with Secure is sent back over a secure channel only
        assert "; Secure" in answer.headers["set-cookie"]
        with pytest.raises(OSError):
            urllib.request.urlopen(f"http://localhost:{port}/weigh")
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


def test_certificate_and_key_that_belong_together_are_taken(papers):
    here = with_files(papers, web_cert_file="pages.crt", web_key_file="pages.key")
    services.require_certificate(here)
    assert services.address(here).startswith("https://")
    assert services.address(with_files(papers)).startswith("http://")


def other_key(papers):
    (papers / "other.key").write_text((papers / "pages.crt").read_text(encoding="utf-8"), encoding="utf-8")
    (papers / "other.key").chmod(0o600)


def open_to_all(papers):
    (papers / "pages.key").chmod(0o644)


@pytest.mark.parametrize(
    ("spoil", "certificate", "key", "told"),
    [
        (None, "absent.crt", "pages.key", "setting web_cert_file is .*absent.crt .*accepted: a file that can be read"),
        (None, "pages.crt", "absent.key", "setting web_key_file is .*absent.key .*accepted: a file that can be read"),
        (
            None,
            "",
            "pages.key",
            "setting web_cert_file is empty; accepted: the certificate that belongs to web_key_file",
        ),
        (other_key, "pages.crt", "other.key", "setting web_key_file .*the key of that certificate"),
        (open_to_all, "pages.crt", "pages.key", "setting web_key_file .*chmod 600"),
    ],
)
def test_files_that_are_not_right_are_told_in_one_sentence(papers, spoil, certificate, key, told):
    if spoil:
        spoil(papers)
    with pytest.raises(BadInput, match=told):
        services.require_certificate(with_files(papers, web_cert_file=certificate, web_key_file=key))
