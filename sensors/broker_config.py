"""What a mosquitto.conf says of the readings that it is to hold while the recorder is away.

Nothing of this can be asked over MQTT: the file must be read. Defaults and meanings are those of
mosquitto.conf(5) as of mosquitto 2.0.11.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from shared.errors import BadInput

# Defaults, mosquitto.conf(5), mosquitto 2.0.11. 0 queued messages, bytes or packet bytes: no limit.
DEFAULTS = {
    "max_queued_messages": 1000,
    "max_queued_bytes": 0,
    "autosave_interval": 1800,
    "max_inflight_messages": 20,
    "max_packet_size": 0,
    "message_size_limit": 0,
}
LOOPBACK = ("127.0.0.1", "::1", "localhost")
EXPIRY_UNIT_DAYS = {"h": 1 / 24, "d": 1.0, "w": 7.0, "m": 30.0, "y": 365.0}


@dataclass
class Listener:
    """One door of the broker."""

    port: int
    address: str = ""
    encrypted: bool = False


@dataclass
class BrokerConfig:
    """The settings that matter here, as the file says them or as the broker has them by itself."""

    path: Path
    numbers: dict[str, int] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    listeners: list[Listener] = field(default_factory=list)

    def number(self, name: str) -> int:
        """Return a number, the broker's own default where the file is silent."""
        return self.numbers.get(name, DEFAULTS[name])

    def says(self, name: str) -> bool:
        """Tell whether the file itself sets this."""
        return name in self.numbers or name in self.words

    def yes(self, name: str) -> bool:
        """Return a true or false; silent is false, as for all that are asked here."""
        return self.words.get(name, "false") == "true"

    @property
    def session_days(self) -> float | None:
        """How long the broker keeps a recorder's queue, in days; None: without an end."""
        found = re.fullmatch(r"(\d+)\s*([hdwmy])", self.words.get("persistent_client_expiration", ""))
        return None if found is None else int(found[1]) * EXPIRY_UNIT_DAYS[found[2]]


def read(path: Path) -> BrokerConfig:
    """Read a mosquitto.conf and the files of its include_dir.

    Raises BadInput naming the file, the setting and what is accepted.
    """
    config = BrokerConfig(path)
    for file, name, value in _lines(path, main=True):
        _take(config, file, name, value)
    return config


def _lines(path: Path, *, main: bool) -> Iterator[tuple[Path, str, str]]:
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not text"
        raise BadInput("broker configuration", f"{path} ({reason})", "a mosquitto.conf that can be read") from error
    for line in text.splitlines():
        name, value = [*line.split(None, 1), "", ""][:2]
        value = value.strip()
        if not name or name.startswith("#"):
            continue
        yield path, name, value
        if name == "include_dir" and main:
            # In the order of mosquitto.conf(5): by letter, the capital of each before the small one.
            found = (one for one in Path(value).glob("*.conf"))
            for one in sorted(found, key=lambda file: [(letter.lower(), letter) for letter in file.name]):
                yield from _lines(one, main=False)


def _take(config: BrokerConfig, file: Path, name: str, value: str) -> None:
    if name in DEFAULTS:
        if not value.isdecimal():
            raise BadInput(f"{name} in {file}", value, "a whole number")
        config.numbers[name] = int(value)
    elif name in ("listener", "port"):
        port, address = [*value.split(None, 1), "", ""][:2]
        if not port.isdecimal():
            raise BadInput(f"{name} in {file}", value, "a port number, and perhaps an address")
        config.listeners.append(Listener(int(port), address.strip()))
    elif name in ("certfile", "psk_hint") and config.listeners:
        config.listeners[-1].encrypted = True
    else:
        config.words[name] = value


def doors(config: BrokerConfig) -> list[Listener]:
    """Return the listeners; without any, mosquitto 2 listens on port 1883 of this machine alone."""
    return config.listeners or [Listener(1883, LOOPBACK[0])]


def open_doors(config: BrokerConfig) -> list[Listener]:
    """Return the listeners that other machines reach without encryption."""
    return [one for one in doors(config) if one.address not in LOOPBACK and not one.encrypted and one.port]
