"""The tables. A change here goes with a migration; a test compares the two."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
    false,
)

from shared.store.columns import (
    Months,
    angle,
    facts,
    id_of_subject,
    not_negative_if_any,
    positive,
    positive_if_any,
    text,
)
from shared.store.columns import metadata as metadata
from shared.store.derived import outbox as outbox
from shared.store.derived import projection as projection
from shared.store.derived import verdict as verdict

# --- what probes say -------------------------------------------------------------------------------

series = Table(
    "series",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("probe_id", Integer, ForeignKey("subject.id"), nullable=False),
    Column("quantity", Text, nullable=False),
    UniqueConstraint("probe_id", "quantity"),
)

batch = Table(
    "batch",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("arrived_ms", BigInteger, nullable=False),
)

# Keyed by (series, time) and without a row id: 25 bytes a row, and a span of time lies together.
reading = Table(
    "reading",
    metadata,
    Column("series_id", Integer, ForeignKey("series.id"), primary_key=True),
    Column("at_ms", BigInteger, primary_key=True),
    Column("value", Float, nullable=False),
    Column("quality", SmallInteger, nullable=False),
    Column("time_source", SmallInteger, nullable=False),
    Column("batch_id", Integer, ForeignKey("batch.id"), nullable=False),
    sqlite_with_rowid=False,
)

# The same key with another value: both are kept, the first in reading, every other here.
conflict = Table(
    "conflict",
    metadata,
    Column("series_id", Integer, ForeignKey("series.id"), primary_key=True),
    Column("at_ms", BigInteger, primary_key=True),
    Column("value", Float, primary_key=True),
    Column("batch_id", Integer, ForeignKey("batch.id"), nullable=False),
    sqlite_with_rowid=False,
)

reject = Table(
    "reject",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("arrived_ms", BigInteger, nullable=False),
    Column("topic", Text, nullable=False),
    Column("payload", LargeBinary, nullable=False),
    Column("reason", Text, nullable=False),
)


def _tier(name: str) -> Table:
    """One summary of the readings: good values counted, least, greatest and summed; bad ones counted."""
    return Table(
        name,
        metadata,
        Column("series_id", Integer, ForeignKey("series.id"), primary_key=True),
        Column("bucket_ms", BigInteger, primary_key=True),
        Column("n", Integer, nullable=False),
        Column("low", Float),
        Column("high", Float),
        Column("total", Float, nullable=False),
        Column("bad", Integer, nullable=False),
        sqlite_with_rowid=False,
    )


tier_10min = _tier("tier_10min")
tier_hour = _tier("tier_hour")
tier_day = _tier("tier_day")

recorder_state = Table(
    "recorder_state",
    metadata,
    Column("id", Integer, CheckConstraint("id = 1", name="one_row"), primary_key=True),
    Column("beat_ms", BigInteger, nullable=False),
    Column("pid", Integer, nullable=False),
    Column("connected", Boolean, nullable=False),
    Column("broker", Text, nullable=False),
    Column("session_kept", Boolean, nullable=False),
    Column("waiting", Integer, nullable=False),
    Column("stored", Integer, nullable=False),
    Column("rejected", Integer, nullable=False),
    Column("retained_ignored", Integer, nullable=False),
    Column("note", Text, nullable=False),
)

# --- what people say -------------------------------------------------------------------------------

subject = Table(
    "subject",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("code", Text, nullable=False),
    UniqueConstraint("kind", "code"),
)


place_fact = facts(
    "place_fact",
    text("name"),
    text("kind"),
    Column("altitude_m", Float, nullable=False),
    Column("closed", Boolean, nullable=False),
    not_negative_if_any("air_speed_m_s"),
    Column("in_sun", Boolean, nullable=False, server_default=false()),
)
probe_fact = facts("probe_fact", text("name"), text("topic"))
probe_position = facts("probe_position", id_of_subject("place_id"))
stack_fact = facts(
    "stack_fact",
    text("name"),
    text("note"),
    Column("boards_in_all", Integer, CheckConstraint("boards_in_all > 0", name="boards_in_all_positive")),
)
stack_position = facts("stack_position", id_of_subject("place_id"))
set_fact = facts("set_fact", text("name"), text("note"))
board_fact = facts(
    "board_fact",
    text("name"),
    text("species"),
    positive("thickness_m"),
    positive("width_m"),
    positive("length_m"),
    text("cut"),
    text("origin"),
    text("note"),
)
board_position = facts("board_position", id_of_subject("stack_id"), id_of_subject("place_id"))
board_rest = facts("board_rest", text("rest"), positive_if_any("case_air_m3"))
board_coat = facts("board_coat", Column("ends_sealed", Boolean, nullable=False), text("coat"))
board_cut = facts(
    "board_cut",
    id_of_subject("from_board_id"),
    Column("near_m", Float, CheckConstraint("near_m >= 0", name="near_m_not_negative"), nullable=False),
    Column("far_m", Float, CheckConstraint("far_m > near_m", name="far_m_beyond_near_m"), nullable=False),
)
water_event = facts("water_event", text("kind"), positive("water_kg"), text("faces"))
outcome = facts(
    "outcome",
    text("kind"),
    Column("degree", Text),
    positive_if_any("thickness_m"),
    text("note"),
    CheckConstraint("(degree IS NULL) <> (thickness_m IS NULL)", name="degree_or_thickness"),
)
planned_move = facts("planned_move", Column("place_id", Integer, ForeignKey("subject.id"), nullable=False))
place_climate = facts(
    "place_climate",
    Column("temperature_c", Months, nullable=False),
    Column("rh_pct", Months, nullable=False),
    text("source"),
)
set_member = facts(
    "set_member",
    id_of_subject("set_id"),
    text("role"),
    Column("kind", Text, nullable=False, server_default="other"),
)
weigh_in = facts("weigh_in", positive("mass_kg"), positive("scale_error_kg"))
pin_reading = facts(
    "pin_reading",
    positive("mc_pct"),
    Column("depth_m", Float, nullable=False),
    Column("wood_temperature_c", Float),
    id_of_subject("meter_id"),
)
bag_test = facts(
    "bag_test",
    Column("temperature_c", Float, nullable=False),
    Column("rh_pct", Float, nullable=False),
    Column("rh_error_pct", Float, nullable=False),
    id_of_subject("probe_id"),
    text("last_moved"),
    positive("waited_s"),
    positive("air_volume_m3"),
)
meter_fact = facts(
    "meter_fact",
    text("name"),
    text("species"),
    text("origin"),
    Column("calibration_temperature_c", Float, nullable=False),
    text("note"),
)
meter_pair = facts(
    "meter_pair",
    positive("reading_pct"),
    Column("wood_temperature_c", Float),
    positive("wet_mass_kg"),
    positive("dry_mass_kg"),
)
hygrometer_check = facts(
    "hygrometer_check",
    Column("temperature_c", Float, nullable=False),
    text("low_salt"),
    Column("low_read_rh_pct", Float),
    text("high_salt"),
    Column("high_read_rh_pct", Float),
    positive("waited_s"),
)
cell_load = facts("cell_load", id_of_subject("board_id"), id_of_subject("stack_id"), positive("cell_error_kg"))
cell_tare = facts("cell_tare", Column("reading_kg", Float, nullable=False))
oven_dry_result = facts("oven_dry_result", positive("wet_mass_kg"), positive("dry_mass_kg"))
use_plan = facts(
    "use_plan",
    text("use"),
    Column("destination_rh_pct", Float, nullable=False),
    Column("destination_temperature_c", Float, nullable=False),
    Column("booked_ms", BigInteger),
    Column("wanted_mc_low_pct", Float),
    Column("wanted_mc_high_pct", Float),
    Column("begun", Boolean, nullable=False, server_default=false()),
)
own_limit = facts("own_limit", Column("value", Float, nullable=False), text("reason"))
override = facts("override", text("use"), text("reason"))
lifted = facts(
    "lifted",
    text("water"),
    text("sapwood"),
    Column("shake", Boolean),
    text("smell"),
    Column("washed", Boolean, nullable=False),
    Column("metal_searched", Boolean, nullable=False),
    text("note"),
)
joint = facts(
    "joint",
    Column("a_board_id", Integer, ForeignKey("subject.id"), nullable=False),
    Column("b_board_id", Integer, ForeignKey("subject.id"), nullable=False),
    positive("length_m"),
    angle("grain_a_deg"),
    angle("grain_b_deg"),
    text("name"),
    CheckConstraint("a_board_id <> b_board_id", name="two_boards"),
)

# --- the finish room ---------------------------------------------------------------------------------

finish_fact = facts(
    "finish_fact",
    text("name"),
    text("basis"),
    text("ingredients"),
    positive_if_any("density_kg_m3"),
    Column("flash_point_c", Float),
    Column("isocyanate", Boolean),
    Column("formaldehyde", Boolean),
    Column("self_heating", Boolean),
    positive_if_any("dry_after_s"),
    not_negative_if_any("dew_gap_c"),
    positive_if_any("rh_max_pct"),
    Column("surface_min_c", Float),
    text("sheet"),
    text("note"),
    Column("closed", Boolean, nullable=False),
)
finish_room = facts(
    "finish_room",
    positive("volume_m3"),
    not_negative_if_any("extraction_m3_s"),
    text("extraction_known"),
    positive("mixing_factor"),
)
sprayed = facts(
    "sprayed",
    Column("finish_id", Integer, ForeignKey("subject.id"), nullable=False),
    positive("liquid_m3"),
    positive("duration_s"),
    Column("extraction_on", Boolean, nullable=False),
)
surface_reading = facts(
    "surface_reading",
    Column("surface_c", Float, nullable=False),
    Column("air_c", Float),
    not_negative_if_any("rh_pct"),
    text("what"),
)
acknowledged = facts("acknowledged", text("what"), text("sentence"))
air_region = facts("air_region", text("region"), text("note"))

# Which entry came with which key, of those made without a connection: the same key never enters a second one.
entry_key = Table(
    "entry_key",
    metadata,
    Column("key", Text, primary_key=True),
    text("content"),
    text("kind"),
    Column("fact_id", Integer, nullable=False),
    Column("subject_id", Integer, ForeignKey("subject.id"), nullable=False),
    text("sentence"),
    Column("at_ms", BigInteger, nullable=False),
    sqlite_with_rowid=False,
)
