"""Sparkplug B payloads against the Eclipse Sparkplug Specification 3.0.0 (2022).

Read in the specification's working text; sections are numbered as they stand there. The messages named SPEC_ are
the examples that section 6.4.19 and following print as JSON (NBIRTH, NDATA, NDEATH), with plain words in place of
the makes that they name. All bytes here were made by the reference library of Protocol Buffers (Python, 7.36.2) from
the message definition that section 6.4.1 prints: the reader under test shares no line with it. The examples of the
specification hold no quantity of ours; the others are invented, in the same form.
"""

from __future__ import annotations

import pytest

from sensors import protobuf, sparkplug
from sensors.payloads import BadPayload, Learned, Message, decode_all, read
from shared.store.records import Quantity

AT_MS = 1486144502122  # of every example in the specification
NODE = "spBv1.0/Sparkplug B Devices/{}/edge"
DEVICE = NODE + "/device"
PROBE = "spBv1.0/Sparkplug B Devices/edge/device"

SPEC_NBIRTH = bytes.fromhex(
    "08eaf2f5a8a02b12120a05626453657118eaf2f5a8a02b2008580012200a134e6f646520436f6e74726f6c2f5265626f6f74"
    "18eaf2f5a8a02b200b700012210a144e6f646520436f6e74726f6c2f5265626972746818eaf2f5a8a02b200b700012250a18"
    "4e6f646520436f6e74726f6c2f4e6578742053657276657218eaf2f5a8a02b200b700012240a164e6f646520436f6e74726f"
    "6c2f5363616e205261746518eaf2f5a8a02b200458b81712290a1850726f706572746965732f4861726477617265204d616b"
    "6518eaf2f5a8a02b200c7a046d616b65122b0a1950726f706572746965732f4861726477617265204d6f64656c18eaf2f5a8"
    "a02b200c7a056d6f64656c12200a0d50726f706572746965732f4f5318eaf2f5a8a02b200c7a0673797374656d12290a1550"
    "726f706572746965732f4f532056657273696f6e18eaf2f5a8a02b200c7a0776657273696f6e121e0a0e537570706c792056"
    "6f6c7461676518eaf2f5a8a02b2009659a9941411800"
)
SPEC_NDATA = bytes.fromhex("08eaf2f5a8a02b121e0a0e537570706c7920566f6c7461676518eaf2f5a8a02b200965cdcc44411802")
SPEC_NDEATH = bytes.fromhex("08eaf2f5a8a02b12120a05626453657118eaf2f5a8a02b20085800")
DBIRTH = bytes.fromhex(
    "08eaf2f5a8a02b12350a0f4169722f54656d7065726174757265100118eaf2f5a8a02b20094a120a07656e67556e69741207"
    "080c4203c2b043653333934112340a0c4169722f48756d6964697479100218eaf2f5a8a02b200a4a100a07656e67556e6974"
    "1205080c420125690000000000d05140122f0a0c537461636b2f576569676874100318eaf2f5a8a02b20034a100a07656e67"
    "556e69741205080c42016750e08f0112280a0742617474657279100418eaf2f5a8a02b20054a100a07656e67556e69741205"
    "080c42012550571801"
)
DDATA = bytes.fromhex(
    "08eaf2f5a8a02b120e100118cac7f9a8a02b65000060c01212100218cac7f9a8a02b690000000000a05140120d100318cac7"
    "f9a8a02b50ae8f01120b100418cac7f9a8a02b38011802"
)
SIGNED = bytes.fromhex(
    "08eaf2f5a8a02b121e0a10496e74382f54656d706572617475726518eaf2f5a8a02b200150fb0112290a18496e7438457874"
    "656e6465642f54656d706572617475726518eaf2f5a8a02b200150fbffffff0f12200a11496e7431362f54656d7065726174"
    "75726518eaf2f5a8a02b200250fbff0312220a11496e7433322f54656d706572617475726518eaf2f5a8a02b200350fbffff"
    "ff0f12270a11496e7436342f54656d706572617475726518eaf2f5a8a02b200458fbffffffffffffffff01121f0a1255496e"
    "7431362f54656d706572617475726518eaf2f5a8a02b20065019121f0a1255496e7436342f54656d706572617475726518ea"
    "f2f5a8a02b200858191803"
)
QUALITIES = bytes.fromhex(
    "08eaf2f5a8a02b122c0a0b54656d706572617475726518eaf2f5a8a02b20094a0f0a075175616c6974791204080318006533"
    "339341122a0a0848756d696469747918eaf2f5a8a02b20094a100a075175616c6974791205080318f4036500008e4212280a"
    "0670696e5f6d6318eaf2f5a8a02b20094a100a075175616c6974791205080318c001650000484112170a05706d325f3518ea"
    "f2f5a8a02b200930016500001041121d0a0b54656d706572617475726518ea959aa7a02b200928016533338f411804"
)


