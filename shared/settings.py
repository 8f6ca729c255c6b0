"""The settings: one documented table.

Options on the command line beat the environment (``BENCHDRY_<NAME>``), which beats the TOML file,
which beats the default. An unknown key is an error, so that a slip of the pen is not a silent default.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from pathlib import Path
from typing import Any

from shared.errors import BadInput

FILE_NAME = "benchdry.toml"
ENVIRONMENT_PREFIX = "BENCHDRY_"


def _setting(
    default: Any,
    unit: str,
    help_text: str,
    low: float | None = None,
    high: float | None = None,
    *,
    secret: bool = False,
    words: tuple[str, ...] = (),
) -> Any:
    kept = {"unit": unit, "help": help_text, "low": low, "high": high, "secret": secret, "words": words}
    return field(default=default, repr=not secret, metadata=kept)


@dataclass(frozen=True)
class Settings:
    """Every setting with its default, unit and meaning."""

    store: str = _setting(
        "benchdry.sqlite3",
        "",
        "Where readings and entries are kept: a file, beside this settings file unless absolute.",
    )
    broker_host: str = _setting("127.0.0.1", "", "Name or address of the MQTT broker that the probes publish to.")
    broker_port: int = _setting(1883, "", "Port of the MQTT broker.", 1, 65535)
    broker_username: str = _setting("", "", "User name at the broker; empty for none.")
    broker_password: str = _setting(
        "", "", "Password at the broker; better set in the environment than in the file.", secret=True
    )
    broker_password_file: str = _setting(
        "", "", "A file that holds the broker's password, readable by you alone; instead of broker_password."
    )
    broker_tls: bool = _setting(False, "", "Whether the broker is spoken to over TLS.")
    broker_ca_file: str = _setting("", "", "Certificate that the broker must prove itself by; empty: the system's own.")
    broker_cert_file: str = _setting("", "", "Client certificate to show the broker; empty for none.")
    broker_key_file: str = _setting("", "", "Private key of that certificate.")
    broker_topics: str = _setting(
        "workshop/#", "", "Topic filter that the recorder subscribes to; several are separated by spaces."
    )
    recorder_id: str = _setting(
        "benchdry-recorder", "", "MQTT client id of the recorder; no two recorders on one broker may share it."
    )
    verdict_topic_prefix: str = _setting(
        "benchdry",
        "",
        "Verdicts are published, retained, under this prefix and /verdict; empty: none is published.",
    )
    verdict_every_minutes: int = _setting(
        10,
        "min",
        "A verdict that has not changed is published anew this often; it holds for three times that.",
        1,
        1440,
    )
    commit_every_s: float = _setting(
        0.4,
        "s",
        "Longest time that a reading waits in memory before it is written and acknowledged; "
        "30 to 60 spares an SD card, and shows each reading that much later.",
        0.05,
        60,
    )
    commit_rows: int = _setting(500, "rows", "Write at once when this many messages are waiting.", 1, 5000)
    silent_after_minutes: int = _setting(
        180, "min", "A probe that has said nothing for this long is shown as silent.", 5, 10080
    )
    web_host: str = _setting(
        "127.0.0.1", "", "Address that the pages listen on; anything but this machine needs a password first."
    )
    web_port: int = _setting(8321, "", "Port that the pages listen on.", 1, 65535)
    web_names: str = _setting(
        "", "", "Further host names under which a browser may open the pages, separated by spaces."
    )
    temperature_unit: str = _setting(
        "C", "", "Temperatures on pages and in the terminal: C or F; each browser may choose its own.", words=("C", "F")
    )
    length_unit: str = _setting(
        "mm", "", "Sizes of boards there: mm, or in for inches; each browser may choose its own.", words=("mm", "in")
    )
    web_cert_file: str = _setting(
        "",
        "",
        "Certificate with which the pages answer over HTTPS, a PEM file with its chain; empty: plain HTTP.",
    )
    web_key_file: str = _setting(
        "", "", "Private key of that certificate, readable by you alone; empty: it stands in the same file."
    )
    web_proxies: str = _setting(
        "",
        "",
        "Addresses of forwarding servers, separated by spaces, that are believed about who asks and whether it came "
        "over HTTPS; empty: none.",
    )
    local_zone: str = _setting(
        "", "", "Time zone of probes and log files that send local times, such as Europe/Berlin; empty: this machine's."
    )
    payload_rules_file: str = _setting(
        "", "", "A TOML file with payload rules of your own, for probes whose messages are not understood as they are."
    )
    keep_raw_days: int = _setting(
        0, "days", "How long single readings are kept, beside their summaries for ever; 0: for ever.", 0, 36500
    )
    species_file: str = _setting(
        "",
        "",
        "A CSV file with timbers of your own, beside this settings file unless absolute; "
        "`benchdry species --columns` prints its first line.",
    )
    substances_file: str = _setting(
        "",
        "",
        "A CSV file with ingredients of finishes that the tables do not hold, from their data sheets, beside this "
        "settings file unless absolute; its first line begins name,cas,molar_mass_g_mol,source.",
    )
    latitude_deg: float = _setting(
        0.0,
        "°",
        "Where on earth the yard is, north positive, for places in the sun. Unset while the longitude is 0 too.",
        -90,
        90,
    )
    longitude_deg: float = _setting(0.0, "°", "The same, east positive.", -180, 180)
    learn_from_finished: bool = _setting(
        True, "", "Whether boards that were closed with an outcome correct what is expected of others of their wood."
    )
    limits_region: str = _setting(
        "lowest",
        "",
        "Whose limits for breathed air the finish room is held against: lowest takes the lowest that is listed of any "
        "body; US, GB, EU or DE those of that region.",
        words=("lowest", "US", "GB", "EU", "DE"),
    )
    project_every_s: int = _setting(
        60, "s", "How often the watch looks for a new hour of air; a new entry is taken up within two seconds.", 5, 3600
    )


@dataclass(frozen=True)
class Source:
    """A setting's value and where it came from."""

    name: str
    value: Any
    unit: str
    help: str
    origin: str


