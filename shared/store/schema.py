"""The tables. A change here goes with a migration; a test compares the two."""

from __future__ import annotations

import json

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
    false,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

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


def _facts(name: str, *columns: Column[object] | CheckConstraint) -> Table:
    """A table of entries: never changed, never deleted; a correction supersedes, an undo withdraws."""
    return Table(
        name,
        metadata,
        Column("id", Integer, primary_key=True),
        Column("subject_id", Integer, ForeignKey("subject.id"), nullable=False),
        Column("true_at_ms", BigInteger, nullable=False),
        Column("entered_at_ms", BigInteger, nullable=False),
        Column("entered_by", Text, nullable=False),
        # Unique: of two people who correct one entry at once, the second is told of the first.
        Column("supersedes", Integer, ForeignKey(f"{name}.id"), unique=True),
        Column("withdrawn", Boolean, nullable=False),
        *columns,
        Index(None, "subject_id", "true_at_ms"),
    )


class Months(TypeDecorator[tuple[float, ...]]):
    """Twelve numbers, January first, as JSON in a text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: tuple[float, ...] | None, dialect: Dialect) -> str | None:
        """Return the text that is stored."""
        return None if value is None else json.dumps(value, allow_nan=False)

    def process_result_value(self, value: str | None, dialect: Dialect) -> tuple[float, ...] | None:
        """Return the numbers that were stored."""
        return None if value is None else tuple(float(one) for one in json.loads(value))


def _id_of_subject(name: str) -> Column[object]:
    return Column(name, Integer, ForeignKey("subject.id"))


def _positive(name: str) -> Column[object]:
    return Column(name, Float, CheckConstraint(f"{name} > 0", name=f"{name}_positive"), nullable=False)


def _text(name: str) -> Column[object]:
    return Column(name, Text, nullable=False)


place_fact = _facts(
    "place_fact",
    _text("name"),
    _text("kind"),
    Column("altitude_m", Float, nullable=False),
    Column("closed", Boolean, nullable=False),
    Column("air_speed_m_s", Float, CheckConstraint("air_speed_m_s >= 0", name="air_speed_m_s_not_negative")),
    Column("in_sun", Boolean, nullable=False, server_default=false()),
)
probe_fact = _facts("probe_fact", _text("name"), _text("topic"))
probe_position = _facts("probe_position", _id_of_subject("place_id"))
stack_fact = _facts(
    "stack_fact",
    _text("name"),
    _text("note"),
    Column("boards_in_all", Integer, CheckConstraint("boards_in_all > 0", name="boards_in_all_positive")),
)
stack_position = _facts("stack_position", _id_of_subject("place_id"))
set_fact = _facts("set_fact", _text("name"), _text("note"))
board_fact = _facts(
    "board_fact",
    _text("name"),
    _text("species"),
    _positive("thickness_m"),
    _positive("width_m"),
    _positive("length_m"),
    _text("cut"),
    _text("origin"),
    _text("note"),
)
board_position = _facts("board_position", _id_of_subject("stack_id"), _id_of_subject("place_id"))
board_rest = _facts(
    "board_rest",
    _text("rest"),
    Column("case_air_m3", Float, CheckConstraint("case_air_m3 > 0", name="case_air_m3_positive")),
)
board_coat = _facts("board_coat", Column("ends_sealed", Boolean, nullable=False), _text("coat"))
board_cut = _facts(
    "board_cut",
    _id_of_subject("from_board_id"),
    Column("near_m", Float, CheckConstraint("near_m >= 0", name="near_m_not_negative"), nullable=False),
    Column("far_m", Float, CheckConstraint("far_m > near_m", name="far_m_beyond_near_m"), nullable=False),
)
water_event = _facts("water_event", _text("kind"), _positive("water_kg"), _text("faces"))
outcome = _facts(
    "outcome",
    _text("kind"),
    Column("degree", Text),
    Column("thickness_m", Float, CheckConstraint("thickness_m > 0", name="thickness_m_positive")),
    _text("note"),
    CheckConstraint("(degree IS NULL) <> (thickness_m IS NULL)", name="degree_or_thickness"),
)
planned_move = _facts("planned_move", Column("place_id", Integer, ForeignKey("subject.id"), nullable=False))
place_climate = _facts(
    "place_climate",
    Column("temperature_c", Months, nullable=False),
    Column("rh_pct", Months, nullable=False),
    _text("source"),
)
set_member = _facts("set_member", _id_of_subject("set_id"), _text("role"))
weigh_in = _facts("weigh_in", _positive("mass_kg"), _positive("scale_error_kg"))
pin_reading = _facts(
    "pin_reading",
    _positive("mc_pct"),
    Column("depth_m", Float, nullable=False),
    Column("wood_temperature_c", Float),
    _id_of_subject("meter_id"),
)
bag_test = _facts(
    "bag_test",
    Column("temperature_c", Float, nullable=False),
    Column("rh_pct", Float, nullable=False),
    Column("rh_error_pct", Float, nullable=False),
    _id_of_subject("probe_id"),
    _text("last_moved"),
    _positive("waited_s"),
    _positive("air_volume_m3"),
)
meter_fact = _facts(
    "meter_fact",
    _text("name"),
    _text("species"),
    _text("origin"),
    Column("calibration_temperature_c", Float, nullable=False),
    _text("note"),
)
meter_pair = _facts(
    "meter_pair",
    _positive("reading_pct"),
    Column("wood_temperature_c", Float),
    _positive("wet_mass_kg"),
    _positive("dry_mass_kg"),
)
hygrometer_check = _facts(
    "hygrometer_check",
    Column("temperature_c", Float, nullable=False),
    _text("low_salt"),
    Column("low_read_rh_pct", Float),
    _text("high_salt"),
    Column("high_read_rh_pct", Float),
    _positive("waited_s"),
)
cell_load = _facts("cell_load", _id_of_subject("board_id"), _id_of_subject("stack_id"), _positive("cell_error_kg"))
cell_tare = _facts("cell_tare", Column("reading_kg", Float, nullable=False))
oven_dry_result = _facts("oven_dry_result", _positive("wet_mass_kg"), _positive("dry_mass_kg"))
use_plan = _facts(
    "use_plan",
    _text("use"),
    Column("destination_rh_pct", Float, nullable=False),
    Column("destination_temperature_c", Float, nullable=False),
    Column("booked_ms", BigInteger),
)

# --- what is derived: a cache that can be thrown away ----------------------------------------------

projection = Table(
    "projection",
    metadata,
    Column("board_id", Integer, ForeignKey("subject.id"), primary_key=True),
    Column("input_key", Text, nullable=False),
    Column("computed_at_ms", BigInteger, nullable=False),
    Column("body", Text, nullable=False),
)
