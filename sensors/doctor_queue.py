"""How long the broker holds readings for a recorder that is away, and what of them a power cut takes.

This cannot be asked over MQTT. With the broker's mosquitto.conf it is worked out; without it, what the
broker's defaults would mean is said. How fast readings come is taken from the store's own last day.
"""

from __future__ import annotations

from sensors.broker_config import DEFAULTS, BrokerConfig, open_doors
from sensors.client import RECEIVE_MAXIMUM
from sensors.findings import Finding, Level, time_words

MESSAGE_BYTES = 100  # a message with a temperature and a humidity in JSON, roughly; brokers count the payload
QUEUE_ENOUGH_DAYS = 7.0  # a holiday
QUEUE_TOO_SHORT_DAYS = 1.0
SAVE_ENOUGH_S = 60
SMALL_PACKET_BYTES = 2048
SHIPPED = "sensors/mosquitto.conf"
PUT = "put {0} into the broker's configuration, as in " + SHIPPED + ", and restart it"


def queue_without_file(per_day: float | None) -> Finding:
    """Say what a broker's own defaults would hold of ``per_day`` readings a day."""
    if not per_day:
        held = "1,000 messages"
    else:
        held = f"{time_words(DEFAULTS['max_queued_messages'] / per_day)} of this yard's {per_day:,.0f} readings a day"
    return Finding(
        Level.CARE,
        f"How much the broker holds for a recorder that is away is not known: mosquitto's defaults (a queue of 1,000 "
        f"messages, written to disk every 30 minutes) would hold {held} and drop every later one.",
        f"name the broker's configuration with --broker-config; {SHIPPED} is one made for this",
    )


def examine_config(config: BrokerConfig, per_day: float | None) -> list[Finding]:
    """Return what the broker's configuration means for ``per_day`` readings a day (None: not known yet)."""
    return [
        _queue(config, per_day),
        _saving(config, per_day),
        *_session(config),
        _window(config),
        _packets(config),
        _who(config),
        *_doors(config),
    ]


def _queue(config: BrokerConfig, per_day: float | None) -> Finding:
    messages, size = config.number("max_queued_messages"), config.number("max_queued_bytes")
    remedy = PUT.format("max_queued_messages 2000000")
    by_size = size // MESSAGE_BYTES if size else None
    limits = [limit for limit in (messages or None, by_size) if limit]
    if not limits:
        told = "The broker's queue has no limit (max_queued_messages 0): it ends when the machine's memory does."
        return Finding(Level.CARE, told, remedy)
    held = min(limits)
    which = f"max_queued_messages {messages:,}" if held == messages else f"max_queued_bytes {size:,}, roughly"
    default = "" if config.says("max_queued_messages") or held != messages else ", mosquitto's default"
    start = f"The broker queues {held:,} messages for a recorder that is away ({which}{default})"
    if not per_day:
        level = Level.CARE if default else Level.FINE
        return Finding(level, f"{start}; for how long that is enough is known after a day.", remedy if default else "")
    days = held / per_day
    level = _graded(days, QUEUE_TOO_SHORT_DAYS, QUEUE_ENOUGH_DAYS)
    told = f"{start}: at this yard's {per_day:,.0f} readings a day at least {time_words(days)}, then each is dropped."
    return Finding(level, told, "" if level is Level.FINE else remedy)


def _graded(found: float, too_little: float, enough: float) -> Level:
    if found < too_little:
        return Level.WRONG
    return Level.CARE if found < enough else Level.FINE


def _saving(config: BrokerConfig, per_day: float | None) -> Finding:
    every_s = config.number("autosave_interval")
    remedy = PUT.format("persistence true and autosave_interval 30")
    if not config.yes("persistence"):
        default = "" if config.says("persistence") else ", mosquitto's default"
        told = f"The broker keeps its queue in memory alone (persistence false{default}): a restart takes all of it."
        return Finding(Level.WRONG, told, remedy)
    if config.yes("autosave_on_changes"):
        told = f"The broker writes its whole queue to disk after every {every_s} changes (autosave_on_changes)."
        return Finding(Level.CARE, f"{told[:-1]}, which slows it down to a few hundred messages a second.", remedy)
    if every_s == 0:
        told = (
            "The broker writes its queue to disk only when it ends (autosave_interval 0): a power cut takes all of it."
        )
        return Finding(Level.WRONG, told, remedy)
    default = "" if config.says("autosave_interval") else ", mosquitto's default"
    often = f"{every_s} s" if every_s < 120 else time_words(every_s / 86_400)
    lost = f", up to {per_day * every_s / 86_400:,.0f} readings here" if per_day else ""
    told = (
        f"The broker writes its queue to disk every {often} (autosave_interval {every_s}{default}): "
        f"a power cut takes what came since{lost}, if the recorder is away."
    )
    if every_s <= SAVE_ENOUGH_S:
        return Finding(Level.FINE, told)
    return Finding(Level.CARE, told, remedy)


def _session(config: BrokerConfig) -> list[Finding]:
    days = config.session_days
    if days is None or days >= QUEUE_ENOUGH_DAYS:
        return []
    told = f"The broker forgets a recorder after {time_words(days)}, and its queue (persistent_client_expiration)."
    return [
        Finding(
            _graded(days, QUEUE_TOO_SHORT_DAYS, QUEUE_ENOUGH_DAYS), told, PUT.format("persistent_client_expiration 30d")
        )
    ]


def _window(config: BrokerConfig) -> Finding:
    window = config.number("max_inflight_messages")
    told = (
        f"The broker sends other clients {window or 'any number of'} messages before it waits (max_inflight_messages)"
    )
    return Finding(Level.FINE, f"{told}; the recorder asks for {RECEIVE_MAXIMUM:,} of its own.")


def _packets(config: BrokerConfig) -> Finding:
    remedy = PUT.format("max_packet_size 65536")
    if config.number("message_size_limit"):
        told = "The broker acknowledges messages that are too long and drops them (message_size_limit)."
        return Finding(Level.WRONG, told, f"take that line out and {remedy}")
    size = config.number("max_packet_size")
    if size == 0:
        told = "The broker takes messages of up to 256 MB (max_packet_size is not set): one can fill its memory."
        return Finding(Level.CARE, told, remedy)
    if size < SMALL_PACKET_BYTES:
        told = f"The broker throws out a probe that sends more than {size} bytes at once (max_packet_size)."
        return Finding(Level.CARE, told, remedy)
    return Finding(Level.FINE, f"The broker takes messages of up to {size:,} bytes (max_packet_size).")


def _who(config: BrokerConfig) -> Finding:
    if config.yes("allow_anonymous"):
        told = "The broker lets in whoever comes (allow_anonymous true): anybody can write readings."
        return Finding(Level.WRONG, told, PUT.format("allow_anonymous false and a password_file"))
    if not any(config.says(name) for name in ("acl_file", "plugin", "auth_plugin")):
        told = "Under the broker's configuration each probe may write as every other (there is no acl_file)."
        return Finding(Level.CARE, told, PUT.format("an acl_file"))
    return Finding(Level.FINE, "The broker asks for a password and has rules for who may write what (acl_file).")


def _doors(config: BrokerConfig) -> list[Finding]:
    where = ", ".join(str(one.port) for one in open_doors(config))
    if not where:
        return []
    told = f"The broker can be reached from other machines without encryption (port {where}): passwords can be read."
    return [Finding(Level.CARE, told, PUT.format("certfile and keyfile below that listener, or 127.0.0.1 behind it"))]