def shown_value(name: str, value: Any) -> str:
    """Return a setting's value as it may be shown: of a secret only whether it is set, of an address no password."""
    secret = next(entry.metadata["secret"] for entry in fields(Settings) if entry.name == name)
    if secret:
        return "(set)" if value else "(not set)"
    return re.sub(r"(://[^/@:]*):[^/@]*@", r"\1:(not shown)@", str(value))


def load(
    path: Path | None = None,
    environment: Mapping[str, str] | None = None,
    options: Mapping[str, Any] | None = None,
) -> tuple[Settings, list[Source]]:
    """Return the settings in force and, for each, where its value came from.

    ``path`` is the TOML file (it need not exist), ``environment`` the process's variables,
    ``options`` what was given on the command line (None values are not given).
    Raises BadInput for an unknown key or a value of the wrong kind or outside its range.
    """
    environment = os.environ if environment is None else environment
    in_file = _read_file(path) if path is not None and path.exists() else {}
    known = {entry.name for entry in fields(Settings)}
    for key in in_file:
        if key not in known:
            raise BadInput(f"setting {key} in {path}", in_file[key], "one of " + ", ".join(sorted(known)))
    chosen: dict[str, Any] = {}
    sources = []
    for entry in fields(Settings):
        value, origin = _pick(entry.name, entry.default, in_file, environment, options or {}, path)
        value = _checked(entry.name, value, entry.default, entry.metadata)
        chosen[entry.name] = value
        sources.append(Source(entry.name, value, entry.metadata["unit"], entry.metadata["help"], origin))
    return Settings(**chosen), sources


def _read_file(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise BadInput(f"settings file {path}", error.strerror or str(error), "a file that can be read") from error
    except ValueError as error:  # no TOML, or no text at all
        raise BadInput(f"settings file {path}", str(error), "a TOML file of name = value lines") from error


def _pick(
    name: str,
    default: Any,
    in_file: Mapping[str, Any],
    environment: Mapping[str, str],
    options: Mapping[str, Any],
    path: Path | None,
) -> tuple[Any, str]:
    variable = ENVIRONMENT_PREFIX + name.upper()
    if options.get(name) is not None:
        return options[name], "command line"
    if variable in environment:
        return environment[variable], f"environment ({variable})"
    if name in in_file:
        return in_file[name], f"file ({path})"
    assert default is not MISSING
    return default, "default"


def _checked(name: str, value: Any, default: Any, metadata: Mapping[str, Any]) -> Any:
    """Return ``value`` as the type of its default and within its range."""
    kind = type(default)
    if kind is bool:
        return _yes_or_no(name, value)
    try:
        converted = kind(value) if _is_of(kind, value) else None
        if kind is int and float(value) != converted:
            converted = None
    except (TypeError, ValueError, OverflowError):
        converted = None
    if converted is None:
        value = "(not shown)" if metadata["secret"] else value
        raise BadInput(f"setting {name}", value, {str: "text", int: "a whole number", float: "a number"}[kind])
    if metadata["words"] and converted not in metadata["words"]:
        raise BadInput(f"setting {name}", value, " or ".join(metadata["words"]))
    low, high = metadata["low"], metadata["high"]
    if low is not None and not low <= converted <= high:
        raise BadInput(f"setting {name}", value, f"{low:g} to {high:g} {metadata['unit']}".rstrip())
    return converted


def _yes_or_no(name: str, value: Any) -> bool:
    words = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
    found = value if isinstance(value, bool) else words.get(str(value).strip().lower())
    if found is None:
        raise BadInput(f"setting {name}", value, "true or false")
    return found


def _is_of(kind: type, value: Any) -> bool:
    """Text stands for a number (the environment has nothing else), but no number or list for a text."""
    return not isinstance(value, bool) and (kind is not str or isinstance(value, str | os.PathLike))


def commented_file() -> str:
    """Return a settings file in which every setting stands commented out with its help."""
    lines = ["# Benchdry settings. Take the # away to change one; the value shown is the default.", ""]
    for entry in fields(Settings):
        unit = f" [{entry.metadata['unit']}]" if entry.metadata["unit"] else ""
        shown = f'"{entry.default}"' if isinstance(entry.default, str) else str(entry.default).lower()
        lines += [f"# {entry.metadata['help']}{unit}", f"# {entry.name} = {shown}", ""]
    return "\n".join(lines)
