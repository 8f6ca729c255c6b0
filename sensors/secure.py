"""Who we are to the broker, and who it is to us: passwords, certificates, TLS.

A password comes from the setting, from the environment (``BENCHDRY_BROKER_PASSWORD``) or from a file
that its owner alone may read. No secret enters a log, a note or an error: what is told of a secret is
where it is kept, never what it is.
"""

from __future__ import annotations

import os
import socket
import ssl
import stat
from pathlib import Path

import paho.mqtt.client as mqtt

from shared.errors import BadInput
from shared.settings import Settings

PASSWORD_BYTES = 4096
# OpenSSL's numbers for what is wrong with a certificate (x509_vfy.h).
EXPIRED, NOT_YET_VALID = 10, 9
UNKNOWN_ISSUER = (2, 18, 19, 20, 21)
OTHER_NAME = (62, 64)


def apply(client: mqtt.Client, settings: Settings, folder: Path = Path()) -> None:
    """Give ``client`` the user name, password and TLS that the settings ask for, before it connects.

    Files named in the settings lie in ``folder`` unless absolute. TLS is 1.2 or newer; the broker must
    prove itself by a certificate for the very name that it is called by.
    Raises BadInput, without telling any secret, for a file that is missing, that others can read or that
    holds no such thing, and for settings that contradict each other.
    """
    password = broker_password(settings, folder)
    if settings.broker_username:
        client.username_pw_set(settings.broker_username, password or None)
    elif password:
        raise BadInput("setting broker_username", "", "the user name that goes with the password")
    context = tls_context(settings, folder)
    if context is not None:
        client.tls_set_context(context)


def broker_password(settings: Settings, folder: Path = Path()) -> str:
    """Return the broker's password, from the setting or from the file; empty for none. Never log it."""
    if not settings.broker_password_file:
        return settings.broker_password
    path = folder / settings.broker_password_file
    if settings.broker_password:
        raise BadInput(
            "setting broker_password_file", path, "one of broker_password and broker_password_file, not both"
        )
    try:
        with path.open("rb") as file:
            _require_private("setting broker_password_file", path, file.fileno())
            content = file.read(PASSWORD_BYTES + 1)
    except OSError as error:
        raise _unreadable("setting broker_password_file", path, error) from None
    try:
        password = content.decode("utf-8").removesuffix("\n").removesuffix("\r")
    except UnicodeDecodeError:
        password = ""
    if not password or len(content) > PASSWORD_BYTES or "\n" in password or "\0" in password:
        raise BadInput("setting broker_password_file", path, "a file with the password, and nothing else, on one line")
    return password


def tls_context(settings: Settings, folder: Path = Path()) -> ssl.SSLContext | None:
    """Return what TLS to the broker must satisfy; None when the settings ask for none."""
    named = {
        name: folder / value
        for name in ("broker_ca_file", "broker_cert_file", "broker_key_file")
        if (value := getattr(settings, name))
    }
    if not settings.broker_tls:
        if named:
            raise BadInput("setting broker_tls", "false", f"true, since {next(iter(named))} is set")
        return None
    context = _trusting(named.get("broker_ca_file"))
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if "broker_cert_file" in named:
        show(context, "broker", named["broker_cert_file"], named.get("broker_key_file"))
    elif "broker_key_file" in named:
        raise BadInput("setting broker_cert_file", "", "the certificate that belongs to broker_key_file")
    return context


def _trusting(authority: Path | None) -> ssl.SSLContext:
    """Return a context that checks certificate and host name; without a file the system's own authorities count."""
    try:
        return ssl.create_default_context(cafile=None if authority is None else str(authority))
    except (ssl.SSLError, ValueError):  # a kind of OSError, but the file could be read
        raise BadInput("setting broker_ca_file", authority, "a certificate in a PEM file") from None
    except OSError as error:
        raise _unreadable("setting broker_ca_file", authority, error) from None


def show(context: ssl.SSLContext, to: str, certificate: Path, key: Path | None) -> None:
    """Load the certificate that we show, and its key; a key alone in its file, or behind the certificate.

    ``to``: whom the settings are about, ``broker`` or ``web``. Raises BadInput for a file that cannot be read or holds
    no such thing, and for a key that others can read.
    """
    for name, path in ((f"{to}_cert_file", certificate), (f"{to}_key_file", key or certificate)):
        try:
            with path.open("rb") as file:
                if name == f"{to}_key_file":
                    _require_private(f"setting {name}", path, file.fileno())
        except OSError as error:
            raise _unreadable(f"setting {name}", path, error) from None
    try:
        # Without a password to try, OpenSSL would stop and ask the terminal for one.
        context.load_cert_chain(certificate, key, password=lambda: b"")
    except (ssl.SSLError, ValueError):
        accepted = "a PEM file with the key of that certificate, without a passphrase"
        raise BadInput(f"setting {to}_key_file", key or certificate, accepted) from None


def _require_private(field: str, path: Path, handle: int) -> None:
    if os.name == "posix" and stat.S_IMODE(os.fstat(handle).st_mode) & (stat.S_IRWXG | stat.S_IRWXO):
        raise BadInput(field, path, f"a file that nobody else can read: chmod 600 {path}")


def _unreadable(field: str, path: Path | None, error: OSError) -> BadInput:
    return BadInput(field, f"{path} ({error.strerror})", "a file that can be read")


# --- what went wrong -------------------------------------------------------------------------------


def explain(error: Exception, settings: Settings) -> str:
    """Return, in one clause without a secret, why a connection to the broker did not come about."""
    where = f"{settings.broker_host}:{settings.broker_port}"
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"the broker at {where} could not prove who it is: {_certificate_fault(error, settings)}"
    if isinstance(error, ssl.SSLError):
        if error.reason in ("WRONG_VERSION_NUMBER", "UNEXPECTED_EOF_WHILE_READING", "RECORD_LAYER_FAILURE"):
            return (
                f"port {settings.broker_port} of {settings.broker_host} does not speak TLS, and broker_tls asks for it"
            )
        words = (error.reason or "no reason given").replace("_", " ").lower()
        return f"the broker at {where} and we could not agree on TLS ({words})"
    if settings.broker_tls and isinstance(error, ConnectionResetError | BrokenPipeError):
        return f"the broker at {where} hung up when it was asked for TLS: that port may not speak it"
    if not settings.broker_host:
        return "the setting broker_host names no broker"
    if isinstance(error, socket.gaierror | ValueError):
        return f"the name {settings.broker_host} of the broker is not known to this network"
    if isinstance(error, TimeoutError):
        return f"the broker at {where} does not answer"
    reason = getattr(error, "strerror", None) or type(error).__name__
    return f"there is no broker at {where} ({reason})"


def _certificate_fault(error: ssl.SSLCertVerificationError, settings: Settings) -> str:
    if error.verify_code in OTHER_NAME:
        return f"its certificate is not for the name {settings.broker_host}"
    if error.verify_code == EXPIRED:
        return "its certificate has expired, or this machine's clock is wrong"
    if error.verify_code == NOT_YET_VALID:
        return "its certificate is not valid yet, or this machine's clock is wrong"
    if error.verify_code in UNKNOWN_ISSUER:
        told = settings.broker_ca_file or "the authorities that this machine trusts (broker_ca_file is not set)"
        return f"its certificate was not issued by {told}"
    return error.verify_message