def said(messages: list[Message]) -> dict[tuple[str, Quantity], tuple[float, int | None]]:
    return {(m.probe_topic, v.quantity): (v.value, v.at_ms) for m in messages for v in m.values}


def deliver(learned: Learned, topic: str, payload: bytes) -> dict[tuple[str, Quantity], tuple[float, int | None]]:
    return said(decode_all(topic, payload, 0, learned=learned))


# --- the specification's own examples --------------------------------------------------------------


def test_6_4_19_the_node_birth_reads_as_printed() -> None:
    sent_ms, metrics = sparkplug._payload(SPEC_NBIRTH)
    assert sent_ms == AT_MS
    assert [(one.name, one.timestamp_ms, one.datatype) for one in metrics] == [
        ("bdSeq", AT_MS, 8),
        ("Node Control/Reboot", AT_MS, 11),
        ("Node Control/Rebirth", AT_MS, 11),
        ("Node Control/Next Server", AT_MS, 11),
        ("Node Control/Scan Rate", AT_MS, 4),
        ("Properties/Hardware Make", AT_MS, 12),
        ("Properties/Hardware Model", AT_MS, 12),
        ("Properties/OS", AT_MS, 12),
        ("Properties/OS Version", AT_MS, 12),
        ("Supply Voltage", AT_MS, 9),
    ]
    values = [one.value if one.raw_integer is None else one.raw_integer for one in metrics]
    texts = ["make", "model", "system", "version"]
    assert values == [0, False, False, False, 3000, *texts, 12.1]


def test_6_4_21_the_node_data_reads_as_printed_and_a_supply_voltage_is_no_battery() -> None:
    ((name, value),) = [(one.name, one.value) for one in sparkplug._payload(SPEC_NDATA)[1]]
    assert (name, value) == ("Supply Voltage", 12.3)
    with pytest.raises(BadPayload, match="no metric whose name is known"):
        decode_all(NODE.format("NDATA"), SPEC_NDATA, 0)


@pytest.mark.parametrize(("kind", "payload"), [("NBIRTH", SPEC_NBIRTH), ("NDEATH", SPEC_NDEATH), ("NCMD", SPEC_NBIRTH)])
def test_births_without_readings_deaths_and_commands_hold_none_and_are_no_fault(kind: str, payload: bytes) -> None:
    heard = read(NODE.format(kind), payload, 0)
    assert (heard.shape, heard.messages) == ("Sparkplug B", [])
    assert heard.notes


# --- aliases (section 6.4.6) -----------------------------------------------------------------------


def test_a_birth_gives_readings_and_teaches_the_names_types_and_units_of_its_aliases() -> None:
    learned = Learned()
    assert deliver(learned, DEVICE.format("DBIRTH"), DBIRTH) == {
        (PROBE, Quantity.TEMPERATURE_C): (18.4, AT_MS),
        (PROBE, Quantity.RH_PCT): (71.25, AT_MS),
        (PROBE, Quantity.BATTERY_PCT): (87.0, AT_MS),
        (PROBE + "/Stack", Quantity.MASS_KG): (18.4, AT_MS),
    }
    assert deliver(learned, DEVICE.format("DDATA"), DDATA) == {
        (PROBE, Quantity.TEMPERATURE_C): (-3.5, AT_MS + 60_000),
        (PROBE, Quantity.RH_PCT): (70.5, AT_MS + 60_000),
        (PROBE + "/Stack", Quantity.MASS_KG): (18.35, AT_MS + 60_000),
    }


REBIRTH = r"alias 1 is not known: the node must send its birth again \(rebirth\)"


def test_an_alias_that_no_birth_taught_asks_for_a_rebirth() -> None:
    with pytest.raises(BadPayload, match=REBIRTH):
        deliver(Learned(), DEVICE.format("DDATA"), DDATA)
    learned = Learned()
    deliver(learned, DEVICE.format("DBIRTH"), DBIRTH)
    with pytest.raises(BadPayload, match=REBIRTH):
        deliver(learned, NODE.format("DDATA") + "/another device", DDATA)


