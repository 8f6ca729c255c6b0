"""From a message as it came to what it says, by the yard's own rules and by what earlier messages taught."""

from __future__ import annotations

import logging
from datetime import tzinfo
from pathlib import Path

from sensors import payload_rules, payload_times, payloads
from sensors.arrivals import Waiting
from sensors.client import Arrived
from sensors.shapes import Rule
from shared.errors import BadInput
from shared.settings import Settings
from shared.store import readings

log = logging.getLogger("benchdry.recorder")


class Decoder:
    """Decodes one message after the other; nothing here may fail on what a stranger sends."""

    def __init__(self, settings: Settings, folder: Path = Path()) -> None:
        """Take time zone and rules from the settings; raises BadInput for those that cannot be used."""
        self._zone = zone_of(settings)
        self._rules = rules_of(settings, folder)
        self._learned = payloads.Learned()

    def session_lost(self) -> None:
        """Forget what a message may have changed while nobody listened for us."""
        self._learned.session_lost()

    def learn(self, message: Arrived) -> None:
        """Learn what a retained message teaches, and take no reading from it."""
        payloads.learn(message.topic, message.payload, self._learned)

    def decode(self, one: Waiting) -> None:
        """Fill in what a message says, or the reason why it says nothing."""
        message = one.message
        if not message.topic:
            one.reason = "a topic that is not text (UTF-8)"
            return
        try:
            one.said = payloads.decode_all(
                message.topic,
                message.payload,
                one.arrived_ms,
                zone=self._zone,
                learned=self._learned,
                rules=self._rules,
            )
        except payloads.BadPayload as error:
            one.reason = str(error)
        except Exception as error:  # an error of ours must cost neither the message nor the recorder
            log.exception("a message on %s could not be decoded", message.topic)
            one.reason = f"could not be decoded ({type(error).__name__})"
        if one.reason is not None:  # it is kept as a reject: do not hold what is not kept
            one.message = message._replace(payload=message.payload[: readings.REJECT_PAYLOAD_BYTES])


def zone_of(settings: Settings) -> tzinfo | None:
    """Return the zone of local times; None, so that they are refused, when neither setting nor machine names one."""
    try:
        return payload_times.zone_named(settings.local_zone)
    except BadInput:
        if settings.local_zone:
            raise
        return None


def rules_of(settings: Settings, folder: Path = Path()) -> tuple[Rule, ...]:
    """Return the yard's own payload rules; raises BadInput for a file that cannot be read or understood."""
    if not settings.payload_rules_file:
        return ()
    path = folder / settings.payload_rules_file
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not text (UTF-8)"
        raise BadInput("setting payload_rules_file", f"{path} ({reason})", "a TOML file with tables [[rule]]") from None
    return payload_rules.rules_from(text)