@pytest.mark.parametrize("ending", ["death", "birth", "session lost"])
def test_a_nodes_death_its_next_birth_and_a_lost_session_end_its_aliases(ending: str) -> None:
    learned = Learned()
    deliver(learned, NODE.format("NBIRTH"), SPEC_NBIRTH)
    deliver(learned, DEVICE.format("DBIRTH"), DBIRTH)
    if ending == "session lost":
        learned.session_lost()
    else:
        kind, payload = {"death": ("NDEATH", SPEC_NDEATH), "birth": ("NBIRTH", SPEC_NBIRTH)}[ending]
        deliver(learned, NODE.format(kind), payload)
    with pytest.raises(BadPayload, match=REBIRTH):
        deliver(learned, DEVICE.format("DDATA"), DDATA)


def test_the_will_of_an_earlier_session_ends_nothing() -> None:
    """Section 6.4.25: bdSeq matches a death with its birth."""
    learned = Learned()
    other = SPEC_NBIRTH.replace(bytes.fromhex("20085800"), bytes.fromhex("20085801"))  # bdSeq 1 in place of 0
    deliver(learned, NODE.format("NBIRTH"), other)
    deliver(learned, DEVICE.format("DBIRTH"), DBIRTH)
    deliver(learned, NODE.format("NDEATH"), SPEC_NDEATH)
    assert deliver(learned, DEVICE.format("DDATA"), DDATA)


# --- values ----------------------------------------------------------------------------------------


def test_6_4_17_signed_integers_come_out_of_unsigned_fields_with_their_sign() -> None:
    found = {
        topic.rpartition("/")[2]: value
        for (topic, _), (value, _) in deliver(Learned(), NODE.format("NDATA"), SIGNED).items()
    }
    assert found == {"Int8": -5, "Int8Extended": -5, "Int16": -5, "Int32": -5, "Int64": -5, "UInt16": 25, "UInt64": 25}


def test_bad_stale_and_transient_metrics_are_left_out_and_history_keeps_its_time() -> None:
    """Section 6.4.9: 0 is bad, 500 stale, 192 good."""
    heard = read(NODE.format("NDATA"), QUALITIES, 0)
    probe = "spBv1.0/Sparkplug B Devices/edge"
    assert said(heard.messages) == {
        (probe, Quantity.PIN_MC_PCT): (12.5, AT_MS),
        (probe, Quantity.TEMPERATURE_C): (17.9, AT_MS - 3_600_000),
    }
    assert len(heard.notes) == 3


@pytest.mark.parametrize(
    "topic",
    [
        "spBv1.0/g",
        "spBv1.0/g/NDATA",
        "spBv1.0/g/NDATA/n/d",
        "spBv1.0/g/DDATA/n",
        "spBv1.0/g/X/n",
        "spBv1.0/g/DDATA/n/d/e",
    ],
)
def test_4_1_a_topic_with_other_levels_is_refused(topic: str) -> None:
    with pytest.raises(BadPayload, match="levels that it cannot have"):
        decode_all(topic, SPEC_NDATA, 0)


# --- the wire format -------------------------------------------------------------------------------


def test_the_examples_of_the_wire_formats_own_description() -> None:
    """Protocol Buffers documentation, "Encoding": 08 96 01 is field 1 with 150; 12 07 … field 2 with "testing"."""
    assert list(protobuf.fields(bytes.fromhex("089601"))) == [(1, 150)]
    assert list(protobuf.fields(bytes.fromhex("120774657374696e67"))) == [(2, b"testing")]


@pytest.mark.parametrize("end", range(1, len(DBIRTH)))
def test_a_message_that_is_cut_off_is_refused_or_shorter_but_never_misread(end: int) -> None:
    whole = deliver(Learned(), DEVICE.format("DBIRTH"), DBIRTH)
    try:
        cut = deliver(Learned(), DEVICE.format("DBIRTH"), DBIRTH[:end])
    except BadPayload:
        return
    assert cut.items() <= whole.items()


@pytest.mark.parametrize(
    "payload",
    ["0b", "0c", "ff" * 11, "08" + "ff" * 10, "1207", "0a", "00", "1203120100", "0d00", "12026501", "12040a02ff00"],
)
def test_bytes_that_are_no_payload_are_refused(payload: str) -> None:
    with pytest.raises(BadPayload):
        decode_all(NODE.format("NDATA"), bytes.fromhex(payload), 0)
